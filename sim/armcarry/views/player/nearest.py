"""The closest pair and the margin of every part at the instant shown, quick enough for every frame.

Pairs that balls around the bodies prove farther than what is found, or farther than matters, are not measured;
the others are, with the same proven distance that the rest of armcarry uses.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.record.matters import weight
from armcarry.record.record import PairRow, Record
from armcarry.views.closest import kept
from armcarry.views.groups import Group, group_poses, rigid_groups

#: parts with more to spare than this all look the same, so their margin is not measured
FAR_M = 0.5


@dataclass(frozen=True, eq=False)
class Nearest:
    """What is closest at an instant.

    Attributes:
        row: the pair that matters most (see ``record.matters``), None when none is within the report distance.
        lower_m, upper_m: bounds of its distance at this instant; -inf and 0 in contact.
        point_a, point_b: (3,) its nearest points in the world.
        margin_m: by row into ``record.bodies``, the least margin of a part where it is below FAR_M.
    """

    row: PairRow | None
    lower_m: float = np.inf
    upper_m: float = np.inf
    point_a: Array = field(default_factory=lambda: np.full(3, np.nan))
    point_b: Array = field(default_factory=lambda: np.full(3, np.nan))
    margin_m: dict[int, float] = field(default_factory=dict)

    @property
    def kept(self) -> bool:
        """Whether what is required of the pair is kept; so it is where there is none."""
        return self.row is None or kept(self.row, self.lower_m)


class Closest:
    """Finds the closest pair of a run at any instant."""

    def __init__(self, record: Record, groups: tuple[Group, ...] | None = None) -> None:
        """Sort the pairs once; ``groups`` saves sorting the bodies again."""
        self.record = record
        self._groups = rigid_groups(record) if groups is None else groups
        judged = record.table.judged
        self.rows = record.table.rows(judged)
        where = {body.name: k for k, body in enumerate(record.bodies)}
        self._pair = np.array([(where[r.body_a], where[r.body_b]) for r in self.rows], dtype=np.int64).reshape(-1, 2)
        self._window = np.array([(r.start_s, r.end_s) for r in self.rows]).reshape(-1, 2)
        self._required = np.array([r.required_m for r in self.rows], dtype=float)
        self._apart = record.apart[judged]
        # no distance is less than the least over the run, which is proven
        self._least = np.array([r.lower_m for r in self.rows])
        self._radius = np.array([bounding_radius_m(body.shape) for body in record.bodies])
        self._group = np.zeros(len(record.bodies), dtype=np.int64)
        self._local = np.zeros((len(record.bodies), 4, 4))
        for k, group in enumerate(self._groups):
            self._group[list(group.bodies)] = k
            self._local[list(group.bodies)] = group.local

    def at(self, time_s: float, parts: bool = False) -> Nearest:
        """Find the closest pair at an instant; with ``parts`` also the margin of every part."""
        open_now = (self._window[:, 0] <= time_s) & (time_s <= self._window[:, 1])
        active = np.flatnonzero(open_now)
        if not len(active):
            return Nearest(None)
        pose = group_poses(self.record, self._groups, time_s)[0]
        place = np.einsum("bij,bj->bi", pose[self._group, :3, :3], self._local[:, :3, 3]) + pose[self._group, :3, 3]
        a, b = self._pair[active].T
        ball = np.linalg.norm(place[a] - place[b], axis=1) - self._radius[a] - self._radius[b]
        bound = np.maximum(ball, self._least[active])
        reach = self.record.scene.loaded.rules.report_distance
        tinted = parts & (bound - self._required[active] < FAR_M)
        found = self._measure(active[tinted], pose)
        heavy = weight(bound, self._required[active], self._apart[active])
        others = np.flatnonzero(~tinted & (bound <= reach) & (heavy < np.inf))
        others = others[np.argsort(heavy[others], kind="stable")]
        return self._chosen(self._search(active[others], heavy[others], pose, found, reach), reach)

    def _weight(self, found: tuple[Any, ...], reach: float) -> Array:
        rows, lower = found[0], found[1]
        return np.where(lower <= reach, weight(lower, self._required[rows], self._apart[rows]), np.inf)

    def _search(
        self, rows: NDArray[np.int64], bound: Array, pose: Array, found: tuple[Any, ...], reach: float
    ) -> tuple[Any, ...]:
        """Add to what was found, measuring in order of the bound until nothing left can matter more."""
        best, done, size = float(np.min(self._weight(found, reach), initial=np.inf)), 0, 48
        parts = [found]
        while done < len(rows) and bound[done] < best:
            parts.append(self._measure(rows[done : done + size], pose))
            best = min(best, float(np.min(self._weight(parts[-1], reach))))
            done, size = done + size, size * 4
        return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))

    def _measure(self, rows: NDArray[np.int64], pose: Array) -> tuple[Any, ...]:
        """Return rows, bounds and points of pairs at group poses (G, 4, 4)."""
        if not len(rows):
            empty = np.zeros(0)
            return rows, empty, empty, np.zeros((0, 3)), np.zeros((0, 3))
        used, renumbered = np.unique(self._pair[rows], return_inverse=True)
        placed = pose[self._group[used]] @ self._local[used]
        found = distances([self.record.bodies[k].shape for k in used], placed[None], renumbered.reshape(-1, 2))
        return rows, found.lower_m[0], found.upper_m[0], found.point_a[0], found.point_b[0]

    def _chosen(self, found: tuple[Any, ...], reach: float) -> Nearest:
        rows, lower, upper, point_a, point_b = found
        margin = lower - self._required[rows]
        parts: dict[int, float] = {}
        for row, left in zip(rows[margin < FAR_M], margin[margin < FAR_M], strict=True):
            for body in self._pair[row]:
                parts[int(body)] = min(parts.get(int(body), np.inf), float(left))
        heavy = self._weight(found, reach)
        near = np.flatnonzero(heavy < np.inf)
        if not len(near):
            return Nearest(None, margin_m=parts)
        # of several pairs in contact the deepest is unknown: the one that asks most is shown
        k = near[np.lexsort((-self._required[rows[near]], heavy[near]))[0]]
        return Nearest(self.rows[rows[k]], float(lower[k]), float(upper[k]), point_a[k], point_b[k], parts)
