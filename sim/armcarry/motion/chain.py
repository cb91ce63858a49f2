"""One serial chain of a tree: the joints between two links, all others held still."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.errors import FrameError, MotionError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.sweep import joint_vectors, sweep, z_onto
from armcarry.scene.tree import Tree


@dataclass(frozen=True, eq=False)
class Chain:
    """The movable joints between two links of a tree, all others held still.

    Attributes:
        base, tip: link names; poses of the chain are T_base_tip.
        joints: full joint names, n of them, from base to tip.
        limits: travel (n, 2), rad or m.
        velocity: largest rate (n,) as the model states it, rad/s or m/s.
        revolute: (n,) true where a joint turns.
        steps: constant poses (n, 4, 4) between frames whose z axis is the joint axis.
        turns: rotations (n, 4, 4) from such a frame back to the link's own frame.
        closing: constant pose (4, 4) from the last such frame to the tip.
    """

    base: str
    tip: str
    joints: tuple[str, ...]
    limits: Array
    velocity: Array
    revolute: NDArray[np.bool_]
    steps: Array
    turns: Array
    closing: Array

    @staticmethod
    def of(
        tree: Tree,
        base_link: str,
        tip_link: str,
        joints: Sequence[str] | None = None,
        held: ArrayLike | Mapping[str, float] | None = None,
    ) -> Chain:
        """Extract the chain between two links of a tree.

        Args:
            tree: the frames.
            base_link: poses are given in this link's frame (``world`` for the world).
            tip_link: the far end.
            joints: the joints that move, all movable ones between the two links when left out.
            held: the whole joint vector of the tree, or positions by joint name; joints on the way
                that do not move stand there (at 0 when not named).

        Raises:
            FrameError: a link or joint is not in the tree.
            MotionError: nothing between the two links moves, or a named joint is not between them.
        """
        position = _held(tree, held)
        route = _route(tree, base_link, tip_link)
        moving = [hop.joint for hop in route if hop.joint is not None]
        if joints is not None:
            for name in joints:
                tree.column(name)
                if name not in moving:
                    raise MotionError(f"joint '{name}' is not between '{base_link}' and '{tip_link}'")
            moving = [name for name in moving if name in set(joints)]
        if not moving:
            raise MotionError(f"no joint moves '{tip_link}' in '{base_link}'")
        return _assemble(tree, base_link, tip_link, route, tuple(moving), position)

    @property
    def size(self) -> int:
        """Number of joints."""
        return len(self.joints)

    def hats(self, q: ArrayLike) -> Array:
        """Return the upper rows of the frames whose z axis is the joint axis, (n, N, 3, 4), of q (N, n)."""
        flat = joint_vectors(q, self.size).reshape(-1, self.size)
        return sweep(self.steps, range(-1, self.size - 1), self.revolute, flat)

    def frames(self, q: ArrayLike) -> Array:
        """Return T_base_link (..., n, 4, 4) of the link behind each joint, for q (..., n)."""
        vectors = joint_vectors(q, self.size)
        hats = self.hats(vectors)
        result = np.empty((hats.shape[1], self.size, 4, 4))
        result[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
        for k, turn in enumerate(self.turns):
            result[:, k, :3] = (hats[k].reshape(-1, 4) @ turn).reshape(-1, 3, 4)
        return result.reshape(*vectors.shape[:-1], self.size, 4, 4)

    def forward(self, q: ArrayLike, tool: Array | None = None) -> Array:
        """Return T_base_tip (..., 4, 4), or T_base_tool for a tool at T_tip_tool (4, 4), for q (..., n)."""
        vectors = joint_vectors(q, self.size)
        return self.close(self.hats(vectors)[-1], tool).reshape(*vectors.shape[:-1], 4, 4)

    def close(self, last: Array, tool: Array | None = None) -> Array:
        """Return T_base_tool (N, 4, 4) from the last frames of ``hats`` (N, 3, 4)."""
        result = np.empty((len(last), 4, 4))
        result[:, 3] = (0.0, 0.0, 0.0, 1.0)
        closing = self.closing if tool is None else self.closing @ tool
        result[:, :3] = (last.reshape(-1, 4) @ closing).reshape(-1, 3, 4)
        return result

    def levers(self, tool: Array | None = None, travel: Array | None = None) -> Array:
        """Bound the speed of the tool point per unit rate of each joint, at any joint positions.

        Args:
            tool: T_tip_tool (4, 4).
            travel: positions (n, 2) that the joints stay within; their limits when left out.

        Returns:
            (n,) metres for a joint that turns (the longest lever arm), 1 for a joint that slides.
        """
        travel = self.limits if travel is None else travel
        slide = np.where(self.revolute, 0.0, np.abs(travel).max(axis=1))
        closing = self.closing if tool is None else self.closing @ tool
        lengths = np.append(np.linalg.norm(self.steps[1:, :3, 3], axis=1), np.linalg.norm(closing[:3, 3]))
        beyond = np.cumsum((lengths + np.append(slide[1:], 0.0))[::-1])[::-1]
        return np.where(self.revolute, beyond, 1.0)

    @cached_property
    def reach_m(self) -> float:
        """Longest distance from the first joint to the tip: the sum of the distances between joints."""
        slide = np.where(self.revolute, 0.0, np.abs(np.where(np.isfinite(self.limits), self.limits, 0.0)).max(axis=1))
        return float(
            np.linalg.norm(self.steps[1:, :3, 3], axis=1).sum() + slide.sum() + np.linalg.norm(self.closing[:3, 3])
        )

    @cached_property
    def bounded(self) -> NDArray[np.bool_]:
        """Which joints have a travel of finite, positive length (n,)."""
        length = self.limits[:, 1] - self.limits[:, 0]
        return np.asarray(np.isfinite(length) & (length > 0))

    @cached_property
    def middle(self) -> Array:
        """Middle of each joint's travel (n,); 0 for a joint without limits."""
        low, high = self.limits[:, 0], self.limits[:, 1]
        finite = np.isfinite(low) & np.isfinite(high)
        return np.where(finite, (np.where(finite, low, 0.0) + np.where(finite, high, 0.0)) / 2, 0.0)

    @cached_property
    def half(self) -> Array:
        """Half of each joint's travel (n,); infinite without limits."""
        return np.asarray((self.limits[:, 1] - self.limits[:, 0]) / 2)

    def margins(self, q: ArrayLike) -> Array:
        """Return how far each joint is inside its travel (..., n), rad or m; negative outside."""
        vectors = joint_vectors(q, self.size)
        return np.asarray(np.minimum(vectors - self.limits[:, 0], self.limits[:, 1] - vectors))

    def column(self, joint: str) -> int:
        """Return the place of a joint in the chain. Raises FrameError with the nearest name."""
        if joint not in self.joints:
            raise FrameError("joint", joint, self.joints)
        return self.joints.index(joint)


# -- taking a tree apart ------------------------------------------------------------------------------


class _Hop(NamedTuple):
    """One joint on the way between two links: pose before it, axis, then pose behind it."""

    joint: str | None  # None where fixed
    before: Array
    axis: Array
    revolute: bool
    behind: Array


def _route(tree: Tree, base: str, tip: str) -> list[_Hop]:
    """Return the hops from base up to the first common link and down to tip."""
    up, down = list(tree.ancestry(base)), list(tree.ancestry(tip))
    common = next(row for row in up if row in set(down))
    # climbing a joint undoes its motion: the same joint about the opposite axis, then its origin undone
    climb = [
        _hop(tree, row, poses.identity(), -tree.axes[row], poses.inverse(tree.origins[row]))
        for row in up[: up.index(common)]
    ]
    descend = [
        _hop(tree, row, tree.origins[row], tree.axes[row], poses.identity())
        for row in reversed(down[: down.index(common)])
    ]
    return climb + descend


def _hop(tree: Tree, row: int, before: Array, axis: Array, behind: Array) -> _Hop:
    column = int(tree.columns[row])
    return _Hop(tree.joints[column] if column >= 0 else None, before, axis, bool(tree.kinds[row] == 1), behind)


def _assemble(
    tree: Tree, base: str, tip: str, route: list[_Hop], moving: tuple[str, ...], position: Array
) -> Chain:
    at = poses.identity()
    steps, turns, revolute = [], [], []
    for hop in route:
        at = at @ hop.before
        if hop.joint in moving:
            turn = z_onto(hop.axis)
            steps.append(at @ turn)
            turns.append(poses.inverse(turn))
            revolute.append(hop.revolute)
            at = turns[-1]
        elif hop.joint is not None:
            value = position[tree.column(hop.joint)]
            at = at @ (poses.rotation_about(hop.axis, value) if hop.revolute else poses.translation(hop.axis * value))
        at = at @ hop.behind
    columns = [tree.column(name) for name in moving]
    return Chain(
        base, tip, moving, tree.joint_limits[columns], _rates(tree)[columns], np.array(revolute, dtype=bool),
        np.stack(steps), np.stack(turns), at,
    )


def _rates(tree: Tree) -> Array:
    return np.array([joint.velocity for m in tree.mountings for joint in m.model.movable()], dtype=float)


def _held(tree: Tree, held: ArrayLike | Mapping[str, float] | None) -> Array:
    position = np.zeros(len(tree.joints))
    if held is None:
        return position
    if isinstance(held, Mapping):
        for name, value in held.items():
            position[tree.column(name)] = value
        return position
    return joint_vectors(held, len(tree.joints))
