"""A joint that runs away, at any instant, either way, at any rate up to its worst.

From the fault until it is detected the joint turns at its worst rate or slower while the others go on as
commanded; then all joints brake. So at every instant of a fault the arm is where it was commanded to be at
some instant of the run, but for the joint that ran away, which is off by any part x of its worst excursion

    X = (w + v) t_d + w^2 / 2b

where v is the fastest that it was commanded the other way meanwhile: it is that much farther from where it should be;
and, once the brakes are on, for what the others still turn while braking. Both are taken as independent: every
x in [0, X] with every part of the braking of the others, which holds for every rate up to w and for a rate that
changes meanwhile. Arcs lead x from 0 to X from chosen instants; slack covers the braking of the others and all
instants between. End stops are not counted on: the joint may pass its travel.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from armcarry.asked.requirement import Asked
from armcarry.clearance.many import Arcs, Margins, free_until, least_margins, near_pairs
from armcarry.geometry.poses import Array
from armcarry.motion.braking import detection_that_keeps, runaway
from armcarry.motion.refine import greatest
from armcarry.record.kept import Kept
from armcarry.record.record import Record
from armcarry.scene.limits import runaway_rates
from armcarry.whatif.beside import per_fault
from armcarry.whatif.beside_rooms import room_windows
from armcarry.whatif.cells import ENOUGH_M, SHORTEST_S, Leaves, Roots, cover_others, pieces_of, refine, states
from armcarry.whatif.faults import (
    LONGEST_DETECTION_S,
    Side,
    Window,
    sides,
    windows,
    worst_excursion,
    worst_rates,
)
from armcarry.whatif.near_structure import near_cells

#: gap between the proven and the measured clearance left where it is least, m
BAND_M = 0.02
#: how exactly it is told when too little is left, s
TOLD_S = 1.0
#: how exactly the longest safe detection time is found, s
TOLERANCE_S = 0.02
_RESOLUTION_S = 0.005


class Fault(NamedTuple):
    """One joint running away one way; ``sign`` is +1 or -1."""

    joint: int
    sign: int


@dataclass(frozen=True, eq=False)
class Swept:
    """Faults begun within one window, against what is around the arm or among its ``own`` parts.

    The window's first cells of time begin at ``roots_s`` (R,); ``near`` (R,) tells of each whether the drives are held
    to reduced rates in it.
    """

    window: Window
    own: bool
    roots_s: Array
    near: np.ndarray
    leaves: Leaves

    def near_at(self, time_s: float) -> bool:
        """Tell whether the drives are held to reduced rates at an instant."""
        root = int(np.searchsorted(self.roots_s, time_s, side="right")) - 1
        return bool(self.near[max(root, 0)])


@dataclass(frozen=True, eq=False)
class Runaways:
    """All faults of a run.

    Attributes:
        faults: F of them; ``Leaves.fault`` numbers them.
        parts: what was found, window by window.
        safe_detection_s: (F,) with a detection time up to this every instant keeps what must be left, proven;
            negative where braking alone is too slow, LONGEST_DETECTION_S where it is at least that.
        ends_s: (F,) instant that limits it, nan where none does.
    """

    record: Record
    faults: tuple[Fault, ...]
    parts: tuple[Swept, ...]
    safe_detection_s: Array
    ends_s: Array

    def name(self, fault: int) -> str:
        """Return the joint's name with the way it turns."""
        joint, sign = self.faults[fault]
        return f"{self.record.scene.arm_joints[joint]} {'+' if sign > 0 else '-'}"


def runaways(record: Record) -> Runaways:
    """Return the runaways of a run, as they were judged."""
    return record.result(RUNAWAYS)


def loads_without_rate(record: Record) -> list[str]:
    """Return the loads with which the arm's document does not say how fast a joint can run away."""
    arm = record.scene.loaded.arm.document
    return [name for name, load in arm.loads.items() if not (load.runaway_rate or arm.runaway_rate)]


def _runaways(record: Record) -> Runaways:
    count = len(record.scene.arm_joints)
    faults = tuple(Fault(joint, sign) for joint in range(count) for sign in (1, -1))
    search = _Search(record, faults)
    parts: list[Swept] = []
    for side in sides(record):
        parts += [part for window in windows(side) for one in powered(record, window) for part in search.window(one)]
        side.let_go()
    around = (one for window in room_windows(record) for one in powered(record, window))
    parts += [part for one in around for part in search.window(one) if not part.own]
    return Runaways(record, faults, tuple(parts), search.safe_s, search.ends_s)


_MADE_OF = (Runaways, Fault, Swept, Window, Side, Asked, Leaves)
RUNAWAYS = Kept("runaway_joint", 1, _runaways, _MADE_OF)


def powered(record: Record, window: Window) -> Iterator[Window]:
    """Yield the stretches of a window in which a joint can run away: with its brakes on and motors off none does.

    That is so once it is checked; the arm counts as safe only when it is called too, and till then nobody gets off.
    """
    rules, spans = record.scene.loaded.rules, record.ledger.spans(lambda page: page.arm, record.duration_s)
    called_s = 0.0 if rules.arm_safe is None else rules.arm_safe.call
    for (start_s, end_s, mode), after in zip(spans, (*(mode for _, _, mode in spans[1:]), ""), strict=True):
        first, last = max(start_s, window.start_s), min(end_s - (called_s if after == "safe" else 0.0), window.end_s)
        if mode != "safe" and last > first:
            yield replace(window, asked=replace(window.asked, start_s=first, end_s=last))


class _Search:
    """Goes through the windows of a run, keeping the longest safe detection time of every fault."""

    def __init__(self, record: Record, faults: tuple[Fault, ...]) -> None:
        self.record, self.faults = record, faults
        self.joint = np.array([fault.joint for fault in faults])
        self.sign = np.array([fault.sign for fault in faults])
        self.safe_s = np.full(len(faults), LONGEST_DETECTION_S)
        self.ends_s = np.full(len(faults), np.nan)

    def window(self, window: Window) -> tuple[Swept, Swept]:
        """Prove one window."""
        side = window.side
        starts, ends = pieces_of(self.record.motion, window.start_s, window.end_s)
        near = near_structure(side, starts, ends)
        still = runaway_arcs(side, starts, ends, None, None, np.zeros(len(starts)))
        against = against_rates(side, starts, ends, side.record.scene.loaded.arm.document.detection_time)
        late_s = side.record.scene.loaded.arm.document.detection_time
        excursion = worst_excursion(side, near)[None] + against * late_s  # (2, R, n), by the sign of the fault
        lists = near_pairs(side.prover, still, window.wanted_m, _extra(side, excursion.max(axis=0)), enough_m=ENOUGH_M)
        lists, which = per_fault(side, still, excursion.max(axis=0), lists)
        roots = Roots(starts, ends, lists)

        def leaves(own: bool) -> Leaves:
            asked = window.asked_m(own)

            def measure(starts: Array, ends: Array, fault: np.ndarray, root: np.ndarray) -> Margins:
                joint = self.joint[fault]
                sign = self.sign[fault]
                arcs = runaway_arcs(side, starts, ends, joint, sign, excursion[(sign < 0).astype(int), root, joint])
                return least_margins(side.prover, arcs, asked, enough_m=ENOUGH_M, lists=lists, which=which[joint, root])

            return refine(roots, measure, len(self.faults), band_m=BAND_M, told_s=TOLD_S)

        around, among = (Swept(window, own, starts, near, leaves(own)) for own in (False, True))
        self._detection(window, starts, ends, near, still)
        return around, among

    def _detection(self, window: Window, starts: Array, ends: Array, near: np.ndarray, still: Arcs) -> None:
        """Shorten the safe detection times by what a window allows.

        Cells of time are halved until what is proven over a cell with its slack is as much as the least that is
        reached at any instant looked at. Parameters of the arcs are excursions; they are compared as the
        detection times that they allow.
        """
        side, count = window.side, len(self.faults)
        rates, brakes = worst_rates(side, near), side.brakes
        against = against_rates(side, starts, ends, LONGEST_DETECTION_S)
        most = worst_excursion(side, near, LONGEST_DETECTION_S) + against.max(axis=0) * LONGEST_DETECTION_S
        lists = near_pairs(side.prover, still, window.wanted_m, _extra(side, most), enough_m=0.0)
        lists, which = per_fault(side, still, most, lists)
        fault, root = np.repeat(np.arange(count), len(starts)), np.tile(np.arange(len(starts)), count)
        busy = lists.counts[root] > 0
        if not busy.any():
            return

        def bounds(
            first: Array, last: Array, fault: np.ndarray, root: np.ndarray, so_far: Array
        ) -> tuple[np.ndarray, ...]:
            """Return detection times with their sign turned, so that the shortest is the greatest."""
            joint, reached = self.joint[fault], -so_far[fault, 0]
            pace, brake = rates[root, joint], brakes[joint]
            other_way = against[(self.sign[fault] < 0).astype(int), root, joint]
            told = {"resolution": float(_RESOLUTION_S * pace.min()), "lists": lists}
            chosen = which[joint, root]
            until = np.maximum(reached, 0.0)
            limit = np.asarray(runaway(pace, until, brake).distance) + other_way * until
            arcs = runaway_arcs(side, first, last, joint, self.sign[fault], limit)
            low = self._free_s(window, arcs, pace, brake, other_way, chosen, told)
            exact = np.full(len(low), np.inf)
            short = np.flatnonzero(low < reached - TOLERANCE_S)
            middle = arcs.take(short).without_slack()
            exact[short] = self._free_s(
                window, middle, pace[short], brake[short], other_way[short], chosen[short], told
            )
            return -exact[:, None], -low[:, None]

        found = greatest(
            starts[root[busy]], ends[root[busy]], bounds, root[busy], group=fault[busy], so_far=-self.safe_s[:, None],
            enough=lambda best: best + TOLERANCE_S, shortest_s=SHORTEST_S,
        )
        first, last, fault, _, _, most = found.cells
        for k in np.flatnonzero(-most[:, 0] < self.safe_s[fault]):
            if -most[k, 0] < self.safe_s[fault[k]]:
                self.safe_s[fault[k]], self.ends_s[fault[k]] = -most[k, 0], (first[k] + last[k]) / 2

    def _free_s(
        self, window: Window, arcs: Arcs, pace: Array, brake: Array, other_way: Array, which: np.ndarray,
        told: dict[str, Any],
    ) -> Array:
        """Return the detection time (N,) with which each arc keeps what must be left; its limit, if all of it."""
        free, pair = free_until(window.side.prover, arcs, window.wanted_m, which=which, **told)
        return np.where(pair < 0, np.inf, detection_that_keeps(free, pace, brake) * pace / (pace + other_way))


def against_rates(side: Side, starts: Array, ends: Array, before_s: float) -> Array:
    """Bound how fast each joint is commanded (2, R, n) against a fault that began up to ``before_s`` before cells end.

    First against faults with sign +1, then -1. Where no other joint of the tree moves meanwhile it is 0: then only the
    joint's own way counts, from where it was when it ran away.
    """
    motion, columns = side.record.motion, side.record.scene.arm_columns
    low, high = motion.extremes_during(np.maximum(starts - before_s, motion.start_s), ends, 1)
    moves = (low != 0.0) | (high != 0.0)
    others = moves.sum(axis=1)[:, None] - moves[:, columns] > 0
    rates = np.stack([-low[:, columns], high[:, columns]])
    return np.where(others, np.maximum(rates, 0.0), 0.0)


def near_structure(side: Side, starts: Array, ends: Array) -> np.ndarray:
    """Tell which cells of time (R,) are wholly within the rules' slow_within of structure, proven.

    The timing of moves slows the arm over every stretch in which that may be so.
    """
    return near_cells(side.record, side.beside_structure, starts, ends, band_m=0.05)[0]


def _extra(side: Side, excursion: Array) -> Array:
    """Return excursions of the arm's joints (R, n) as columns of the whole joint vector."""
    result = np.zeros((len(excursion), len(side.phase.tree.joints)))
    result[:, side.record.scene.arm_columns] = excursion
    return result


def runaway_arcs(
    side: Side, starts: Array, ends: Array, joint: np.ndarray | None, sign: np.ndarray | None, until: Array,
    *, braking: bool = True,
) -> Arcs:
    """Return the arcs of faults at the middles of cells, with slack for those begun elsewhere in them.

    Args:
        side: tree, load and brakes.
        starts, ends: of the cells (N,).
        joint, sign: (N,) which joint runs away which way; None for none.
        until: (N,) how far it gets.
        braking: cover what the other joints still turn while they brake.
    """
    columns, rows = side.record.scene.arm_columns, np.arange(len(starts))
    state = states(side.record.motion, starts, ends)
    rate, change = state.rate[:, columns], state.change[:, columns]
    half = rate * np.abs(rate) / (4 * side.brakes) * braking  # half of what each still turns while braking
    looser = (change * (np.abs(rate) + change) / side.brakes) * braking + np.abs(half)
    if joint is not None:
        half[rows, joint] = 0.0
        looser[rows, joint] = 0.0
    base, slack = state.position.copy(), state.stray.copy()
    base[:, columns] += half
    slack[:, columns] += looser
    if braking:
        rates = runaway_rates(side.record.scene.loaded.arm.document, side.load)
        fastest = np.abs(rate) + change
        runs = slice(None) if joint is None else (rows, joint)
        fastest[runs] = np.maximum(fastest, rates)[runs]
        cover_others(slack, side.record.motion, starts, ends, (fastest / side.brakes).max(axis=1), columns)
    table = np.zeros((len(rows), 1, 2, len(columns)))
    table[:, 0, 0] = base[:, columns]
    if joint is not None:
        table[rows, 0, 1, joint] = sign
    end = np.maximum(until, 1e-9)
    return Arcs(
        side.record.scene.arm_joints, base, np.stack([np.zeros(len(rows)), end], axis=1), table, end, slack
    )


def fault_arc(found: Runaways, part: Swept, leaf: int) -> Arcs:
    """Return the arc of a cell's fault from the middle of the cell, the other joints not braking, without slack."""
    side, leaves = part.window.side, part.leaves
    joint, sign = found.faults[int(leaves.fault[leaf])]
    starts, ends = leaves.start_s[[leaf]], leaves.end_s[[leaf]]
    near = np.array([part.near_at(float(starts[0] + ends[0]) / 2)])
    until = worst_excursion(side, near)[:, joint]
    arcs = runaway_arcs(side, starts, ends, np.array([joint]), np.array([sign]), until, braking=False)
    return arcs.without_slack()
