"""Forward kinematics: a whole tree, or one serial chain of it, for many joint vectors in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.errors import FrameError, MotionError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.scene.tree import WORLD, Tree


def forward(tree: Tree, q: ArrayLike, links: Sequence[str] | None = None) -> Array:
    """Compute where every link of a tree is.

    Args:
        tree: the frames.
        q: joint vectors (..., n) in the order of ``tree.joints``, rad or m.
        links: names of the links wanted; all of ``tree.links`` when left out.

    Returns:
        T_world_link (..., L, 4, 4).

    Raises:
        FrameError: a link is not in the tree.
        MotionError: q does not hold one value a joint of the tree.
    """
    vectors = _vectors(q, len(tree.joints))
    plan = _plan(tree)
    rows = np.arange(len(tree.links)) if links is None else np.array([tree.index(link) for link in links], dtype=int)
    flat = vectors.reshape(-1, vectors.shape[-1])
    hats = sweep(plan.steps, plan.parents, plan.revolute, flat[:, plan.columns])
    result = np.empty((len(flat), len(rows), 4, 4))
    result[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
    for k, row in enumerate(rows):
        anchor = plan.anchors[row]
        if anchor < 0:
            result[:, k, :3] = plan.offsets[row, :3]
        else:
            result[:, k, :3] = (hats[anchor].reshape(-1, 4) @ plan.offsets[row]).reshape(-1, 3, 4)
    return result.reshape(*vectors.shape[:-1], len(rows), 4, 4)


def sweep(steps: Array, parents: Sequence[int], revolute: NDArray[np.bool_], q: Array) -> Array:
    """Carry frames whose z axis is the joint axis from joint to joint.

    Args:
        steps: constant poses (n, 4, 4) from the parent's frame (or the base) to the joint at zero.
        parents: for every joint the earlier joint it hangs from, or -1 for the base.
        revolute: (n,) true where the joint turns about its z axis, else it slides along it.
        q: joint positions (N, n).

    Returns:
        Upper three rows of the frames after each joint's motion, (n, N, 3, 4).
    """
    hats = np.empty((len(steps), len(q), 3, 4))
    sin, cos = np.sin(q)[:, :, None], np.cos(q)[:, :, None]
    for k, step in enumerate(steps):
        hat = hats[k]
        if parents[k] < 0:
            hat[:] = step[:3]
        else:
            # the upper rows (3, 4) of a pose times a constant (4, 4): one matrix product for the whole batch
            np.matmul(hats[parents[k]].reshape(-1, 4), step, out=hat.reshape(-1, 4))
        if revolute[k]:
            x, y = hat[:, :, 0].copy(), hat[:, :, 1]
            hat[:, :, 0] = x * cos[:, k] + y * sin[:, k]
            hat[:, :, 1] = y * cos[:, k] - x * sin[:, k]
        else:
            hat[:, :, 3] += hat[:, :, 2] * q[:, k, None]
    return hats


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
        return sweep(self.steps, range(-1, self.size - 1), self.revolute, _vectors(q, self.size).reshape(-1, self.size))

    def frames(self, q: ArrayLike) -> Array:
        """Return T_base_link (..., n, 4, 4) of the link behind each joint, for q (..., n)."""
        vectors = _vectors(q, self.size)
        hats = self.hats(vectors)
        result = np.empty((hats.shape[1], self.size, 4, 4))
        result[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
        for k, turn in enumerate(self.turns):
            result[:, k, :3] = (hats[k].reshape(-1, 4) @ turn).reshape(-1, 3, 4)
        return result.reshape(*vectors.shape[:-1], self.size, 4, 4)

    def forward(self, q: ArrayLike, tool: Array | None = None) -> Array:
        """Return T_base_tip (..., 4, 4), or T_base_tool for a tool at T_tip_tool (4, 4), for q (..., n)."""
        vectors = _vectors(q, self.size)
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

    def margins(self, q: ArrayLike) -> Array:
        """Return how far each joint is inside its travel (..., n), rad or m; negative outside."""
        vectors = _vectors(q, self.size)
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


class _Plan(NamedTuple):
    """A tree with its fixed joints folded away."""

    columns: NDArray[np.int64]
    parents: list[int]
    revolute: NDArray[np.bool_]
    steps: Array
    anchors: NDArray[np.int64]  # (L,) the moving joint a link hangs from, -1 for the world
    offsets: Array  # (L, 4, 4) from that joint's z-axis frame to the link


_plans: WeakKeyDictionary[Tree, _Plan] = WeakKeyDictionary()


def _plan(tree: Tree) -> _Plan:
    if tree in _plans:
        return _plans[tree]
    count = len(tree.links)
    anchors, offsets = np.full(count, -1, dtype=np.int64), np.zeros((count, 4, 4))
    columns, parents, steps, revolute = [], [], [], []
    for row in range(count):
        parent = int(tree.parents[row])
        at = tree.origins[row] if parent < 0 else offsets[parent] @ tree.origins[row]
        anchor = -1 if parent < 0 else int(anchors[parent])
        if tree.kinds[row]:
            turn = z_onto(tree.axes[row])
            steps.append(at @ turn)
            parents.append(anchor)
            revolute.append(bool(tree.kinds[row] == 1))
            columns.append(int(tree.columns[row]))
            anchor, at = len(steps) - 1, poses.inverse(turn)
        anchors[row], offsets[row] = anchor, at
    plan = _Plan(
        np.array(columns, dtype=np.int64), parents, np.array(revolute, dtype=bool),
        np.array(steps).reshape(-1, 4, 4), anchors, offsets,
    )
    _plans[tree] = plan
    return plan


def z_onto(axis: Array) -> Array:
    """Return a pose (4, 4) without translation that turns z onto a unit axis (3,); exact for the six main axes."""
    result = np.eye(4)
    if axis[0] == 0.0 and axis[1] == 0.0 and axis[2] > 0.0:
        return result
    side = np.cross(np.eye(3)[int(np.argmin(np.abs(axis)))], axis)
    side = side / np.linalg.norm(side)
    result[:3, :3] = np.stack([side, np.cross(axis, side), axis], axis=1)
    return result


def _route(tree: Tree, base: str, tip: str) -> list[_Hop]:
    """Return the hops from base up to the first common link and down to tip."""
    up, down = list(tree.ancestry(base)), list(tree.ancestry(tip))
    common = next(row for row in up if row in set(down))
    hops = []
    for row in up[: up.index(common)]:
        # climbing a joint undoes its motion: the same joint about the opposite axis, then its origin undone
        hops.append(_hop(tree, row, poses.identity(), -tree.axes[row], poses.inverse(tree.origins[row])))
    for row in reversed(down[: down.index(common)]):
        hops.append(_hop(tree, row, tree.origins[row], tree.axes[row], poses.identity()))
    return hops


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
    return _vectors(held, len(tree.joints))


def _vectors(q: ArrayLike, count: int) -> Array:
    vectors = np.asarray(q, dtype=float)
    if vectors.ndim < 1 or vectors.shape[-1] != count:
        raise MotionError(f"a joint vector of shape {vectors.shape} does not hold {count} joints")
    return vectors


__all__ = ["WORLD", "Chain", "forward", "sweep", "z_onto"]
