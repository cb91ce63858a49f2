"""A way made better: via points moved, left out and put in, as long as that costs less."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.planning.ways import Appraiser, Way

#: rounds, each with smaller steps; trials for a via point and round
ROUNDS = 6
TRIALS = 8
FIRST_STEP, SHRINK = 0.4, 0.6
#: a way has at most this many via points; to make a way free they may be more
MOST_POINTS = 8
#: joints are moved this much to see which way the tightest place opens, rad or m
NUDGE = 0.02


def refined(
    appraiser: Appraiser, points: Array, ends_m: Array, source: np.random.Generator, rounds: int = ROUNDS
) -> Way:
    """Return the best way that small changes of one past points (W, A) lead to.

    Args:
        appraiser: of the space.
        points: start, via points, goal; the straight lines between them should be free.
        ends_m: (2,) margins at start and goal.
        source: of the random steps.
        rounds: of small changes at most.
    """
    way = _free(appraiser, points, ends_m)
    for number in range(rounds):
        before = way.cost
        way = _without(appraiser, way, ends_m)
        way = _with_more(appraiser, way, ends_m)
        step = FIRST_STEP * SHRINK**number
        for k in range(1, len(way.points) - 1):
            way = _moved(appraiser, way, ends_m, k, step, source)
        way = _opened(appraiser, way, ends_m, step)
        if way.cost > before - 0.2 and number > 2:
            break
    return _without(appraiser, way, ends_m)


def _free(appraiser: Appraiser, points: Array, ends_m: Array) -> Way:
    """Return the way past points, with points put in until its rounded corners are free where the corners are."""
    way = appraiser.appraise(points, ends_m)
    for _ in range(3):
        if way.free:
            break
        middles = (points[:-1] + points[1:]) / 2
        points = np.concatenate([np.stack([points[:-1], middles], axis=1).reshape(-1, points.shape[1]), points[-1:]])
        way = appraiser.appraise(points, ends_m)
    return way


def _best(appraiser: Appraiser, way: Way, ways: list[Array], ends_m: Array) -> Way:
    least_m = 0.0 if way.free else -np.inf
    for points in ways:
        way = min(way, appraiser.appraise(points, ends_m, least_m=least_m, below=way.cost), key=lambda each: each.cost)
    return way


def _without(appraiser: Appraiser, way: Way, ends_m: Array) -> Way:
    """Leave out via points, one after the other, while that costs less."""
    while len(way.points) > 2:
        fewer = [np.delete(way.points, k, axis=0) for k in range(1, len(way.points) - 1)]
        best = _best(appraiser, way, fewer, ends_m)
        if best is way:
            return way
        way = best
    return way


def _with_more(appraiser: Appraiser, way: Way, ends_m: Array) -> Way:
    """Put a point into the longest segment, which changes the way little but lets it bend there."""
    if len(way.points) - 2 >= MOST_POINTS:
        return way
    travel = np.abs(np.diff(way.points, axis=0)).max(axis=1)
    k = int(np.argmax(travel))
    parts = (1 / 3, 2 / 3) if len(way.points) == 2 else (0.5,)
    new = np.stack([way.points[k] + part * (way.points[k + 1] - way.points[k]) for part in parts])
    more = appraiser.appraise(np.insert(way.points, k + 1, new, axis=0), ends_m)
    return more if more.free >= way.free else way


def _moved(
    appraiser: Appraiser, way: Way, ends_m: Array, k: int, step: float, source: np.random.Generator
) -> Way:
    """Move one via point at random, and towards the middle of its neighbours."""
    size = way.points.shape[1]
    middle = 0.5 * (way.points[k - 1] + way.points[k + 1])
    drift = source.random((TRIALS, 1)) * (middle - way.points[k])
    few = source.random((TRIALS, size)) < np.where(np.arange(TRIALS) % 2, 1.0, 0.4)[:, None]
    tried = way.points[k] + step * few * source.normal(size=(TRIALS, size))
    tried[np.arange(TRIALS) % 3 > 0] += drift[np.arange(TRIALS) % 3 > 0]
    return _placed(appraiser, way, ends_m, k, tried)


def _opened(appraiser: Appraiser, way: Way, ends_m: Array, step: float) -> Way:
    """Move the via point nearest to the tightest place the way that opens it most."""
    for _ in range(4):
        if not way.nearest:
            return way
        nudges = way.at + NUDGE * np.concatenate([np.eye(len(way.at)), -np.eye(len(way.at))])
        there = appraiser.ends(nudges)
        up, down = np.split(there, 2)
        slope = np.where(np.isfinite(up - down), up - down, 0.0)
        if not np.any(slope):
            return way
        along = slope / np.abs(slope).max()
        tried = way.points[way.nearest] + step * np.array([2.0, 1.0, 0.5, 0.25])[:, None] * along
        better = _placed(appraiser, way, ends_m, way.nearest, tried)
        if better is way:
            return way
        way = better
    return way


def _placed(appraiser: Appraiser, way: Way, ends_m: Array, k: int, tried: Array) -> Way:
    """Return the best of a way and those with its via point k at the places tried (N, A)."""
    limits = appraiser.space.limits
    ways = []
    for place in np.clip(tried, limits[:, 0], limits[:, 1]):
        points = way.points.copy()
        points[k] = place
        if np.all(np.abs(np.diff(points, axis=0)).max(axis=1) > 1e-6):
            ways.append(points)
    return _best(appraiser, way, ways, ends_m)
