"""How far it is along the handrails to one place, from every point of every rail at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array
from armcarry.timeline.handrails import Rail, crossings, rail_graph

GOAL = "goal"
#: a stop of a rail: its share of the length, way home, widest gap and number of gaps on it, rails followed
_Found = tuple[float, float, float, int, tuple[str, ...]]
#: a metre of gap too wide for hands weighs as much as this many metres of rail
_WIDE = 1e6


@dataclass(frozen=True, eq=False)
class Holds:
    """What N points are to R rails: a point takes hold of a rail where the rail is nearest.

    Attributes:
        apart_m: (N, R) from the point to that place.
        home_m: (N, R) from that place to the goal, gaps included.
        gap_m: (N, R) the widest gap on that way that hands cannot bridge, 0 if none.
        gaps: (N, R) how many such gaps there are.
        stop: (N, R) the first stop of the rail on that way, see WaysHome.way.
    """

    apart_m: Array
    home_m: Array
    gap_m: Array
    gaps: np.ndarray
    stop: np.ndarray


@dataclass(frozen=True, eq=False)
class _Stops:
    """Places of one rail where a way may turn: shares of its length (K,), and from each the way home."""

    share: Array
    home_m: Array
    gap_m: Array
    gaps: np.ndarray
    ways: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, eq=False)
class WaysHome:
    """The shortest way from every rail to the goal; gaps too wide for hands are taken only where there must be."""

    rails: tuple[Rail, ...]
    stops: tuple[_Stops, ...]

    def holds(self, points_m: ArrayLike) -> Holds:
        """Measure points (N, 3) in the world frame against every rail."""
        points = np.asarray(points_m, dtype=float).reshape(-1, 3)
        shape = (len(points), len(self.rails))
        apart, home, gap = np.empty(shape), np.empty(shape), np.empty(shape)
        stop, gaps = np.empty(shape, dtype=np.int64), np.empty(shape, dtype=np.int64)
        for k, (rail, stops) in enumerate(zip(self.rails, self.stops, strict=True)):
            along = rail.end - rail.start
            share = np.clip((points - rail.start) @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
            apart[:, k] = np.linalg.norm(rail.start + share[:, None] * along - points, axis=1)
            by_stop = np.abs(share[:, None] - stops.share) * rail.length_m + stops.home_m
            stop[:, k] = by_stop.argmin(axis=1)
            home[:, k] = by_stop.min(axis=1)
            gap[:, k], gaps[:, k] = stops.gap_m[stop[:, k]], stops.gaps[stop[:, k]]
        return Holds(apart, home, gap, gaps, stop)

    def way(self, rail: int, stop: int) -> tuple[str, ...]:
        """Return the rails followed from a stop of a rail, that rail first."""
        first = self.rails[rail].name
        names = self.stops[rail].ways[stop]
        return names if names[:1] == (first,) else (first, *names)


def ways_home(rails: Sequence[Rail], goal_m: ArrayLike, *, gap_m: float, reach_m: float) -> WaysHome:
    """Find the way home from every rail.

    Args:
        rails: at least one.
        goal_m: the place (3,), world frame.
        gap_m: widest gap that hands bridge between two rails.
        reach_m: farthest a rail may be from the goal; where none is, the nearest is taken, as a gap.
    """
    import networkx as nx

    goal = np.asarray(goal_m, dtype=float)
    nearest = min(float(np.linalg.norm(rail.point(rail.nearest(goal)) - goal)) for rail in rails)
    reach = max(reach_m, nearest * (1 + 1e-12))
    graph = rail_graph(rails, gap_m, {GOAL: goal}, reach)
    if not nx.is_connected(graph):
        graph = rail_graph(rails, _joining_gap_m(rails), {GOAL: goal}, reach)

    def excess(edge: dict[str, Any]) -> float:
        """Return the length of an edge that hands cannot bridge, else 0."""
        allowed = {"gap": gap_m, "reach": reach_m}.get(edge["kind"], np.inf)
        return float(edge["length_m"]) if edge["length_m"] > allowed else 0.0

    def weight(_a: Any, _b: Any, edge: dict[str, Any]) -> float:
        return float(edge["length_m"]) + _WIDE * excess(edge)

    found: dict[str, list[_Found]] = {rail.name: [] for rail in rails}
    for node, path in nx.single_source_dijkstra_path(graph, GOAL, weight=weight).items():
        if node == GOAL:
            continue
        edges = [graph.edges[a, b] for a, b in pairwise(reversed(path))]
        names = [edge["rail"] for edge in edges if edge["kind"] == "rail"]
        kept = tuple(name for k, name in enumerate(names) if k == 0 or names[k - 1] != name)
        length, wide = sum(edge["length_m"] for edge in edges), [gap for gap in map(excess, edges) if gap]
        found[node[0]].append((node[1], length, max(wide, default=0.0), len(wide), kept))
    return WaysHome(tuple(rails), tuple(_stops(found[rail.name]) for rail in rails))


def _stops(found: list[_Found]) -> _Stops:
    shares, lengths, widest, gaps, ways = zip(*sorted(found), strict=True)
    return _Stops(np.array(shares), np.array(lengths), np.array(widest), np.array(gaps), ways)


def _joining_gap_m(rails: Sequence[Rail]) -> float:
    """Return the least gap that joins all rails: the widest step of the narrowest tree over them."""
    import networkx as nx

    graph: Any = nx.Graph()
    graph.add_nodes_from(range(len(rails)))
    for (a, first), (b, second) in combinations(enumerate(rails), 2):
        apart = min(float(np.linalg.norm(first.point(s) - second.point(t))) for s, t in crossings(first, second))
        graph.add_edge(a, b, apart=apart)
    tree = nx.minimum_spanning_tree(graph, weight="apart")
    return max((edge["apart"] for _, _, edge in tree.edges(data=True)), default=0.0) * (1 + 1e-12)
