"""If the arm is told to stop at any instant, does it run out clear of everything?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.many import Arcs, free_until
from armcarry.quantities import clock
from armcarry.record.figures import at_least, near, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.late_stop import Braked, RunOuts, braking_arcs, run_outs
from armcarry.whatif.witness import Witness, witness

#: this long before the end of a cell its motion is still that of the cell, s
_JUST_S = 1e-6
_make = Maker("stopping")


def check(record: Record) -> tuple[Finding, ...]:
    """Fail each two bodies that a run-out brings nearer than what must be left; else pass with the least left.

    Left must be the rules' ``stop_remainder``, or what is required at that instant where that is less. The arm
    goes on as commanded for its reaction time, then each joint brakes on its own.
    """
    found = run_outs(record)
    short = _failures(found)
    if short:
        return tuple(_failure(record, found, item) for item in short)
    return (_pass(record, found),)


@dataclass(frozen=True)
class _Short:
    """The cells of time in which a stop brings one pair of bodies too near, the worst of them first."""

    cells: tuple[tuple[Braked, int], ...]

    @property
    def worst(self) -> tuple[Braked, int]:
        """The part and the cell with the least margin."""
        return self.cells[0]

    @property
    def span_s(self) -> tuple[float, float]:
        """From when to when stops do so."""
        starts = [float(part.leaves.start_s[leaf]) for part, leaf in self.cells]
        ends = [float(part.leaves.end_s[leaf]) for part, leaf in self.cells]
        return min(starts), max(ends)


def _margin_m(cell: tuple[Braked, int]) -> float:
    return float(cell[0].leaves.lower_m[cell[1]])


def _failures(found: RunOuts) -> list[_Short]:
    by_pair: dict[tuple[str, str], list[tuple[Braked, int]]] = defaultdict(list)
    for part in found.parts:
        for k in np.flatnonzero(part.leaves.lower_m < 0).tolist():
            by_pair[part.window.side.names(int(part.leaves.pair[k]))].append((part, k))
    short = [_Short(tuple(sorted(cells, key=_margin_m))) for cells in by_pair.values()]
    return sorted(short, key=lambda item: _margin_m(item.worst))


def _look(part: Braked, leaf: int) -> tuple[Witness, float]:
    """Return the nearest approach on the run-out begun in the middle of a cell, and what is proven of all."""
    pair = int(part.leaves.pair[leaf])
    seen = witness(part.window.side, pair, _arc(part, leaf))
    return seen, max(float(part.leaves.lower_m[leaf] + part.window.left_m[pair]), 0.0)


def _arc(part: Braked, leaf: int) -> Arcs:
    side, leaves = part.window.side, part.leaves
    return braking_arcs(side, leaves.start_s[[leaf]], leaves.end_s[[leaf]])


def _failure(record: Record, found: RunOuts, short: _Short) -> Finding:
    (part, leaf), (start, end) = short.worst, short.span_s
    window = part.window
    pair = int(part.leaves.pair[leaf])
    seen, lower = _look(part, leaf)
    a, b = window.side.names(pair)
    left = float(window.left_m[pair])
    time = float(part.leaves.start_s[leaf] + part.leaves.end_s[leaf]) / 2
    k = int(np.argmin(np.abs(found.time_s - time)))
    apart = at_least(lower, left, "m")
    how = "touch" if seen.distance_m <= 0 else f"come within {apart.said} of each other"
    # proven of all stops of the stretch, of which the finding tells the worst: the verdict is the cells'
    return _make.failed(
        a,
        f"told to stop around {clock(time)}, the arm runs out {up(found.runout_m[k], 'm')} at the tip in "
        f"{near(found.runout_s[k], 'seconds', 1)} and {a} and {b} {how}; {apart.asked} must be left. The same holds "
        f"for stops between {clock(start)} and {clock(end)}",
        _remedy(record, time, _slower_share(short)),
        other=b,
        at=(start, end),
        value=lower,
        limit=left,
        unit="m",
        clearance=seen.detail(lower, left, time),
    )


def _slower_share(short: _Short) -> float:
    """Return the share of its rate at which every stop leaves enough, 0 where not even standing is enough.

    The way that braking takes goes with the square of the rate: what may be used up is what an arc goes, as
    1 - (1 - t / T)^2 of it after t of the T that braking takes. Asked at both ends and in the middle of every cell.
    """
    shares = []
    for part in {id(part): part for part, _ in short.cells}.values():
        leaves = part.leaves.take(np.array([leaf for other, leaf in short.cells if other is part]))
        middles = (leaves.start_s + leaves.end_s) / 2
        before = leaves.end_s - np.minimum(_JUST_S, leaves.end_s - middles)  # a rate may jump at the end
        at = np.concatenate([leaves.start_s, middles, before])
        arcs = braking_arcs(part.window.side, at, at).without_slack()
        free, _ = free_until(part.window.side.prover, arcs, part.window.wanted_m, resolution=1e-4)
        gone = np.minimum(free / arcs.until, 1.0)
        shares.append(np.sqrt(1.0 - (1.0 - gone) ** 2).min())
    return float(min(shares))


def _remedy(record: Record, time_s: float, share: float) -> str:
    """Return what to change, the share rounded down to 5 %."""
    move = record.move_at(time_s)
    away = "lead the carry farther from there"
    rounded = min(np.floor(share * 20) * 5, 95.0)  # stops between those looked at may be a little worse
    if move is None or rounded <= 0:
        return away
    return f"slow {move.title} to {rounded:.0f} % of its rate there, or {away}"


def _pass(record: Record, found: RunOuts) -> Finding:
    worst = int(np.argmax(found.runout_m)) if len(found.runout_m) else 0
    arm = record.scene.loaded.arm.document
    words = (
        f"told to stop at any instant, the arm runs out {up(found.runout_m[worst], 'm')} at the tip at most (at "
        f"{clock(float(found.time_s[worst]))}) and stands within {up(found.runout_s.max(), 'seconds', 1)}, "
        f"{arm.reaction_time:g} s of it reaction"
    )
    tight = [(float(p.leaves.lower_m[k]), p, k) for p in found.parts if (k := _tightest(p)) is not None]
    if not tight:
        return _make.passed("arm", f"{words}; nothing comes nearer than {found.most_m:g} m")
    _, part, leaf = min(tight, key=lambda item: item[0])
    pair = int(part.leaves.pair[leaf])
    seen, lower = _look(part, leaf)
    a, b = part.window.side.names(pair)
    left = float(part.window.left_m[pair])
    time = float(part.leaves.start_s[leaf] + part.leaves.end_s[leaf]) / 2
    apart = at_least(lower, left, "m")
    return _make.judged(
        apart,
        a,
        f"{words}; tightest {a} to {b}, at least {apart.said} left over every run-out around {clock(time)}, "
        f"{apart.asked} must be",
        other=b,
        at=time,
        clearance=seen.detail(lower, left, time),
    )


def _tightest(part: Braked) -> int | None:
    """Return the cell with the least margin, None where all pairs have enough to spare."""
    known = np.flatnonzero((part.leaves.pair >= 0) & (part.leaves.lower_m < ENOUGH_M))
    return int(known[np.argmin(part.leaves.lower_m[known])]) if len(known) else None
