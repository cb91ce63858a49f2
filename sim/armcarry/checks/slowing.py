"""Is the arm slow wherever it is near structure?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from armcarry.clearance import ClearanceCurve, clearance_curve
from armcarry.proving.curves import CELLS
from armcarry.quantities import clock
from armcarry.record.figures import at_most, rate_share
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Phase, Record
from armcarry.scene.limits import joint_rates
from armcarry.timeline.near import near_pairs

_make = Maker("slowing")


def check(record: Record) -> tuple[Finding, ...]:
    """Compare, wherever something that the arm moves is proven near, each joint's rate with the reduced one.

    A cell of the clearance curve counts as near when its upper bound is below the distance: then something
    certainly is. Cells whose band straddles the distance are not held against the arm.
    """
    within = record.scene.loaded.rules.slow_within
    curves = _curves(record)
    if not curves:
        return (_make.passed("arm", "there is no structure that the arm could come near"),)
    worst = (0.0, 0.0, "")
    near_s = 0.0
    for move in record.moves:
        load = record.scene.loaded.arm.document.loads[move.load]
        if move.end_s <= move.start_s:
            continue
        allowed = joint_rates(record.scene.loaded.arm.document, load) * load.near_structure
        for start, end in _near(curves, within, move.start_s, move.end_s):
            near_s += end - start
            low, high = record.motion.between(start, end).extremes(1)
            shares = np.maximum(-low, high)[record.scene.arm_columns] / allowed
            k = int(np.argmax(shares))
            if shares[k] > worst[0]:
                worst = (float(shares[k]), start, record.scene.arm_joints[k])
    share, when, joint = worst
    found = at_most(share, 1.0, "%")
    message = (
        f"within {within:g} m of structure for at least {clock(near_s)}; the fastest joint there is {joint} with "
        f"{found.said} of its reduced rate"
        if joint
        else f"the arm does not move within {within:g} m of structure"
    )
    remedy = "" if found.kept else f"slow the move at {clock(when)} to {rate_share(1 / share)} of its rate"
    return (_make.judged(found, joint or "arm", message, at=when, remedy=remedy),)


def _curves(record: Record) -> list[ClearanceCurve]:
    """Bound, move by move, the distance of what the arm moves to structure, cell by cell."""
    share = CELLS / (record.motion.end_s - record.motion.start_s)
    found = []
    for phase, start, end in _moving(record):
        ends = np.stack([record.motion.at(time) for time in (start, end)])
        pairs = near_pairs(record.scene, phase.tree, ends)
        if len(pairs):
            found.append(
                clearance_curve(
                    phase.tree, record.motion, pairs, cells=max(8, round(share * (end - start))),
                    report_distance_m=record.scene.loaded.rules.slow_within, start_s=start, end_s=end,
                )
            )  # fmt: skip
    return found


def _moving(record: Record) -> Iterator[tuple[Phase, float, float]]:
    """Yield every phase with the moves made in it: between moves the trolley may roll, or nothing happens."""
    for phase in record.phases:
        for move in record.moves:
            start, end = max(phase.start_s, move.start_s), min(phase.end_s, move.end_s)
            if end > start:
                yield phase, start, end


def _near(curves: list[ClearanceCurve], within_m: float, start_s: float, end_s: float) -> list[tuple[float, float]]:
    """Return the stretches of one move that certainly are near.

    A cell whose upper bound is below the distance is near somewhere, not everywhere; so a stretch of such
    cells is shortened by its first and last cell where the move goes on beyond it.
    """
    cells = sorted(
        (float(first), float(last))
        for curve in curves
        for first, last, upper in zip(curve.times_s[:-1], curve.times_s[1:], curve.upper_m[0], strict=True)
        if upper < within_m and first < end_s and last > start_s
    )
    stretches: list[list[float]] = []  # start and end of the stretch, then of its inner part
    for first, last in cells:
        if stretches and first <= stretches[-1][1]:
            if last > stretches[-1][1]:
                stretches[-1][1], stretches[-1][3] = last, first
        else:
            stretches.append([first, last, last, first])
    kept = []
    for first, last, inner_first, inner_last in stretches:
        begin = start_s if first <= start_s else inner_first
        finish = end_s if last >= end_s else inner_last
        if finish > begin:
            kept.append((begin, finish))
    return kept
