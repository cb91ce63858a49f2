"""Distances of bodies that some joints of a chain move, and how each changes with every joint."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from armcarry.clearance.solids import pack, pose_rows
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.scene.tree import WORLD, Tree

#: how exactly distances are measured, m
_TOLERANCE_M = 1e-4


class Near(NamedTuple):
    """Pairs that are near: rows (M,), distances (M,) in metres, and their change per unit of each joint (M, n)."""

    rows: np.ndarray
    distance_m: Array
    gradient: Array


class Gauge:
    """Measures pairs of bodies of a tree at joint positions of one chain, everything else at rest.

    Args:
        tree: frames and bodies.
        joints: the n joints that move, all on one way from the world to ``tip``.
        tip: a link behind the last of them.
        position: the whole joint vector, for everything else.
        pairs: (P, 2) rows into ``tree.bodies``.
    """

    def __init__(self, tree: Tree, joints: Sequence[str], tip: str, position: Array, pairs: np.ndarray) -> None:
        from armcarry.clearance.rest import measure

        self.pairs = np.ascontiguousarray(pairs, dtype=np.int64).reshape(-1, 2)
        self._measure = measure
        self._solids = pack([body.shape for body in tree.bodies])
        self._chain = Chain.of(tree, WORLD, tip, joints=joints, held=position)
        start = np.array([position[tree.column(name)] for name in self._chain.joints])
        links = forward(tree, position, [body.link for body in tree.bodies])
        self._placed = links @ np.stack([body.pose for body in tree.bodies])
        self._unturned = np.linalg.inv(self._frames(self._hats(start)))
        order = {tree.column(name): k for k, name in enumerate(self._chain.joints)}
        rows = {body.link: -1 for body in tree.bodies}
        for link in rows:
            between = [order[int(c)] for c in tree.columns[list(tree.ancestry(link))] if int(c) in order]
            rows[link] = max(between, default=-1)
        #: the last of the joints that moves each body, -1 for none
        self._behind = np.array([rows[body.link] for body in tree.bodies], dtype=np.int64)

    def _hats(self, q: Array) -> Array:
        """Return the upper rows of the joints' frames (n, 3, 4)."""
        return np.asarray(self._chain.hats(q)[:, 0])

    def _frames(self, hats: Array) -> Array:
        """Return the world's frame and those of the joints, (n+1, 4, 4)."""
        result = np.zeros((self._chain.size + 1, 4, 4))
        result[:, 3, 3] = 1.0
        result[0] = np.eye(4)
        result[1:, :3] = hats
        return result

    def place(self, q: Array) -> Array:
        """Return T_world_body (B, 4, 4) at joint positions (n,)."""
        return self._place(self._hats(q))

    def _place(self, hats: Array) -> Array:
        return np.asarray((self._frames(hats) @ self._unturned)[self._behind + 1] @ self._placed)

    def maybe_near(self, q: Array, within_m: Array, some: np.ndarray | None = None) -> np.ndarray:
        """Return which rows, of all or some, have bounding balls nearer than ``within_m`` (P,); nan leaves one out."""
        return self._by_balls(pose_rows(self.place(q)[None], self._solids.centre), within_m, some)

    def _by_balls(self, pose: Array, within_m: Array, some: np.ndarray | None) -> np.ndarray:
        rows = np.arange(len(self.pairs)) if some is None else some
        a, b = self.pairs[rows].T
        apart, balls = pose[0, b, 9:] - pose[0, a, 9:], self._solids.size[:, 4]
        far = np.maximum(within_m[rows] + balls[a] + balls[b], 0.0)
        return np.asarray(rows[np.einsum("px,px->p", apart, apart) < far**2])  # nan is not nearer

    def near(self, q: Array, within_m: Array, some: np.ndarray | None = None) -> Near:
        """Measure the pairs that are nearer than ``within_m`` (P,), of all or of some rows; nan leaves one out.

        Bodies that overlap have distance 0 and no gradient.
        """
        hats = self._hats(q)
        pose = pose_rows(self._place(hats)[None], self._solids.centre)
        rows = self._by_balls(pose, within_m, some)
        bounds, points = self._measure(
            self._solids.form, self._solids.size, self._solids.verts, np.ascontiguousarray(pose), self.pairs[rows],
            _TOLERANCE_M,
        )  # fmt: skip
        close = bounds[0, :, 1] < within_m[rows]
        rows, distance = rows[close], np.maximum(bounds[0, close, 1], 0.0)
        return Near(rows, distance, self._gradient(hats, rows, distance, points[0, close]))

    def _gradient(self, hats: Array, rows: np.ndarray, distance: Array, points: Array) -> Array:
        axes, origins = hats[:, :, 2], hats[:, :, 3]
        with np.errstate(divide="ignore", invalid="ignore"):
            across = np.where(distance[:, None] > 1e-9, (points[:, 3:] - points[:, :3]) / distance[:, None], 0.0)
        result = np.zeros((len(rows), self._chain.size))
        for sign, side, column in ((-1.0, 0, 0), (1.0, 1, 3)):
            point, behind = points[:, column : column + 3], self._behind[self.pairs[rows, side]]
            arm = point[:, None] - origins
            # the cross product of axis and arm, written out: a third of the time
            turned = np.stack(
                [axes[:, k - 2] * arm[..., k - 1] - axes[:, k - 1] * arm[..., k - 2] for k in range(3)], axis=-1
            )
            moved = np.where(self._chain.revolute[:, None], turned, axes)
            moves = np.arange(self._chain.size) <= behind[:, None]
            result += sign * np.where(moves, (moved @ across[:, :, None])[:, :, 0], 0.0)
        return result
