"""If the arm is told to stop at any instant, does it run out clear of everything?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance.many import Arcs, free_until
from armcarry.quantities import clock, rounded_down
from armcarry.record.finding import ClearanceDetail, Finding, Verdict
from armcarry.record.record import Record
from armcarry.whatif.cells import ENOUGH_M, states
from armcarry.whatif.late_stop import Braked, RunOuts, braking_arcs, run_outs
from armcarry.whatif.witness import Witness, witness


def check(record: Record) -> tuple[Finding, ...]:
    """Fail each two bodies that a run-out brings nearer than what must be left; else pass with the least left.

    Left must be the rules' ``stop_remainder``, or what is required at that instant where that is less. The arm
    goes on as commanded for its reaction time, then each joint brakes on its own.
    """
    found = run_outs(record)
    worst = _failures(found)
    if worst:
        return tuple(_failure(record, found, item) for item in worst)
    return (_pass(record, found),)


@dataclass(frozen=True)
class _Worst:
    """The worst cell of one pair of bodies, and from when to when stops bring the two too near."""

    part: Braked
    leaf: int
    start_s: float
    end_s: float


def _failures(found: RunOuts) -> list[_Worst]:
    worst: dict[tuple[str, str], _Worst] = {}
    for part in found.parts:
        leaves = part.leaves
        for k in np.flatnonzero(leaves.lower_m < 0):
            names = part.window.side.names(int(leaves.pair[k]))
            known = worst.get(names)
            start, end = float(leaves.start_s[k]), float(leaves.end_s[k])
            if known is not None:
                start, end = min(start, known.start_s), max(end, known.end_s)
            here = _Worst(part, int(k), start, end)
            if known is None or leaves.lower_m[k] < known.part.leaves.lower_m[known.leaf]:
                worst[names] = here
            else:
                worst[names] = _Worst(known.part, known.leaf, start, end)
    return sorted(worst.values(), key=lambda item: float(item.part.leaves.lower_m[item.leaf]))


def _look(part: Braked, leaf: int) -> tuple[Witness, float]:
    """Return the nearest approach on the run-out begun in the middle of a cell, and what is proven of all."""
    pair = int(part.leaves.pair[leaf])
    seen = witness(part.window.side, pair, _arc(part, leaf))
    return seen, max(float(part.leaves.lower_m[leaf] + part.window.left_m[pair]), 0.0)


def _arc(part: Braked, leaf: int) -> Arcs:
    side, leaves = part.window.side, part.leaves
    return braking_arcs(side, states(side.record.motion, leaves.start_s[[leaf]], leaves.end_s[[leaf]]))


def _failure(record: Record, found: RunOuts, worst: _Worst) -> Finding:
    part, leaf, window = worst.part, worst.leaf, worst.part.window
    pair = int(part.leaves.pair[leaf])
    seen, lower = _look(part, leaf)
    a, b = window.side.names(pair)
    left = float(window.left_m[pair])
    time = float(part.leaves.start_s[leaf] + part.leaves.end_s[leaf]) / 2
    k = int(np.argmin(np.abs(found.time_s - time)))
    how = "touch" if seen.distance_m <= 0 else f"come within {lower:.3f} m of each other"
    return Finding(
        check="stopping",
        verdict=Verdict.FAIL,
        subject=a,
        other=b,
        message=f"told to stop around {clock(time)}, the arm runs out {found.runout_m[k]:.3f} m at the tip in "
        f"{found.runout_s[k]:.1f} s and {a} and {b} {how}; {left:.3f} m must be left. The same holds for stops "
        f"between {clock(worst.start_s)} and {clock(worst.end_s)}",
        start_s=worst.start_s,
        end_s=worst.end_s,
        value=lower,
        limit=left,
        unit="m",
        remedy=_remedy(record, time, slower_share(part, leaf)),
        clearance=ClearanceDetail(lower, seen.distance_m, left, time, seen.point_a, seen.point_b),
    )


def slower_share(part: Braked, leaf: int) -> float:
    """Return the share of its rate at which the arm would stop in time there, 0 where not even standing is enough.

    The way that braking takes goes with the square of the rate: what may be used up is what an arc goes, as
    1 - (1 - t / T)^2 of it after t of the T that braking takes.
    """
    arc = _arc(part, leaf).without_slack()
    free, _ = free_until(part.window.side.prover, arc, part.window.left_m, resolution=1e-4)
    gone = min(float(free[0] / arc.until[0]), 1.0)
    return float(np.sqrt(1.0 - (1.0 - gone) ** 2))


def _remedy(record: Record, time_s: float, share: float) -> str:
    """Return what to change, the share rounded down to 5 %."""
    move = record.move_at(time_s)
    away = "lead the carry farther from there"
    rounded = min(np.floor(share * 20) * 5, 95.0)  # the arc looked at may just pass where those beside it do not
    if move is None or rounded <= 0:
        return away
    return f"slow {move.title} to {rounded:.0f} % of its rate there, or {away}"


def _pass(record: Record, found: RunOuts) -> Finding:
    worst = int(np.argmax(found.runout_m)) if len(found.runout_m) else 0
    arm = record.scene.loaded.arm.document
    words = (
        f"told to stop at any instant, the arm runs out {found.runout_m[worst]:.3f} m at the tip at most (at "
        f"{clock(float(found.time_s[worst]))}) and stands within {found.runout_s.max():.1f} s, "
        f"{arm.reaction_time:g} s of it reaction"
    )
    tight = [(float(p.leaves.lower_m[k]), p, k) for p in found.parts if (k := _tightest(p)) is not None]
    if not tight:
        return Finding("stopping", Verdict.PASS, "arm", f"{words}; nothing comes nearer than {found.most_m:g} m")
    _, part, leaf = min(tight, key=lambda item: item[0])
    pair = int(part.leaves.pair[leaf])
    seen, lower = _look(part, leaf)
    a, b = part.window.side.names(pair)
    left = float(part.window.left_m[pair])
    time = float(part.leaves.start_s[leaf] + part.leaves.end_s[leaf]) / 2
    return Finding(
        check="stopping",
        verdict=Verdict.PASS,
        subject=a,
        other=b,
        message=f"{words}; tightest {a} to {b}, at least {rounded_down(lower):.3f} m left over every run-out "
        f"around {clock(time)}, {left:.3f} m must be",
        start_s=time,
        end_s=time,
        value=lower,
        limit=left,
        unit="m",
        clearance=ClearanceDetail(lower, seen.distance_m, left, time, seen.point_a, seen.point_b),
    )


def _tightest(part: Braked) -> int | None:
    """Return the cell with the least margin, None where all pairs have enough to spare."""
    known = np.flatnonzero((part.leaves.pair >= 0) & (part.leaves.lower_m < ENOUGH_M))
    return int(known[np.argmin(part.leaves.lower_m[known])]) if len(known) else None
