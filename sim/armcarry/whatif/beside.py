"""Which pairs beside a joint of the arm a runaway need not be asked about: their joint stays where they are apart."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from armcarry.asked.pairs import TOUCH_M, neighbour_pairs
from armcarry.clearance.free_travel import FreeTravel, free_travel
from armcarry.clearance.many import Arcs, Lists
from armcarry.geometry.poses import Array
from armcarry.scene.build import ARM
from armcarry.whatif.faults import Side


class Beside(NamedTuple):
    """A pair of the side, the joint of the arm between its bodies, and at which angles they are apart."""

    pair: int
    joint: int
    travel: FreeTravel


class PerFault(NamedTuple):
    """Lists of pairs that matter, and which of them that is for a joint of the arm that runs away in a cell (n, R)."""

    lists: Lists
    which: np.ndarray


def beside(side: Side) -> tuple[Beside, ...]:
    """Return the pairs of a side that have one joint of the arm between them, not settled for good."""
    scene, tree = side.record.scene, side.phase.tree
    arm = scene.loaded.arm.model
    found = []
    for pair in np.flatnonzero(neighbour_pairs(scene, tree, side.pairs)).tolist():
        a, b = (name.removeprefix(f"{ARM}/") for name in side.names(pair))
        travel = free_travel(arm, a, b, TOUCH_M)
        if travel is not None and f"{ARM}/{travel.joint}" in scene.arm_joints:
            found.append(Beside(pair, scene.arm_joints.index(f"{ARM}/{travel.joint}"), travel))
    return tuple(found)


def per_fault(side: Side, still: Arcs, excursion: Array, lists: Lists) -> PerFault:
    """Leave out of lists of pairs, one a cell of time, those beside a joint that stays where they are apart.

    Args:
        side: tree and pairs.
        still: where all joints are in the cells (R,), with slack, those that brake among them.
        excursion: (R, n) how far each joint may get from that when it runs away itself.
        lists: pairs that matter in each cell.
    """
    cells, count = len(still), len(side.record.scene.arm_joints)
    which, known = np.tile(np.arange(cells), (count, 1)), beside(side)
    if not known:
        return PerFault(lists, which)
    columns = side.record.scene.arm_columns
    stays, runs = np.zeros((2, len(known), cells), dtype=bool)  # apart while other joints run away; while its own does
    for row, (_, joint, travel) in enumerate(known):
        at, slack = still.base[:, columns[joint]], still.slack[:, columns[joint]]
        stays[row] = travel.holds(at - slack, at + slack)
        runs[row] = travel.holds(at - slack - excursion[:, joint], at + slack + excursion[:, joint])
    row_of = np.full(len(side.pairs), -1)
    row_of[[one.pair for one in known]] = np.arange(len(known))
    cell, row = np.repeat(np.arange(cells), lists.counts), row_of[side.prover.layout.order[lists.rows]]
    keep = (row < 0) | ~runs[row, cell]
    # a list of its own for every joint, but only in the cells where it makes a difference
    special = np.unique(cell[keep & (row >= 0)])
    own, joint_of = keep & np.isin(cell, special), np.array([one.joint for one in known])
    kept = [keep, *(own & ((row < 0) | (joint_of[row] == joint) | ~stays[row, cell]) for joint in range(count))]
    which[:, special] = cells + np.arange(count * len(special)).reshape(count, -1)
    sizes = [np.bincount(cell[some], minlength=cells) for some in kept]
    every = np.concatenate([sizes[0], *(size[special] for size in sizes[1:])])
    return PerFault(Lists(np.concatenate([lists.rows[some] for some in kept]), np.append(0, np.cumsum(every))), which)
