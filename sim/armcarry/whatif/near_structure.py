"""When something that the arm moves is within the rules' ``slow_within`` of structure, proven."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance import Prover
from armcarry.clearance.many import Arcs
from armcarry.geometry.poses import Array
from armcarry.motion.refine import settle
from armcarry.record.record import Phase, Record
from armcarry.timeline.near import NearPairs, all_else_stands, pairs_near
from armcarry.whatif.at_rest import near_at
from armcarry.whatif.cells import pieces_of, states
from armcarry.whatif.faults import apart_m

#: it is told to this when something comes near or leaves, s
SHARP_S = 0.05
#: how exactly distances need be known for that, m
BAND_M = 0.01


@dataclass(frozen=True, eq=False)
class NearStretches:
    """When something is near in one stretch of a run.

    Attributes:
        near: stretches at every instant of which something surely is near.
        maybe: what lies between those and where nothing is; each is at most SHARP_S long.
        judged: what is asked about, and what is left out.
    """

    near: tuple[tuple[float, float], ...]
    maybe: tuple[tuple[float, float], ...]
    judged: NearPairs


def near_stretches(record: Record, phase: Phase, start_s: float, end_s: float) -> NearStretches:
    """Find when something is near, by halving time until every instant but slivers is told one way or the other."""
    scene = record.scene
    ends = np.stack([record.motion.at(time) for time in (start_s, end_s)])
    stands = start_s < end_s and all_else_stands(scene, record.motion.between(start_s, end_s))
    judged = pairs_near(scene, phase.tree, ends, stands=stands)
    pairs = judged.pairs[apart_m(record, phase, judged.pairs) < scene.loaded.rules.slow_within]
    if not len(pairs):
        return NearStretches((), (), judged)
    prover = Prover(phase.tree, pairs)

    def look(starts: Array, ends: Array) -> tuple[np.ndarray, ...]:
        inside, outside = near_cells(record, prover, starts, ends, band_m=BAND_M)
        return inside | outside, inside, outside

    starts, ends, inside, outside = settle(*pieces_of(record.motion, start_s, end_s), look, shortest_s=SHARP_S)
    near, maybe = (
        list(zip(starts[rows].tolist(), ends[rows].tolist(), strict=True)) for rows in (inside, ~inside & ~outside)
    )
    prover.let_go()
    return NearStretches(_joined(near), tuple(maybe), judged)


def near_cells(
    record: Record, prover: Prover, starts: Array, ends: Array, *, band_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Tell of cells of time (R,) whether something is near all through them, and whether nothing is at any instant.

    Args:
        record: whose motion.
        prover: the pairs for whose nearness the arm slows down.
        starts, ends: of the cells, each inside one piece of the motion.
        band_m: how exactly distances need be known.
    """
    columns = record.scene.arm_columns
    state = states(record.motion, starts, ends)
    table = np.zeros((len(starts), 1, 1, len(columns)))
    table[:, 0, 0] = state.position[:, columns]
    until = np.full(len(starts), 1e-9)  # the arm stands at the middle; the slack covers the rest of the cell
    arcs = Arcs(
        record.scene.arm_joints, state.position, np.stack([0 * until, until], axis=1), table, until, state.stray
    )
    return near_at(record.scene, prover, arcs, band_m)


def _joined(cells: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    joined: list[tuple[float, float]] = []
    for start, end in sorted(cells):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return tuple(joined)
