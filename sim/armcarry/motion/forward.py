"""Forward kinematics of a whole tree for many joint vectors in one call."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.sweep import joint_vectors, sweep, z_onto
from armcarry.scene.tree import Tree

__all__ = ["Chain", "forward"]


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
    vectors = joint_vectors(q, len(tree.joints))
    plan = _plan(tree) if links is None else _plan_for(tree, tuple(links))
    count = len(plan.anchors)
    flat = vectors.reshape(int(np.prod(vectors.shape[:-1])), len(tree.joints))  # -1 fails where nothing moves
    hats = sweep(plan.steps, plan.parents, plan.revolute, flat[:, plan.columns])
    result = np.empty((len(flat), count, 4, 4))
    result[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
    for k, anchor in enumerate(plan.anchors.tolist()):
        if anchor < 0:
            result[:, k, :3] = plan.offsets[k, :3]
        else:
            result[:, k, :3] = (hats[anchor].reshape(-1, 4) @ plan.offsets[k]).reshape(-1, 3, 4)
    return result.reshape(*vectors.shape[:-1], count, 4, 4)


class _Plan(NamedTuple):
    """A tree, or as much of it as some links hang from, with its fixed joints folded away."""

    columns: NDArray[np.int64]
    parents: list[int]
    revolute: NDArray[np.bool_]
    steps: Array
    anchors: NDArray[np.int64]  # (L,) the moving joint a link hangs from, -1 for the world
    offsets: Array  # (L, 4, 4) from that joint's z-axis frame to the link


_plans: WeakKeyDictionary[Tree, dict[tuple[str, ...] | None, _Plan]] = WeakKeyDictionary()
#: so many choices of links of one tree are remembered
_MOST_PLANS = 256


def _plan_for(tree: Tree, links: tuple[str, ...]) -> _Plan:
    """Return the plan of some links of a tree: the joints that none of them hangs from are left out."""
    known = _plans.setdefault(tree, {})
    if links in known:
        return known[links]
    whole = _plan(tree)
    rows = np.array([tree.index(link) for link in links], dtype=np.int64)
    needed = set[int]()
    for anchor in whole.anchors[rows].tolist():
        while anchor >= 0 and anchor not in needed:
            needed.add(anchor)
            anchor = whole.parents[anchor]
    joints = sorted(needed)
    place = {-1: -1, **{joint: k for k, joint in enumerate(joints)}}
    anchors = np.array([place[anchor] for anchor in whole.anchors[rows].tolist()], dtype=np.int64)
    plan = _Plan(
        whole.columns[joints], [place[whole.parents[joint]] for joint in joints], whole.revolute[joints],
        whole.steps[joints], anchors, whole.offsets[rows],
    )  # fmt: skip
    if len(known) < _MOST_PLANS:
        known[links] = plan
    return plan


def _plan(tree: Tree) -> _Plan:
    known = _plans.setdefault(tree, {})
    if None in known:
        return known[None]
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
    known[None] = plan
    return plan
