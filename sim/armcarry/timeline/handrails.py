"""The handrails as a graph: how a free worker gets from one place to another, hand over hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array

if TYPE_CHECKING:
    from armcarry.files.documents.platform import PlatformDocument
    from armcarry.scene.tree import Tree

#: points of one rail closer than this share of its length are one node
SAME = 1e-9

LegKind = Literal["rail", "gap", "reach"]


@dataclass(frozen=True, eq=False)
class Rail:
    """A straight handrail in the world frame, metres; ``away`` (3,) is the unit vector off the structure."""

    name: str
    start: Array
    end: Array
    away: Array

    @property
    def length_m(self) -> float:
        """Length."""
        return float(np.linalg.norm(self.end - self.start))

    def point(self, share: float) -> Array:
        """Return the point at this share of the length."""
        return np.asarray(self.start + share * (self.end - self.start))

    def nearest(self, point: Array) -> float:
        """Return the share of the length at which the rail is nearest to a point."""
        along = self.end - self.start
        return float(np.clip(np.dot(point - self.start, along) / max(np.dot(along, along), 1e-300), 0.0, 1.0))


@dataclass(frozen=True)
class Leg:
    """One straight piece of a route: along a rail, across a gap between rails, or from a place to a rail."""

    kind: LegKind
    rail: str
    length_m: float


@dataclass(frozen=True, eq=False)
class RailRoute:
    """A way along handrails.

    Attributes:
        points: corners in the world frame (K+1, 3), from place to place.
        legs: the K pieces between them; ``rail`` is the rail that is left or followed.
        aways: unit vectors off the structure (K, 3), one a leg.
    """

    points: Array
    legs: tuple[Leg, ...]
    aways: Array

    @property
    def length_m(self) -> float:
        """Whole length, reaches and gaps included."""
        return sum(leg.length_m for leg in self.legs)

    @property
    def widest_gap_m(self) -> float:
        """Widest gap between rails on the way, 0 if none."""
        return max((leg.length_m for leg in self.legs if leg.kind == "gap"), default=0.0)

    @property
    def rails(self) -> tuple[str, ...]:
        """Rails followed, in order."""
        names = [leg.rail for leg in self.legs if leg.kind == "rail"]
        return tuple(name for k, name in enumerate(names) if k == 0 or names[k - 1] != name)


@dataclass(frozen=True)
class NoRoute:
    """Why there is no way: a place out of reach of every rail, or rails too far apart.

    Attributes:
        needed_m: the reach or gap that would be enough; infinite where there are no rails at all.
    """

    reason: str
    needed_m: float


def rails_of(platform: PlatformDocument, tree: Tree, position: Array, instance: str = "platform") -> tuple[Rail, ...]:
    """Return the platform's handrails where they are at a joint vector (n,).

    A rail stands off the structure along +z of its start frame, made square to the rail; where +z runs
    along the rail, +x is taken.
    """
    rails = []
    for name, rail in platform.handrails.items():
        start = tree.pose_of(f"{instance}/{rail.start}", position)
        end = tree.pose_of(f"{instance}/{rail.end}", position)
        rails.append(Rail(name, start[:3, 3], end[:3, 3], _away(start, end[:3, 3] - start[:3, 3])))
    return tuple(rails)


def _away(frame: Array, along: Array) -> Array:
    unit = along / max(float(np.linalg.norm(along)), 1e-300)
    for column in (2, 0):
        off = frame[:3, column] - np.dot(frame[:3, column], unit) * unit
        size = float(np.linalg.norm(off))
        if size > 0.1:
            return np.asarray(off / size)
    return np.asarray(frame[:3, 1])


def find_route(
    rails: Sequence[Rail], start_m: ArrayLike, goal_m: ArrayLike, *, gap_m: float, reach_m: float
) -> RailRoute | NoRoute:
    """Find the shortest way along handrails between two places.

    Args:
        start_m, goal_m: points in the world frame (3,).
        gap_m: widest gap between two rails that hands can bridge.
        reach_m: farthest a rail may be from either place.
    """
    import networkx as nx

    start, goal = np.asarray(start_m, dtype=float), np.asarray(goal_m, dtype=float)
    if np.linalg.norm(goal - start) <= reach_m:
        leg = Leg("reach", "", float(np.linalg.norm(goal - start)))
        return RailRoute(np.stack([start, goal]), (leg,), np.zeros((1, 3)))
    places = {"start": start, "goal": goal}
    out_of_reach = _out_of_reach(rails, places, reach_m)
    if out_of_reach is not None:
        return out_of_reach
    graph = rail_graph(rails, gap_m, places, reach_m)
    try:
        nodes = nx.shortest_path(graph, "start", "goal", weight="length_m")
    except nx.NetworkXNoPath:
        return _too_far_apart(rails, gap_m, places, reach_m)
    return _route(graph, nodes, {rail.name: rail for rail in rails})


def rail_graph(rails: Sequence[Rail], gap_m: float, places: Mapping[str, Array], reach_m: float) -> Any:
    """Return the networkx Graph of rails and places.

    A node is a place's name or (rail, share of its length), with its ``point``; an edge has its
    ``length_m``, ``kind`` and ``rail``. Rails are joined where an end of one comes within gap_m of
    the other, and where they pass each other within gap_m.
    """
    import networkx as nx

    graph: Any = nx.Graph()
    stops: dict[str, set[float]] = {rail.name: {0.0, 1.0} for rail in rails}
    joins: list[tuple[tuple[str, float], tuple[str, float]]] = []
    for first, second in combinations(rails, 2):
        for s, t in crossings(first, second):
            if np.linalg.norm(first.point(s) - second.point(t)) <= gap_m:
                a = (first.name, _stop(stops[first.name], s))
                joins.append((a, (second.name, _stop(stops[second.name], t))))
    holds: list[tuple[str, tuple[str, float]]] = []
    for place, point in places.items():
        graph.add_node(place, point=point)
        for rail in rails:
            share = rail.nearest(point)
            if np.linalg.norm(rail.point(share) - point) <= reach_m:
                holds.append((place, (rail.name, _stop(stops[rail.name], share))))
    for rail in rails:
        along = sorted(stops[rail.name])
        graph.add_nodes_from(((rail.name, share), {"point": rail.point(share)}) for share in along)
        for here, there in pairwise(along):
            _edge(graph, (rail.name, here), (rail.name, there), "rail", rail.name)
    for one, two in joins:
        _edge(graph, one, two, "gap", one[0])
    for name, hold in holds:
        _edge(graph, name, hold, "reach", hold[0])
    return graph


def _stop(stops: set[float], share: float) -> float:
    """Return the stop of a rail at this share, an earlier one if it is the same point."""
    for known in stops:
        if abs(known - share) <= SAME:
            return known
    stops.add(share)
    return share


def _edge(graph: Any, a: Any, b: Any, kind: LegKind, rail: str) -> None:
    length = float(np.linalg.norm(graph.nodes[a]["point"] - graph.nodes[b]["point"]))
    if not graph.has_edge(a, b):
        graph.add_edge(a, b, length_m=length, kind=kind, rail=rail)


def crossings(first: Rail, second: Rail) -> Iterator[tuple[float, float]]:
    """Yield shares of two rails between which hands may pass: ends to ends, ends across, nearest to nearest."""
    for s in (0.0, 1.0):
        for t in (0.0, 1.0):
            yield s, t
        yield s, second.nearest(first.point(s))
    for t in (0.0, 1.0):
        yield first.nearest(second.point(t)), t
    inner = _inner_nearest(first, second)
    if inner is not None:
        yield inner


def _inner_nearest(first: Rail, second: Rail) -> tuple[float, float] | None:
    """Return the shares at which two lines are nearest if both lie inside the rails.

    Normal equations of two lines (Ericson, Real-Time Collision Detection, 5.1.9).
    """
    u, v, w = first.end - first.start, second.end - second.start, first.start - second.start
    a, b, c = np.dot(u, u), np.dot(u, v), np.dot(v, v)
    determinant = a * c - b * b
    if determinant <= 1e-12 * a * c:
        return None  # parallel: an end is as near as any other point
    s = float((b * np.dot(v, w) - c * np.dot(u, w)) / determinant)
    t = float((a * np.dot(v, w) - b * np.dot(u, w)) / determinant)
    return (s, t) if 0.0 <= s <= 1.0 and 0.0 <= t <= 1.0 else None


def _out_of_reach(rails: Sequence[Rail], places: Mapping[str, Array], reach_m: float) -> NoRoute | None:
    for place, point in places.items():
        distances = [(float(np.linalg.norm(rail.point(rail.nearest(point)) - point)), rail.name) for rail in rails]
        if not distances:
            return NoRoute("there are no handrails", float("inf"))
        nearest, name = min(distances)
        if nearest > reach_m:
            return NoRoute(
                f"no handrail within {reach_m:.2f} m of the {place}; the nearest, {name}, is {nearest:.2f} m away",
                nearest,
            )
    return None


def _too_far_apart(rails: Sequence[Rail], gap_m: float, places: Mapping[str, Array], reach_m: float) -> NoRoute:
    """Find the least gap that would join the two places: the widest step of a narrowest-step way."""
    import networkx as nx

    graph = rail_graph(rails, float("inf"), places, reach_m)
    for _, _, data in graph.edges(data=True):
        data["step"] = data["length_m"] if data["kind"] == "gap" else 0.0
    tree = nx.minimum_spanning_tree(graph, weight="step")
    nodes = nx.shortest_path(tree, "start", "goal")
    widest = max(pairwise(nodes), key=lambda pair: tree.edges[pair]["step"])
    needed = float(tree.edges[widest]["step"])
    return NoRoute(
        f"no way along handrails with gaps up to {gap_m:.2f} m; the gap of {needed:.2f} m between "
        f"{widest[0][0]} and {widest[1][0]} would have to be bridged",
        needed,
    )


def _route(graph: Any, nodes: Sequence[Any], rails: Mapping[str, Rail]) -> RailRoute:
    legs, aways, points = [], [], [graph.nodes[nodes[0]]["point"]]
    for a, b in pairwise(nodes):
        edge = graph.edges[a, b]
        if edge["length_m"] <= SAME:
            continue
        legs.append(Leg(edge["kind"], edge["rail"], edge["length_m"]))
        aways.append(rails[edge["rail"]].away)
        points.append(graph.nodes[b]["point"])
    return RailRoute(np.stack(points), tuple(legs), np.stack(aways))
