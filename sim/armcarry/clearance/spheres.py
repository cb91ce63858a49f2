"""A first, coarse and quick look at which pairs can matter to short arcs: balls about bodies, stretched levers.

Sweeping every pair through the branch and bound costs most where nearly all are far apart; this tells those
apart with a bound of its own, so that nothing is lost.
"""

from __future__ import annotations

from copy import copy

import numpy as np

from armcarry.clearance.many import Lists
from armcarry.clearance.prover import Prover
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

#: more than rounding of squared distances of a hundred metres can be, m
ROUNDING_M = 1e-5


def far_m(pose: Array, radius_m: float) -> float:
    """Return how far any point of a ball at a pose (4, 4) can be from the origin."""
    return float(np.linalg.norm(pose[:3, 3])) + radius_m


def levers_m(tree: Tree, travel: dict[str, float]) -> Array:
    """Return (B, L): how far any point of a body can be from each link it hangs from, links stretched in a line.

    Args:
        tree: B bodies, L links.
        travel: how far each sliding joint goes at most, m.
    """
    away = np.linalg.norm(tree.origins[:, :3, 3], axis=1)
    for row, column in enumerate(tree.columns.tolist()):
        if column >= 0 and tree.kinds[row] == 2:
            away[row] += travel[tree.joints[column]]
    lever = np.zeros((len(tree.bodies), len(tree.links)))
    for k, body in enumerate(tree.bodies):
        reach = far_m(body.pose, bounding_radius_m(body.shape))
        for row in tree.ancestry(body.link):
            lever[k, row] = reach
            reach += away[row]
    return lever


def joint_levers_m(tree: Tree, travel: Array) -> Array:
    """Bound how far a unit of each joint moves any point of a body (B, n), links stretched; 0 where it does not.

    Args:
        tree: what hangs from what.
        travel: (n,) how far from 0 each joint is at most; counts for those that slide.
    """
    links = levers_m(tree, dict(zip(tree.joints, travel.tolist(), strict=True)))
    found = np.zeros((len(tree.bodies), len(tree.joints)))
    for row in np.flatnonzero(tree.columns >= 0):
        turns = tree.kinds[row] == 1
        found[:, tree.columns[row]] = links[:, row] if turns else links[:, row] > 0
    return found


class Spheres:
    """Balls about the bodies of a prover's tree, of which some joints move.

    Args:
        prover: tree and P pairs, each of one body that these joints move and one that they do not.
        joints: full names of the A joints that move.
        position: (n,) where all others are.
        within_m: (P,) farther pairs do not matter.
    """

    def __init__(self, prover: Prover, joints: tuple[str, ...], position: Array, within_m: Array) -> None:
        tree = prover.tree
        self.tree, self.position = tree, position
        self._made_of = (prover, joints, within_m)
        self._columns = np.array([tree.column(joint) for joint in joints])
        travel = np.abs(position)
        travel[self._columns] = np.abs(tree.joint_limits[self._columns]).max(axis=1)
        lever = levers_m(tree, dict(zip(tree.joints, travel.tolist(), strict=True)))
        row_of = {int(column): row for row, column in enumerate(tree.columns.tolist()) if column >= 0}
        rows = np.array([row_of[int(column)] for column in self._columns])
        #: joints that slide beyond these: levers grow with their travel
        self._slides = [
            int(tree.columns[row]) for row in np.flatnonzero((tree.kinds == 2) & (tree.columns >= 0)).tolist()
            if row not in rows and not set(rows.tolist()).isdisjoint(tree.ancestry(tree.links[row]))
        ]  # fmt: skip
        #: how far a unit of each joint moves any point of a body (B, A)
        lever = np.where(tree.kinds[rows] == 1, lever[:, rows], (lever[:, rows] > 0).astype(float))
        moved: np.ndarray = np.any(lever > 0, axis=1)
        first, second = prover.pairs.T
        if np.any(moved[first] == moved[second]):
            raise ValueError("a pair of two bodies that move, or of two that stand still")
        carried, still = np.where(moved[first], first, second), np.where(moved[first], second, first)
        self._carried, a = np.unique(carried, return_inverse=True)
        self._stills, b = np.unique(still, return_inverse=True)
        radius = np.array([bounding_radius_m(body.shape) for body in tree.bodies])
        self._lever, self._radius = lever[self._carried], radius[self._carried]
        self._still = self._centres(position[None], self._stills)[0]
        # two bodies that are no pair never come near
        self._within = np.full((len(self._carried), len(self._stills)), -np.inf)
        self._within[a, b] = within_m + radius[still] + ROUNDING_M
        self._kernel_row = np.zeros((len(self._carried), len(self._stills)), dtype=np.int64)
        self._kernel_row[a, b] = np.argsort(prover.layout.order)

    def moved(self, position: Array) -> Spheres:
        """Return the balls with all other joints elsewhere (n,)."""
        if not np.array_equal(position[self._slides], self.position[self._slides]):
            prover, joints, within_m = self._made_of
            return Spheres(prover, joints, position, within_m)
        new = copy(self)
        new.position, new._still = position, self._centres(position[None], self._stills)[0]
        return new

    def _centres(self, position: Array, bodies: np.ndarray) -> Array:
        """Return where the balls of some bodies are (N, B, 3) at joint vectors (N, n)."""
        chosen = [self.tree.bodies[row] for row in bodies.tolist()]
        links = list(dict.fromkeys(body.link for body in chosen))
        seats = forward(self.tree, position, links)[:, [links.index(body.link) for body in chosen]]
        return np.asarray(np.einsum("nbij,bj->nbi", seats[:, :, :3], np.stack([body.pose[:, 3] for body in chosen])))

    def near(self, middles: Array, halves: Array) -> Lists:
        """List the pairs that may come as near as they matter, one list an arc.

        Args:
            middles: (N, A) a point of each arc.
            halves: (N, A) how far each joint can be from it on the arc.
        """
        full = np.repeat(self.position[None], len(middles), axis=0)
        full[:, self._columns] = middles
        centres = self._centres(full, self._carried)
        sizes = self._radius + halves @ self._lever.T
        rows, square = [], (self._still**2).sum(axis=1)
        for centre, size in zip(centres, sizes, strict=True):
            apart = (centre**2).sum(axis=1)[:, None] + square - 2.0 * centre @ self._still.T
            reach = self._within + size[:, None]
            rows.append(np.sort(self._kernel_row[(reach > 0) & (apart < reach * reach)]))
        return Lists(np.concatenate(rows), np.append(0, np.cumsum([len(row) for row in rows])))
