"""Clearance against time: a proven band for every two classes with a rule, relaxed pairs apart from the others."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armcarry.asked.requirement import NEIGHBOURS, RESTS
from armcarry.clearance import clearance_curve
from armcarry.proving.windows import FAR, Window
from armcarry.record.record import Curve
from armcarry.scene.build import Scene
from armcarry.timeline.near import STANDING
from armcarry.timeline.run import Phase, Run

#: cells of the clearance curve over a whole run, at least, and the longest cell: a carry of a day stays readable
CELLS, CELL_S = 480, 5.0
#: how exactly the curve is known
BAND_M = 0.02


def phase_curves(scene: Scene, run: Run, phase: Phase, windows: list[Window]) -> list[Curve]:
    """Return the curves of a phase, in pieces where a relaxation begins or ends.

    Args:
        scene: rules and classes.
        run: its motion and what is relaxed.
        phase: the stretch.
        windows: what is proven of every pair in it.
    """
    edges = sorted({time for window in windows for time in (window.asked.start_s, window.asked.end_s)})
    curves = []
    for start, end in pairwise(edges):
        here = [each for each in windows if each.asked.start_s <= start and each.asked.end_s >= end]
        curves += _piece(scene, run, phase, (start, end), _groups(scene, phase, here))
    return curves


@dataclass(frozen=True, eq=False)
class _Group:
    """Pairs with one curve.

    Attributes:
        name, required_m: of the curve.
        moving: (M, 2) those that move against each other, without those far apart.
        least_m: the least that is proven of those.
        lower_m: the least distance of all others: at rest, or far apart.
        upper_m: the least distance reached by those at rest.
    """

    name: str
    required_m: float
    moving: np.ndarray
    least_m: float
    lower_m: float
    upper_m: float


def _groups(scene: Scene, phase: Phase, windows: list[Window]) -> list[_Group]:
    """Return pairs by what a curve is named and requires.

    Left out is hardware in its seat, what rests among what stands as it was built, and what rests far away.
    """
    names, code = np.unique(scene.body_classes(phase.tree), return_inverse=True)
    stands = np.isin(names, STANDING)[code]
    pairs, moves = np.concatenate([w.asked.pairs for w in windows]), np.concatenate([w.moves for w in windows])
    required, why = (np.concatenate([getattr(w.asked, name) for w in windows]) for name in ("required_m", "why"))
    granted = np.concatenate([w.asked.granted for w in windows]) >= 0
    lower, upper = (np.concatenate([getattr(w.bounds, name) for w in windows]) for name in ("lower_m", "upper_m"))
    far_m = FAR * scene.loaded.rules.report_distance
    near = ~stands[pairs].all(axis=1) & (lower < scene.loaded.rules.report_distance)
    drawn = ~np.isnan(required) & ~np.isin(why, (RESTS, NEIGHBOURS)) & (moves | near)
    rows = np.flatnonzero(drawn)
    asked, what = np.unique(required[rows], return_inverse=True)
    first, second = np.sort(code[pairs[rows]], axis=1).T
    key = ((first * len(names) + second) * len(asked) + what.reshape(-1)) * 2 + granted[rows]
    each, start, which = np.unique(key, return_index=True, return_inverse=True)
    of_group = np.split(rows[np.argsort(which.reshape(-1), kind="stable")], np.cumsum(np.bincount(which.reshape(-1))))
    found = []
    for one, rows in zip(start.tolist(), of_group[: len(each)], strict=True):
        a, b, least, relaxed = first[one], second[one], float(asked[what.reshape(-1)[one]]), bool(key[one] % 2)
        apart = moves[rows] & ~(lower[rows] < far_m)
        fly, rest = rows[moves[rows] & ~apart], rows[~moves[rows] | apart]
        name = f"{names[int(a)]} to {names[int(b)]}" + (f", relaxed to {least:g} m" if relaxed else "")
        found.append(
            _Group(
                name, least, pairs[fly], float(lower[fly].min(initial=np.inf)), float(lower[rest].min(initial=np.inf)),
                float(upper[rest].min(initial=np.inf)),
            )
        )
    return found


def _piece(
    scene: Scene, run: Run, phase: Phase, span_s: tuple[float, float], groups: list[_Group]
) -> list[Curve]:
    """Return the curves of a stretch with the same groups all through.

    A cell of hours holds much motion, so its own bound may lie under what is proven of the same pairs all through
    the stretch: the larger of the two counts, else a plot would show a gap too small that is not.
    """
    start, end = span_s
    cells = max(8, round((end - start) / min((run.motion.end_s - run.motion.start_s) / CELLS, CELL_S)))
    moving = [group.moving for group in groups if len(group.moving)]
    times, lower, upper = np.linspace(start, end, cells + 1), iter(()), iter(())
    if moving:
        curve = clearance_curve(
            phase.tree, run.motion, np.concatenate(moving),
            groups=np.repeat(np.arange(len(moving)), [len(members) for members in moving]), cells=cells, band_m=BAND_M,
            report_distance_m=scene.loaded.rules.report_distance, start_s=start, end_s=end,
        )  # fmt: skip
        times, lower, upper = curve.times_s, iter(curve.lower_m), iter(curve.upper_m)
    curves = []
    for group in groups:
        low, high = np.full(cells, group.lower_m), np.full(cells, group.upper_m)
        if len(group.moving):
            low, high = np.minimum(low, np.maximum(next(lower), group.least_m)), np.minimum(high, next(upper))
        curves.append(Curve(group.name, group.required_m, times, low, high))
    return curves


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
