"""What the page needs to draw where everything on the arm would stand after a fault, or after a stop at any instant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.scene.tree import WORLD, Tree
from armcarry.views.fault import displaced
from armcarry.views.groups import Group
from armcarry.views.pointed import Gap
from armcarry.whatif.late_stop import stopped

#: a stop is worked out so often while the arm moves, s, and at most at so many instants
_STEP_S, _MOST = 1.0, 2000
_DIGITS = 4


def after(record: Record, gap: Gap | None, groups: Sequence[Group]) -> list[dict[str, Any]]:
    """Return the nodes of the scene that the fault of a gap moves, and where to (place, turn as x y z w)."""
    if gap is None or not gap.joints:
        return []
    found = []
    for group, pose in displaced(record, gap.time_s, gap.joints, tuple(groups)):
        w, x, y, z = poses.quaternion_wxyz(pose)
        found.append({"node": _node(group), "place": _short(pose[:3, 3]), "turn": _short((x, y, z, w), 5)})
    return found


def stops(record: Record, groups: Sequence[Group]) -> dict[str, Any]:
    """Return how far each joint of the arm would still turn if all were told to stop, at instants while it moves.

    With ``times`` (T,) go ``at`` and ``more`` (T n,), positions of the arm's n joints then and what a stop adds to
    each. ``axes`` (n 7,) are their axes with all of them at zero, in the frame of the node ``foot``: direction, a
    point, and 1 for a joint that turns. ``hangs`` has, for each node that the arm may carry, stretches of time (start,
    end) with the number of its joints that are before the node.
    """
    columns = record.scene.arm_columns
    times = _instants(record)
    at = np.array([record.motion.at(time_s)[columns] for time_s in times]).reshape(len(times), len(columns))
    more = np.array([stopped(record, time_s)[columns] for time_s in times]).reshape(at.shape) - at
    foot, axes = _axes(record)
    return {
        "times": _short(times, 2), "at": _short(at.ravel()), "more": _short(more.ravel()),
        "axes": _short(axes.ravel(), 5),
        "foot": next((_node(group) for group in groups if group.link == foot and group.moves), ""),
        "hangs": {_node(group): spans for group in groups if group.moves and (spans := _hanging(record, group))},
    }


def _node(group: Group) -> str:
    return f"group {group.name}"


def _instants(record: Record) -> Array:
    """Return instants (T,) while the arm moves, and both ends of each such stretch."""
    spans = [(move.start_s, move.end_s) for move in record.moves if move.end_s > move.start_s]
    moving = []
    for start_s, end_s in spans:
        ends = record.motion.between(start_s, end_s).extremes(1)
        if np.abs(np.stack(ends)[:, record.scene.arm_columns]).max() > 0.0:
            moving.append((start_s, end_s))
    total = sum(end_s - start_s for start_s, end_s in moving)
    step = max(_STEP_S, total / _MOST)
    return np.unique(np.concatenate([
        np.zeros(0), *(np.linspace(start_s, end_s, max(int(np.ceil((end_s - start_s) / step)), 1) + 1)
                       for start_s, end_s in moving)
    ]))


def _axes(record: Record) -> tuple[str, Array]:
    """Return the link that leads what the arm's first joint stands on, and the axes (n, 7) in its frame."""
    phase, columns = record.phases[0], record.scene.arm_columns
    tree = phase.tree
    rows = [int(np.flatnonzero(tree.columns == column)[0]) for column in columns]
    foot = record.leaders[tree.links[tree.parents[rows[0]]]]
    position = np.array(record.motion.at(phase.start_s), dtype=float)
    position[columns] = 0.0
    links = forward(tree, position)
    back = np.eye(4) if foot == WORLD else poses.inverse(links[tree.index(foot)])
    found = []
    for row, column in zip(rows, columns, strict=True):
        pose = back @ links[row]
        found.append([*(pose[:3, :3] @ tree.axes[row]), *pose[:3, 3], float(tree.revolute[column])])
    return foot, np.array(found)


def _hanging(record: Record, group: Group) -> list[list[float]]:
    """Return from when to when how many joints of the arm are before a group; nothing where none ever is."""
    spans: list[list[float]] = []
    for phase in record.phases:
        count = _joints_before(phase.tree, group.link, record.scene.arm_columns)
        if spans and spans[-1][2] == count:
            spans[-1][1] = round(phase.end_s, 3)
        else:
            spans.append([round(phase.start_s, 3), round(phase.end_s, 3), count])
    return [span for span in spans if span[2]]


def _joints_before(tree: Tree, link: str, columns: Array) -> int:
    return int(np.isin(tree.columns[list(tree.ancestry(link))], columns).sum())


def _short(values: ArrayLike, digits: int = _DIGITS) -> list[float]:
    return [round(float(value), digits) for value in np.ravel(np.asarray(values, dtype=float))]
