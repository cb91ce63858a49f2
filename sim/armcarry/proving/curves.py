"""Clearance against time: a proven band for every two classes with a rule, relaxed pairs apart from the others."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.requirement import RESTS, Asked, Requirement
from armcarry.clearance import clearance_curve
from armcarry.record.record import Curve, PairRow
from armcarry.scene.build import Scene
from armcarry.timeline.run import Phase, Run

#: cells of the clearance curve over a whole run, at least, and the longest cell: a carry of a day stays readable
CELLS, CELL_S = 480, 5.0
#: how exactly the curve is known
BAND_M = 0.02


def phase_curves(scene: Scene, run: Run, phase: Phase, rows: list[PairRow]) -> list[Curve]:
    """Return the curves of a phase, in pieces where a relaxation begins or ends.

    Args:
        scene: rules and classes.
        run: its motion and what is relaxed.
        phase: the stretch.
        rows: what is proven of every pair in it.
    """
    pairs, _ = judged_pairs(scene, phase.tree, run.motion.between(phase.start_s, phase.end_s))
    windows = Requirement(scene, phase.tree, pairs, run.relaxed).windows(phase.start_s, phase.end_s)
    return [curve for asked in windows for curve in _window_curves(scene, run, phase, asked, rows)]


def _window_curves(scene: Scene, run: Run, phase: Phase, asked: Asked, rows: list[PairRow]) -> list[Curve]:
    """Return the curves of a window.

    A cell of hours holds much motion, so its own bound may lie under what the rows prove of the same pairs all
    through the window: the larger of the two counts, else a plot would show a gap too small that is not.
    """
    groups = _groups(scene, phase, asked)
    if not groups or asked.end_s <= asked.start_s:
        return []
    every = np.concatenate([np.array(members) for members in groups.values()])
    number = np.concatenate([np.full(len(members), k) for k, members in enumerate(groups.values())])
    cell_s = min((run.motion.end_s - run.motion.start_s) / CELLS, CELL_S)
    curve = clearance_curve(
        phase.tree, run.motion, every, groups=number, cells=max(8, round((asked.end_s - asked.start_s) / cell_s)),
        band_m=BAND_M, report_distance_m=scene.loaded.rules.report_distance, start_s=asked.start_s, end_s=asked.end_s,
    )  # fmt: skip
    proven = {(row.body_a, row.body_b): row.lower_m for row in rows
              if row.start_s <= asked.start_s and row.end_s >= asked.end_s}  # fmt: skip
    bodies = phase.tree.bodies
    floors = [min(proven[bodies[a].name, bodies[b].name] for a, b in members) for members in groups.values()]
    return [
        Curve(name, required, curve.times_s, np.maximum(curve.lower_m[k], floors[k]), curve.upper_m[k])
        for k, (name, required) in enumerate(groups)
    ]


def _groups(scene: Scene, phase: Phase, asked: Asked) -> dict[tuple[str, float], list[tuple[int, int]]]:
    """Return pairs by what a curve is named and requires; hardware in its seat has none."""
    classes = scene.body_classes(phase.tree)
    groups: dict[tuple[str, float], list[tuple[int, int]]] = defaultdict(list)
    asked = asked.take(~np.isnan(asked.required_m) & (asked.why != RESTS))
    for (a, b), required, granted in zip(
        asked.pairs.tolist(), asked.required_m.tolist(), asked.granted.tolist(), strict=True
    ):
        name = " to ".join(sorted((classes[a], classes[b])))
        groups[name if granted < 0 else f"{name}, relaxed to {required:g} m", required].append((a, b))
    return groups


def joined(parts: list[Curve]) -> Curve:
    """Join the curves of one group; a gap between them is a cell without bodies (infinite)."""
    times, lower, upper = [parts[0].times_s], [parts[0].lower_m], [parts[0].upper_m]
    for before, part in pairwise(parts):
        if part.times_s[0] > before.times_s[-1]:
            times.append(part.times_s[:1])
            lower.append(np.array([np.inf]))
            upper.append(np.array([np.inf]))
        times.append(part.times_s[1:])
        lower.append(part.lower_m)
        upper.append(part.upper_m)
    return Curve(
        parts[0].group, parts[0].required_m, np.concatenate(times), np.concatenate(lower), np.concatenate(upper)
    )
