"""Stops at any instant: how far the arm runs out, how long that takes, and what clearance is left.

A stop may be commanded at every instant. The arm goes on as commanded for its reaction time, then every joint
brakes from its rate then, each to its own stop. So every run-out is a piece of the commanded motion and a
braking arc begun at some instant of it; the arcs begun at all instants are proven, those between two instants
by how far they can be from the arc of an instant between.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from armcarry.asked.requirement import Asked
from armcarry.clearance.many import Arcs, Margins, least_margins, near_pairs
from armcarry.geometry.poses import Array
from armcarry.motion.braking import braking
from armcarry.motion.chain import Chain
from armcarry.record.kept import Kept
from armcarry.record.record import Record
from armcarry.scene.tree import WORLD
from armcarry.whatif.beside_rooms import room_windows
from armcarry.whatif.cells import ENOUGH_M, Leaves, Roots, cover_others, pieces_of, refine, states
from armcarry.whatif.faults import Side, Window, sides, windows

#: gap between the proven and the measured clearance left where it is least, m
BAND_M = 0.02
#: how exactly it is told when too little is left, s
TOLD_S = 0.5
#: instants at which the run-out of the tip is measured for the curve
_SAMPLES = 400


@dataclass(frozen=True, eq=False)
class Braked:
    """Braking arcs begun within one window, against what is around the arm or among its ``own`` parts."""

    window: Window
    own: bool
    leaves: Leaves


@dataclass(frozen=True, eq=False)
class RunOuts:
    """Run-outs of a whole run.

    Attributes:
        parts: the braking arcs, window by window.
        time_s: (T,) instants of a stop command.
        runout_m: (T,) way of the tip from the command to rest.
        runout_s: (T,) time from the command to rest.
        cells_s: (C+1,) edges of cells of the time of the command.
        lower_m: (C,) distance to what is around the arm, beyond what must be left, proven for every command in the
            cell and every instant of its run-out; at most ENOUGH_M.
    """

    parts: tuple[Braked, ...]
    time_s: Array
    runout_m: Array
    runout_s: Array
    cells_s: Array
    lower_m: Array
    remainder_m: float = field(default=0.0)

    @property
    def most_m(self) -> float:
        """No clearance is told beyond this."""
        return ENOUGH_M + self.remainder_m


def run_outs(record: Record) -> RunOuts:
    """Return the run-outs of a run, as they were judged."""
    return record.result(RUN_OUTS)


def _run_outs(record: Record) -> RunOuts:
    parts = tuple(part for side in sides(record) for part in _braked_side(side))
    parts += tuple(part for window in room_windows(record) for part in _braked(window) if not part.own)
    times, way, lasting = _tip_run_out(record)
    edges, lower = _by_command(record, parts)
    return RunOuts(parts, times, way, lasting, edges, lower, record.scene.loaded.rules.stop_remainder)


RUN_OUTS = Kept("late_stop", 1, _run_outs, (RunOuts, Braked, Window, Side, Asked, Leaves))


def _braked_side(side: Side) -> list[Braked]:
    """Return the braking arcs of one phase; its working memory is not kept, as a day has very many phases."""
    parts = [part for window in windows(side) for part in _braked(window)]
    side.let_go()
    return parts


def _braked(window: Window) -> tuple[Braked, Braked]:
    side, motion = window.side, window.side.record.motion
    starts, ends = pieces_of(motion, window.start_s, window.end_s)
    arcs = braking_arcs(side, starts, ends)
    lists = near_pairs(side.prover, arcs, window.wanted_m, np.zeros_like(arcs.slack), enough_m=ENOUGH_M)
    roots = Roots(starts, ends, lists)

    def leaves(own: bool) -> Leaves:
        asked = window.asked_m(own)

        def measure(starts: Array, ends: Array, _fault: np.ndarray, root: np.ndarray) -> Margins:
            arcs = braking_arcs(side, starts, ends)
            return least_margins(side.prover, arcs, asked, enough_m=ENOUGH_M, lists=lists, which=root)

        return refine(roots, measure, band_m=BAND_M, told_s=TOLD_S)

    return Braked(window, False, leaves(False)), Braked(window, True, leaves(True))


def braking_arcs(side: Side, starts: Array, ends: Array) -> Arcs:
    """Return the braking arcs begun at the middles of cells, with slack for those begun elsewhere in them.

    At the same time after braking began, an arc begun at another rate is off by the change of position, and by
    the change of rate times how long the joint brakes.
    """
    motion, columns = side.record.motion, side.record.scene.arm_columns
    state = states(motion, starts, ends)
    rate, change = state.rate[:, columns], state.change[:, columns]
    arc = braking(rate, side.brakes)
    table = arc.coefficients
    table[:, :, 0] += state.position[:, None, columns]
    slack = state.stray.copy()
    slack[:, columns] += change * (np.abs(rate) + change) / side.brakes
    longest = ((np.abs(rate) + change) / side.brakes).max(axis=1)
    cover_others(slack, motion, starts, ends, longest, columns)
    return Arcs(
        side.record.scene.arm_joints, state.position, arc.breaks_s, table, np.maximum(arc.breaks_s[:, -2], 1e-6), slack
    )


def _by_command(record: Record, parts: tuple[Braked, ...]) -> tuple[Array, Array]:
    """Return cells of the time of the command and the least margin of the run-outs of each."""
    leaves = Leaves.joined([part.leaves for part in parts if not part.own])
    reaction = record.scene.loaded.arm.document.reaction_time
    edges = np.append(leaves.start_s, leaves.end_s[-1])
    lower = np.empty(len(leaves.start_s))
    for k, end in enumerate(leaves.end_s):
        last = int(np.searchsorted(leaves.start_s, end + reaction, side="left"))
        lower[k] = leaves.lower_m[k : max(last, k + 1)].min()
    return edges, lower


def _tip_run_out(record: Record) -> tuple[Array, Array, Array]:
    """Return instants of a command (T,), way of the tip to rest (T,) and time to rest (T,)."""
    times = np.union1d(np.linspace(record.motion.start_s, record.motion.end_s, _SAMPLES), record.motion.breaks_s)
    reaction = record.scene.loaded.arm.document.reaction_time
    way, lasting = np.zeros(len(times)), np.zeros(len(times))
    columns = record.scene.arm_columns
    for phase in record.phases:
        pick = np.flatnonzero((times >= phase.start_s) & (times <= phase.end_s))
        if not len(pick) or phase.end_s <= phase.start_s:
            continue
        side = Side.of(record, phase)
        begun = np.minimum(times[pick] + reaction, phase.end_s)
        rate = record.motion.at(begun, order=1, side="left")[:, columns]
        rest = (np.abs(rate) / side.brakes).max(axis=1)
        moves = rate.any(axis=1) | np.any(record.motion.at(times[pick]) != record.motion.at(begun), axis=1)
        lasting[pick] = np.where(moves, reaction + rest, 0.0)
        some = np.flatnonzero(moves)
        before = times[pick][some, None] + (begun - times[pick])[some, None] * np.linspace(0, 1, 9)
        after = rest[some, None] * np.linspace(0, 1, 17)[1:]
        held = record.motion.at(phase.start_s)
        chain = Chain.of(phase.tree, WORLD, record.scene.tool(phase.tree), joints=record.scene.arm_joints, held=held)
        braked = record.motion.at(begun[some])[:, None, columns] + _displacement(rate[some], side.brakes, after)
        vectors = np.concatenate([record.motion.at(before)[..., columns], braked], axis=1)
        points = chain.forward(vectors)[..., :3, 3]
        way[pick[some]] = np.linalg.norm(np.diff(points, axis=1), axis=2).sum(axis=1)
    return times, way, lasting


def stopped(record: Record, time_s: float) -> Array:
    """Return the joint vector (n,) at which the run comes to rest when it is told to stop at an instant.

    The arm goes on as commanded for its reaction time, at most to the end of the phase, then each joint brakes.
    """
    phase, columns = record.phase_at(time_s), record.scene.arm_columns
    begun = min(time_s + record.scene.loaded.arm.document.reaction_time, phase.end_s)
    rest = np.array(record.motion.at(begun, side="left"), dtype=float).reshape(-1)
    rate = np.asarray(record.motion.at(begun, order=1, side="left")).reshape(-1)[columns]
    rest[columns] += rate * np.abs(rate) / Side.of(record, phase).brakes / 2
    return rest


def _displacement(rate: Array, brakes: Array, after_s: Array) -> Array:
    """Return how far joints (N, n) have turned at times (N, S) after braking began: (N, S, n)."""
    lasting = np.minimum(after_s[:, :, None], (np.abs(rate) / brakes)[:, None, :])
    return np.asarray(rate[:, None, :] * lasting - np.sign(rate)[:, None, :] * brakes * lasting**2 / 2)
