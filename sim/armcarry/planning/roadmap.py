"""A small deterministic planner: a seeded roadmap of proven segments, its best way, and that way made better.

Sampled roadmap after L. Kavraki, P. Svestka, J.-C. Latombe and M. Overmars, IEEE Trans. Robotics and Automation
12 (1996) 566; here a segment is valid because it is proven, not because samples on it are.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from armcarry.clearance.many import Margins
from armcarry.geometry.poses import Array

#: points of the first roadmap; each further one has twice as many and spreads wider
FIRST_POINTS = 48
ROUNDS = 3
NEIGHBOURS = 8
#: margins below this cost time: a segment without any margin counts as this many times longer
WANTED_M = 0.3
TIGHT = 8.0
#: seconds that stopping at a waypoint costs beside the way itself
STOP_S = 4.0
#: trials a waypoint and round when a way is made better
TRIALS = 10
SMOOTHING = 4


class Space(Protocol):
    """Where ways are sought."""

    limits: Array

    def margins(self, starts: Array, ends: Array) -> Margins:
        """Bound the least margin of straight segments (N, A) to (N, A)."""

    def seconds(self, starts: Array, ends: Array) -> Array:
        """Return how long each takes."""


@dataclass(frozen=True, eq=False)
class Way:
    """Waypoints (W, A) from start to goal and the proven margin of the segments between (W-1,), m.

    ``blocked_by`` is the row of the pair on the tightest segment, -1 for none.
    """

    points: Array
    margins_m: Array
    cost: float
    blocked_by: int = -1

    @property
    def least_m(self) -> float:
        """Margin of the tightest segment."""
        return float(self.margins_m.min())

    @property
    def free(self) -> bool:
        """Whether every segment keeps what is required."""
        return self.least_m >= 0.0


@dataclass(eq=False)
class Roadmap:
    """Points and proven segments; grows until it joins start and goals."""

    space: Space
    points: Array
    goals: tuple[int, ...]

    def __post_init__(self) -> None:
        self.margin: dict[tuple[int, int], tuple[float, int]] = {}

    def connect(self, edges: list[tuple[int, int]]) -> None:
        """Prove segments that are not yet known."""
        new = sorted({(min(a, b), max(a, b)) for a, b in edges if a != b} - set(self.margin))
        if not new:
            return
        a, b = np.array(new).T
        found = self.space.margins(self.points[a], self.points[b])
        lower = np.where(np.isfinite(found.lower_m), found.lower_m, -10.0)
        self.margin.update(zip(new, zip(lower.tolist(), found.pair.tolist(), strict=True), strict=True))

    def add(self, points: Array) -> None:
        """Take up points (N, A) and prove the segments to their nearest neighbours."""
        first = len(self.points)
        self.points = np.concatenate([self.points, points])
        edges: list[tuple[int, int]] = []
        for k in range(first, len(self.points)):
            far = self.space.seconds(self.points[:k], self.points[k])
            edges += [(k, int(near)) for near in np.argsort(far, kind="stable")[:NEIGHBOURS]]
        self.connect(edges)

    def widest(self) -> float:
        """Return the largest margin that some way from start to goal keeps; -inf when nothing joins them."""
        best = np.full(len(self.points), -np.inf)
        best[0] = np.inf
        queue = [(-np.inf, 0)]
        near = self._neighbours()
        while queue:
            reached, at = heapq.heappop(queue)
            if -reached < best[at]:
                continue
            for other, margin in near[at]:
                through = min(-reached, margin)
                if through > best[other]:
                    best[other] = through
                    heapq.heappush(queue, (-through, other))
        return float(max(best[goal] for goal in self.goals))

    def quickest(self, least_m: float) -> Way | None:
        """Return the way of least cost whose segments all keep a margin."""
        cost = np.full(len(self.points), np.inf)
        cost[0] = 0.0
        before = np.full(len(self.points), -1)
        queue, near = [(0.0, 0)], self._neighbours()
        while queue:
            so_far, at = heapq.heappop(queue)
            if so_far > cost[at]:
                continue
            for other, margin in near[at]:
                if margin < least_m:
                    continue
                through = so_far + self._cost(at, other, margin)
                if through < cost[other]:
                    cost[other], before[other] = through, at
                    heapq.heappush(queue, (through, other))
        goal = min(self.goals, key=lambda row: cost[row])
        if not np.isfinite(cost[goal]):
            return None
        rows = [goal]
        while rows[-1] != 0:
            rows.append(int(before[rows[-1]]))
        return self._way(rows[::-1], float(cost[goal]))

    def _way(self, rows: list[int], cost: float) -> Way:
        known = [self.margin[(min(a, b), max(a, b))] for a, b in pairwise(rows)]
        tightest = min(known)
        return Way(self.points[rows], np.array([margin for margin, _ in known]), cost, tightest[1])

    def _neighbours(self) -> list[list[tuple[int, float]]]:
        near: list[list[tuple[int, float]]] = [[] for _ in self.points]
        for (a, b), (margin, _) in self.margin.items():
            near[a].append((b, margin))
            near[b].append((a, margin))
        return near

    def _cost(self, a: int, b: int, margin: float) -> float:
        seconds = float(self.space.seconds(self.points[a], self.points[b]))
        return STOP_S + seconds * (1.0 + TIGHT * max(0.0, 1.0 - margin / WANTED_M) ** 2)


def find_way(space: Space, start: Array, goals: Array, *, seed: int = 1, hints: Array | None = None) -> Way:
    """Find a way that keeps the largest margin, then the quickest of those, and make it better.

    Args:
        space: what is proven there.
        start: (A,) joint positions.
        goals: (G, A); one of them is reached.
        seed: of the sampling; the same seed gives the same way.
        hints: (H, A) points that a way may lead through, such as those of a script, in order.

    Returns:
        The way; not ``free`` when none was found: then the least bad one, and what blocks it.
    """
    source = np.random.Generator(np.random.PCG64(seed))
    hints = np.zeros((0, len(start))) if hints is None else hints
    road = Roadmap(space, np.concatenate([start[None], goals]), tuple(range(1, len(goals) + 1)))
    road.connect([(0, goal) for goal in road.goals])
    if len(hints):
        road.add(hints)
        line = [0, *range(len(goals) + 1, len(goals) + 1 + len(hints)), 1]
        road.connect(list(pairwise(line)))
    # no way keeps more than its own ends do
    ends = space.margins(road.points[: len(goals) + 1], road.points[: len(goals) + 1]).lower_m
    most = min(WANTED_M, float(ends[0]), float(ends[1:].max()))
    for number in range(ROUNDS):
        if number and road.widest() >= max(most - 0.02, 0.0):
            break
        road.add(_samples(source, space.limits, start, goals, FIRST_POINTS * 2**number, 0.35 * 2**number))
    # the ends may dictate the margin: the ways that lose a centimetre on that are as good
    way = road.quickest(road.widest() - 0.01)
    if way is None:
        raise ValueError("nothing joins start and goal")  # every goal has a segment from the start: cannot be
    return _better(space, way, source) if way.free else way


def _samples(source: np.random.Generator, limits: Array, start: Array, goals: Array, count: int, wide: float) -> Array:
    """Draw points (count, A) about the straight ways to the goals, within limits."""
    goal = goals[source.integers(0, len(goals), count)]
    share = source.random((count, 1))
    spread = wide * np.sqrt(share * (1 - share)) * 2 + 0.1
    points = start + share * (goal - start) + spread * source.normal(size=(count, len(start)))
    return np.asarray(np.clip(points, limits[:, 0], limits[:, 1]))


def _better(space: Space, way: Way, source: np.random.Generator) -> Way:
    """Leave out waypoints and move the others, as long as the cost falls and the margin does not."""
    least = way.least_m - 0.01
    for number in range(SMOOTHING):
        way = _shorter(space, way, least)
        size = 0.25 / 2**number
        for k in range(1, len(way.points) - 1):
            middle = 0.5 * (way.points[k - 1] + way.points[k + 1])
            drift = source.random((TRIALS, 1)) * (middle - way.points[k])
            tried = way.points[k] + drift + size * source.normal(size=(TRIALS, way.points.shape[1]))
            tried = np.clip(tried, space.limits[:, 0], space.limits[:, 1])
            road = Roadmap(space, np.concatenate([way.points[[k - 1]], way.points[[k + 1]], tried]), (1,))
            road.connect([(end, 2 + row) for row in range(TRIALS) for end in (0, 1)])
            found = road.quickest(least)
            before = sum(_costs(space, way)[k - 1 : k + 1])
            if found is not None and found.cost < before - 1e-9:
                points = way.points.copy()
                points[k] = found.points[1]
                margins = way.margins_m.copy()
                margins[k - 1 : k + 1] = found.margins_m
                way = Way(points, margins, way.cost - before + found.cost, way.blocked_by)
    return _shorter(space, way, least)


def _costs(space: Space, way: Way) -> list[float]:
    seconds = space.seconds(way.points[:-1], way.points[1:])
    return list(STOP_S + seconds * (1.0 + TIGHT * np.maximum(0.0, 1.0 - way.margins_m / WANTED_M) ** 2))


def _shorter(space: Space, way: Way, least_m: float) -> Way:
    """Return the way with every waypoint left out that the others allow."""
    if len(way.points) < 3:
        return way
    last = len(way.points) - 1
    road = Roadmap(space, way.points, (last,))
    road.connect([(a, b) for a in range(last) for b in range(a + 1, last + 1)])
    found = road.quickest(min(least_m, way.least_m))
    return way if found is None or found.cost > way.cost else found
