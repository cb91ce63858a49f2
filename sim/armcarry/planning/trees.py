"""Two trees of proven segments, from start and from goals, grown until they meet: for ways that wind.

Source: J. Kuffner and S. LaValle, RRT-Connect: an efficient approach to single-query path planning, IEEE Int. Conf.
Robotics and Automation (2000) 995.
"""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.planning.ways import Space, arcs_of

#: segments proven before it is given up
SEGMENTS = 6000
#: longest segment, in travel of the joint that travels most
STEP = 0.4
#: share of targets drawn from all of the space; the rest lie about the straight ways
ANYWHERE = 0.5
SPREAD = 1.0


class _Tree:
    """Points and the row of the point each came from, -1 for roots."""

    def __init__(self, roots: Array) -> None:
        self.points = np.concatenate([roots, np.empty((SEGMENTS, roots.shape[1]))])
        self.parent = [-1] * len(roots)

    def nearest(self, target: Array) -> int:
        return int(np.argmin(np.abs(self.points[: len(self.parent)] - target).max(axis=1)))

    def add(self, point: Array, parent: int) -> int:
        self.points[len(self.parent)] = point
        self.parent.append(parent)
        return len(self.parent) - 1

    def back(self, row: int) -> list[Array]:
        """Return the points from a row to its root."""
        found = []
        while row >= 0:
            found.append(self.points[row])
            row = self.parent[row]
        return found


def joined(
    space: Space, start: Array, goals: Array, source: np.random.Generator, *, least_m: float = 0.0
) -> Array | None:
    """Find points (W, A) from start to one of the goals whose straight segments are proven to keep a margin.

    Args:
        space: what is proven there.
        start: (A,); goals: (G, A); all of them keep the margin themselves.
        source: of the targets.
        least_m: the margin.

    Returns:
        The points, or None when SEGMENTS segments were tried.
    """
    trees = [_Tree(start[None]), _Tree(goals)]
    left = SEGMENTS
    while left > 0:
        grown, row, used = _grow(space, trees[0], _target(space, start, goals, source), least_m, 1)
        left -= used
        if grown:
            tip = trees[0].points[row]
            _, met, used = _grow(space, trees[1], tip, least_m, left)
            left -= used
            if np.array_equal(trees[1].points[met], tip):
                there, back = trees[0].back(row)[::-1], trees[1].back(met)[1:]
                points = np.array(there + back)
                return points if np.array_equal(points[0], start) else points[::-1]
        trees.reverse()
    return None


def _target(space: Space, start: Array, goals: Array, source: np.random.Generator) -> Array:
    low, high = space.limits.T
    if source.random() < ANYWHERE:
        return np.asarray(low + source.random(len(start)) * (high - low))
    goal = goals[source.integers(len(goals))]
    middle = start + source.random() * (goal - start)
    return np.asarray(np.clip(middle + SPREAD * source.normal(size=len(start)), low, high))


def _grow(space: Space, tree: _Tree, target: Array, least_m: float, steps: int) -> tuple[bool, int, int]:
    """Lead a tree towards a target; return whether it grew, the row it came to and the segments proven."""
    row = tree.nearest(target)
    grew = False
    for used in range(steps):
        way = target - tree.points[row]
        travel = float(np.abs(way).max())
        if travel == 0.0:
            return grew, row, used
        point = target if travel <= STEP else tree.points[row] + way * (STEP / travel)
        arcs, _ = arcs_of(np.stack([tree.points[row], point]))
        if space.margins(arcs, give_up_m=least_m).lower_m.min() < least_m:
            return grew, row, used + 1
        row, grew = tree.add(point, row), True
    return grew, row, steps
