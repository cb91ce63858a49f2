"""Boxes about all that bodies do over a motion: what they tell apart is proven, and costs next to nothing.

A box has the axes of the world and holds its body at every instant of the motion. Two boxes apart by a distance keep
their bodies apart by it, always; so of the many bodies that stand far from all motion none needs to be looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance.frames import place_bodies
from armcarry.clearance.solids import PAD_M
from armcarry.clearance.spheres import joint_levers_m
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

#: a body goes at most about this far from where it is looked at, m, and so many instants are looked at at most
STEP_M, MOST_CELLS = 0.5, 20_000
#: numbers held at a time
_AT_ONCE = 2_000_000


@dataclass(frozen=True, eq=False)
class Boxes:
    """Boxes (B, 3), (B, 3) of all bodies of a tree, by their least and greatest corner, world frame."""

    least_m: Array
    most_m: Array

    def apart_m(self, pairs: np.ndarray) -> Array:
        """Return how far apart the boxes of pairs (P, 2) are: no less are the bodies, at any instant."""
        a, b = pairs.T
        square = np.zeros(len(pairs))
        for axis in range(3):
            least, most = self.least_m[:, axis], self.most_m[:, axis]
            square += np.maximum(np.maximum(least[b] - most[a], least[a] - most[b]), 0.0) ** 2
        return np.asarray(np.sqrt(square))


def swept_boxes(tree: Tree, motion: Motion) -> Boxes:
    """Return boxes that hold every body at every instant of a motion of all joints of the tree.

    Cells of each piece of the motion are looked at in their middle; from there a body goes no farther than its joints
    turn in half a cell, at the greatest rate of the piece, on levers stretched in a line.
    """
    placed, position = place_bodies(tree), motion.at(motion.start_s)
    seats = _seats(tree, position[None], np.arange(len(tree.bodies)))[0]
    turn, size = np.abs(seats[:, :3, :3]), placed.solids.size
    about = np.einsum("bij,bj->bi", turn, size[:, :3]) + size[:, 3:4]
    centre = np.einsum("bij,bj->bi", seats[:, :3, :3], placed.solids.centre) + seats[:, :3, 3]
    least, most = centre - about - PAD_M, centre + about + PAD_M
    travel = np.abs(motion.extremes()).max(axis=0)
    levers = joint_levers_m(tree, travel) * motion.moving
    moved = np.flatnonzero(np.any(levers > 0.0, axis=1))
    if len(moved):
        least[moved], most[moved] = _swept(tree, motion, moved, levers[moved])
    return Boxes(least, most)


def _swept(tree: Tree, motion: Motion, bodies: np.ndarray, levers: Array) -> tuple[Array, Array]:
    solids = place_bodies(tree).solids
    lasts = np.diff(motion.breaks_s)
    powers = np.arange(1, motion.coefficients.shape[1])
    # no joint is faster in a piece than all of its powers together
    rate = (np.abs(motion.coefficients[:, 1:]) * (powers * lasts[:, None] ** (powers - 1))[:, :, None]).sum(axis=1)
    goes = rate @ levers.T * lasts[:, None]
    wanted = np.ceil(goes.max(axis=1) / (2 * STEP_M))
    cells = np.maximum(np.ceil(wanted * min(1.0, MOST_CELLS / max(wanted.sum(), 1.0))), 1).astype(np.int64)
    piece = np.repeat(np.arange(len(cells)), cells)
    within = np.arange(len(piece)) - np.repeat(np.cumsum(cells) - cells, cells)
    times = motion.breaks_s[piece] + (within + 0.5) * (lasts / cells)[piece]
    strays = (goes / (2 * cells[:, None])) + solids.size[bodies, 4] + PAD_M
    least, most = np.full((len(bodies), 3), np.inf), np.full((len(bodies), 3), -np.inf)
    step = max(1, _AT_ONCE // (16 * len(bodies)))
    for first in range(0, len(times), step):
        seats = _seats(tree, motion.at(times[first : first + step]), bodies)
        centre = np.einsum("tbij,bj->tbi", seats[:, :, :3, :3], solids.centre[bodies]) + seats[:, :, :3, 3]
        away = strays[piece[first : first + step], :, None]
        least, most = np.minimum(least, (centre - away).min(axis=0)), np.maximum(most, (centre + away).max(axis=0))
    return least, most


def _seats(tree: Tree, positions: Array, bodies: np.ndarray) -> Array:
    """Return T_world_body (N, B, 4, 4) of some bodies at joint vectors (N, n)."""
    chosen = [tree.bodies[row] for row in bodies.tolist()]
    links = list(dict.fromkeys(body.link for body in chosen))
    row = {link: k for k, link in enumerate(links)}
    seats = forward(tree, positions, links)[:, [row[body.link] for body in chosen]]
    return np.asarray(seats @ np.stack([body.pose for body in chosen]))
