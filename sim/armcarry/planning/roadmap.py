"""A small deterministic planner: a seeded roadmap of proven segments, its best way, and that way made better.

Roadmap that proves a segment only once a way wants to use it, after R. Bohlin and L. Kavraki, Path planning using
lazy PRM, IEEE Int. Conf. Robotics and Automation (2000) 521; here a segment is valid because it is proven, not
because samples on it are.
"""

from __future__ import annotations

import heapq
from itertools import pairwise

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.planning.refine import ROUNDS as CHANGES
from armcarry.planning.refine import refined
from armcarry.planning.trees import joined
from armcarry.planning.ways import Appraiser, Space, Way, standing

#: free points of the first roadmap; each further one has twice as many and spreads wider
FIRST_POINTS = 48
ROUNDS = 2
NEIGHBOURS = 10
#: every two points of a way of at most this many are tried as neighbours
MOST_JOINED = 40
#: a way is roomy when it keeps this share of what both its ends have
ROOMY = 0.5
#: points of a roadmap keep this much, m
FREE_M = 0.02
#: a corner costs this many seconds beside the way itself
CORNER_S = 2.0


class Roadmap:
    """Points, the first of them the start, and segments whose cost is found out when it is wanted."""

    def __init__(self, appraiser: Appraiser, points: Array, goals: tuple[int, ...], least_m: float) -> None:
        self.appraiser, self.points, self.goals = appraiser, points, goals
        self.least_m = least_m
        self.cost: dict[tuple[int, int], float] = {}
        self._sure: set[tuple[int, int]] = set()

    def add(self, points: Array) -> None:
        """Take up points (N, A) and join each to start, goals and its nearest neighbours."""
        first = len(self.points)
        self.points = np.concatenate([self.points, points])
        for k in range(first, len(self.points)):
            seconds = self._seconds(np.full(k, k), np.arange(k))
            nearest = np.argsort(seconds, kind="stable")[:NEIGHBOURS].tolist()
            self.join([(k, other) for other in (0, *self.goals, *nearest)])

    def join(self, edges: list[tuple[int, int]]) -> None:
        """Take up segments, each at the time that it takes at least."""
        new = sorted({(min(a, b), max(a, b)) for a, b in edges if a != b} - set(self.cost))
        if new:
            a, b = np.array(new).T
            self.cost.update(zip(new, (self._seconds(a, b) + CORNER_S).tolist(), strict=True))

    def _seconds(self, a: np.ndarray, b: np.ndarray) -> Array:
        steps = self.points[b] - self.points[a]
        return self.appraiser.space.seconds(np.stack([self.points[a], steps, np.zeros_like(steps)], axis=1))

    def best(self) -> list[int] | None:
        """Return the points of the cheapest way whose segments are all proven; None where there is none."""
        enough = np.full(2, np.inf)
        while True:
            rows = self._cheapest()
            if rows is None:
                return None
            unsure = {(min(a, b), max(a, b)) for a, b in pairwise(rows)} - self._sure
            if not unsure:
                return rows
            for edge in sorted(unsure):
                way = self.appraiser.appraise(self.points[list(edge)], enough, least_m=self.least_m)
                self._sure.add(edge)
                self.cost[edge] = way.cost + CORNER_S

    def _cheapest(self) -> list[int] | None:
        near: list[list[tuple[int, float]]] = [[] for _ in self.points]
        for (a, b), seconds in self.cost.items():
            near[a].append((b, seconds))
            near[b].append((a, seconds))
        cost, before = np.full(len(self.points), np.inf), np.full(len(self.points), -1)
        cost[0] = 0.0
        queue = [(0.0, 0)]
        while queue:
            so_far, here = heapq.heappop(queue)
            if so_far > cost[here]:
                continue
            for other, seconds in near[here]:
                if so_far + seconds < cost[other]:
                    cost[other], before[other] = so_far + seconds, here
                    heapq.heappush(queue, (float(cost[other]), other))
        goal = min(self.goals, key=lambda row: cost[row])
        if not np.isfinite(cost[goal]):
            return None
        rows = [goal]
        while rows[-1] != 0:
            rows.append(int(before[rows[-1]]))
        return rows[::-1]


def find_way(
    space: Space, start: Array, goals: Array, *, seed: int = 1, hints: Array | None = None, thorough: bool = True,
    quick: bool = False,
) -> Way:
    """Find a way with a large margin that does not take long.

    Margin counts up to WANTED_M, and near an end no more than the end itself allows; a centimetre of the least
    margin is worth WORTH_S / 100 seconds.

    Args:
        space: what is proven there.
        start: (A,) joint positions.
        goals: (G, A); one of them is reached.
        seed: of the sampling; the same seed gives the same way.
        hints: (H, A) points that a way may lead past, such as those of a script, in order.
        quick: take the first way that is free, as short as its own points make it.
        thorough: search on with trees where the roadmap has no way, and for the least bad way where there is none.

    Returns:
        The way; not ``free`` when none was found: then the least bad one, and what blocks it.
    """
    source = np.random.Generator(np.random.PCG64(seed))
    appraiser = Appraiser(space)
    margins = appraiser.ends(np.concatenate([start[None], goals]))
    direct = [
        appraiser.appraise(np.stack([start, goal]), np.array([margins[0], own]), least_m=0.0)
        for goal, own in zip(goals, margins[1:], strict=True)
    ]
    plain = [way for way in direct if way.plain]
    if plain:
        return min(plain, key=lambda way: way.cost)
    first = [way.points for way in direct if way.free]
    if hints is not None and len(hints):
        first.append(np.concatenate([start[None], hints, goals[:1]]))
    if margins[0] >= 0.0 and margins[1:].max() >= 0.0:
        roomy = None if quick else ROOMY * min(float(margins[0]), float(margins[1:].max()))
        first += _searched(appraiser, source, start, goals[margins[1:] >= 0.0], hints, roomy, thorough)
    rounds = 0 if quick else CHANGES
    tried = [
        refined(appraiser, points, np.array([margins[0], appraiser.ends(points[-1:])[0]]), source, rounds)
        for points in first
    ]
    free = [way for way in tried if way.free]
    if free:
        return min(free, key=lambda way: way.cost)
    if not thorough:
        return Way(np.stack([start, goals[0]]), -np.inf, np.inf, -1, start, 0)
    return _least_bad(appraiser, source, start, goals)


def _searched(
    appraiser: Appraiser,
    source: np.random.Generator,
    start: Array,
    goals: Array,
    hints: Array | None,
    roomy_m: float | None,
    thorough: bool,
) -> list[Array]:
    """Return the points of the cheapest way on a roadmap and of the cheapest roomy one; empty where there is none.

    Without ``roomy_m`` a roomy one is not looked for.
    """
    ends, rows = np.concatenate([start[None], goals]), tuple(range(1, len(goals) + 1))
    roads = [Roadmap(appraiser, ends, rows, least_m) for least_m in (0.0, *(() if roomy_m is None else (roomy_m,)))]
    for road in roads:
        road.join([(0, goal) for goal in rows])
        if hints is not None and len(hints):
            road.add(hints)
    found: list[list[int]] = []
    for number in range(ROUNDS):
        points = _samples(appraiser, source, start, goals, FIRST_POINTS * 2**number, 0.35 * 2**number)
        for road in roads:
            road.add(points)
        ways = [way for road in roads if (way := road.best()) is not None]
        looked, found = bool(found), ways or found
        if len(found) == len(roads) or looked:  # for a roomy way one more look, once there is any
            break
    if not found and not thorough:
        return []
    if not found:
        winding = joined(appraiser.space, start, goals, source)
        return [] if winding is None else [_straightened(appraiser, winding)]
    return [roads[0].points[way] for number, way in enumerate(found) if len(way) > 2 and way not in found[:number]]


def _straightened(appraiser: Appraiser, points: Array) -> Array:
    """Return the cheapest way along some of the points of a way."""
    while True:
        last = len(points) - 1
        road = Roadmap(appraiser, points, (last,), 0.0)
        reach = last if last <= MOST_JOINED else 1 + MOST_JOINED // 4
        road.join([(a, b) for a in range(last) for b in range(a + 1, min(a + reach, last) + 1)])
        rows = road.best()
        if rows is None or len(rows) == len(points):
            return points
        points = points[rows]


def _samples(
    appraiser: Appraiser, source: np.random.Generator, start: Array, goals: Array, count: int, wide: float
) -> Array:
    """Draw free points (at most count, A) about the straight ways to the goals, within limits."""
    limits, kept = appraiser.space.limits, np.zeros((0, len(start)))
    for _ in range(8):
        goal = goals[source.integers(0, len(goals), count)]
        share = source.random((count, 1))
        spread = wide * np.where(np.arange(count) % 2, 1.0, 3.0)[:, None] * np.sqrt(share * (1 - share)) * 2 + 0.1
        points = start + share * (goal - start) + spread * source.normal(size=(count, len(start)))
        points = np.clip(points, limits[:, 0], limits[:, 1])
        room = appraiser.space.margins(standing(points), give_up_m=FREE_M).lower_m
        kept = np.concatenate([kept, points[room >= FREE_M]])
        if len(kept) >= count:
            break
    return np.asarray(kept[:count])


def _least_bad(appraiser: Appraiser, source: np.random.Generator, start: Array, goals: Array) -> Way:
    """Return a way that lacks as little as a coarse search finds."""
    road = Roadmap(appraiser, np.concatenate([start[None], goals]), tuple(range(1, len(goals) + 1)), -np.inf)
    road.join([(0, goal) for goal in road.goals])
    limits = appraiser.space.limits
    goal = goals[source.integers(0, len(goals), FIRST_POINTS)]
    points = start + source.random((FIRST_POINTS, 1)) * (goal - start)
    points += source.normal(0, 0.5, points.shape)
    road.add(np.clip(points, limits[:, 0], limits[:, 1]))
    rows = road.best() or [0, 1]
    return appraiser.appraise(road.points[rows], np.full(2, np.inf))
