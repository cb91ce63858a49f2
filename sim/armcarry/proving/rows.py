"""The table of pairs: what is proven of every pair, window by window, each with one requirement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.requirement import Asked, Requirement
from armcarry.clearance import prove_clearance
from armcarry.record.record import PairRow
from armcarry.scene.build import Scene
from armcarry.timeline.run import Phase, Run

#: status, lower and upper bound, instant and points of a row
_Point = tuple[float, float, float]
_Found = tuple[str, float, float, float, _Point, _Point]
_NOWHERE = (0.0, 0.0, 0.0)
_WORSE = {"contact": 0, "unresolved": 1, "proven": 2, "farther": 3, "intended": 4}


def phase_rows(scene: Scene, run: Run, phase: Phase) -> list[PairRow]:
    """Prove every pair over a phase, cut where a relaxation begins or ends for it."""
    if phase.end_s <= phase.start_s:
        return []
    pairs = np.concatenate(judged_pairs(scene, phase.tree, run.motion.between(phase.start_s, phase.end_s)))
    asked = Requirement(scene, phase.tree, pairs, run.relaxed)
    rows: list[PairRow] = []
    for some in asked.groups(phase.start_s, phase.end_s):
        for window in asked.windows(phase.start_s, phase.end_s, some):
            rows.extend(_meant_rows(scene, phase, window.take(window.meant)))
            rows.extend(_proven_rows(scene, run, phase, window.take(~window.meant)))
    return rows


def _proven_rows(scene: Scene, run: Run, phase: Phase, asked: Asked) -> list[PairRow]:
    bounds = prove_clearance(
        phase.tree, run.motion, asked.pairs, report_distance_m=scene.loaded.rules.report_distance,
        start_s=asked.start_s, end_s=asked.end_s,
    )  # fmt: skip
    # a pair so far apart that it was never measured has no instant and no points
    times = np.where(np.isnan(bounds.time_s), asked.start_s, bounds.time_s)
    points = np.nan_to_num(np.stack([bounds.point_a, bounds.point_b]))
    found: Iterable[Any] = zip(
        bounds.status.tolist(), bounds.lower_m.tolist(), bounds.upper_m.tolist(), times.tolist(),
        map(tuple, points[0].tolist()), map(tuple, points[1].tolist()), strict=True,
    )  # fmt: skip
    return _rows(scene, phase, asked, found)


def _meant_rows(scene: Scene, phase: Phase, asked: Asked) -> list[PairRow]:
    nothing = ("intended", 0.0, 0.0, asked.start_s, _NOWHERE, _NOWHERE)
    return _rows(scene, phase, asked, [nothing] * len(asked.pairs))


def _rows(scene: Scene, phase: Phase, asked: Asked, found: Iterable[_Found]) -> list[PairRow]:
    names, classes = [body.name for body in phase.tree.bodies], scene.body_classes(phase.tree)
    required = [None if np.isnan(value) else value for value in asked.required_m.tolist()]
    return [
        PairRow(names[a], names[b], classes[a], classes[b], asked.start_s, asked.end_s, least, why, *proven)
        for (a, b), least, why, proven in zip(
            asked.pairs.tolist(), required, asked.why.tolist(), found, strict=True
        )
    ]  # fmt: skip


def merged(rows: list[PairRow]) -> tuple[PairRow, ...]:
    """Join rows of one pair with one requirement whose windows adjoin: the least bounds, at the nearest instant.

    Windows apart in time stay apart: between them nothing was asked of the pair under that requirement.
    """
    by_key: dict[tuple[str, str, str, str, float | None, str], list[PairRow]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.start_s):
        same = by_key[row.body_a, row.body_b, row.class_a, row.class_b, row.required_m, row.why]
        if same and row.start_s <= same[-1].end_s:
            same[-1] = _joined(same[-1], row)
        else:
            same.append(row)
    return tuple(row for same in by_key.values() for row in same)


def _joined(one: PairRow, other: PairRow) -> PairRow:
    nearest = min(one, other, key=lambda row: (_WORSE[row.status], row.upper_m))
    return replace(
        nearest, start_s=min(one.start_s, other.start_s), end_s=max(one.end_s, other.end_s),
        lower_m=min(one.lower_m, other.lower_m),
    )  # fmt: skip
