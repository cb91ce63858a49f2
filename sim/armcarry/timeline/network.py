"""The network of a day: which start waits for which end, once actors do one thing at a time."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from armcarry.errors import FrameError, StepError
from armcarry.timeline.task import Task

if TYPE_CHECKING:
    import networkx as nx


@dataclass(frozen=True)
class Edge:
    """The start of node ``to`` waits for the end of task ``by``, a member of node ``of``."""

    of: int
    to: int
    by: int
    why: str


@dataclass(frozen=True)
class Network:
    """Tasks merged into nodes that begin together, and the edges between nodes.

    Attributes:
        tasks: as given; members index into them.
        members: for each node the tasks that begin with it.
        node_of: node of each task.
        edges_into: for each node the edges it waits for.
        order: nodes in an order in which every edge points forward; the same for the same input.
    """

    tasks: tuple[Task, ...]
    members: tuple[tuple[int, ...], ...]
    node_of: tuple[int, ...]
    edges_into: tuple[tuple[Edge, ...], ...]
    order: tuple[int, ...]


def build(
    tasks: Sequence[Task], idle: frozenset[str] = frozenset(), stands_in: Mapping[str, str] | None = None
) -> Network:
    """Build the network of tasks.

    Args:
        idle: tasks that are not done; they keep their links with no time and no actor, so that what
            came after them still comes after what they came after.
        stands_in: task -> fallback that is done for it; whoever waits for the task waits for the fallback.

    Raises:
        FrameError: a link names no task.
        StepError: tasks wait for one another in a circle; the message names them.
    """
    number = {task.name: k for k, task in enumerate(tasks)}
    for task in tasks:
        for name in (*task.after, *_partners(task)):
            if name not in number:
                raise FrameError("step", name, number)
    node_of, members = _merge(tasks, number, idle)
    ends = _ends(tasks, number, idle)
    links = list(_links(tasks, number, node_of, ends, dict(stands_in or {})))
    edges = links + list(_actor_order(tasks, node_of, len(members), links, ends, idle))
    graph = _graph(len(members), edges)
    order = _topological(graph)
    into: list[list[Edge]] = [[] for _ in members]
    for edge in edges:
        into[edge.to].append(edge)
    if len(order) < len(members):
        raise _circle(tasks, members, graph)
    return Network(tuple(tasks), members, node_of, tuple(map(tuple, into)), tuple(order))


def _partners(task: Task) -> tuple[str, ...]:
    return (*task.starts_with, task.swaps_with) if task.swaps_with is not None else task.starts_with


def _merge(
    tasks: Sequence[Task], number: Mapping[str, int], idle: frozenset[str]
) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]:
    """Merge tasks that begin together. A task not done is tied to nothing."""
    from networkx.utils import UnionFind

    together = UnionFind(range(len(tasks)))
    for k, task in enumerate(tasks):
        for partner in _partners(task):
            if task.name not in idle and partner not in idle:
                together.union(k, number[partner])
    members = tuple(sorted(tuple(sorted(group)) for group in together.to_sets()))
    node_of = [0] * len(tasks)
    for node, group in enumerate(members):
        for k in group:
            node_of[k] = node
    return tuple(node_of), members


def _ends(tasks: Sequence[Task], number: Mapping[str, int], idle: frozenset[str]) -> list[tuple[int, ...]]:
    """Return for each task the tasks whose ends count as its end: itself, and those it swaps places with."""
    ends = [{k} for k in range(len(tasks))]
    for k, task in enumerate(tasks):
        if task.swaps_with is not None and task.name not in idle and task.swaps_with not in idle:
            other = number[task.swaps_with]
            ends[k].add(other)
            ends[other].add(k)
    return [tuple(sorted(group)) for group in ends]


def _links(
    tasks: Sequence[Task],
    number: Mapping[str, int],
    node_of: Sequence[int],
    ends: Sequence[Sequence[int]],
    stands_in: Mapping[str, str],
) -> Iterator[Edge]:
    for k, task in enumerate(tasks):
        names = list(task.after)
        for name in task.after:
            while name in stands_in:
                name = stands_in[name]
                names.append(name)
        for name in names:
            if name != task.name:  # a fallback may wait for the step it stands in for
                yield from (Edge(node_of[by], node_of[k], by, "link") for by in ends[number[name]])
    for primary, fallback in stands_in.items():
        yield Edge(node_of[number[primary]], node_of[number[fallback]], number[primary], "fallback")


def _actor_order(
    tasks: Sequence[Task],
    node_of: Sequence[int],
    nodes: int,
    links: Sequence[Edge],
    ends: Sequence[Sequence[int]],
    idle: frozenset[str],
) -> Iterator[Edge]:
    """Yield the waits that let each actor do one thing at a time, in listed order unless links say otherwise."""
    ahead = _reachable(nodes, links)
    by_actor: dict[str, list[int]] = {}
    for k, task in enumerate(tasks):
        if task.name not in idle:
            for actor in (*task.actors, *task.apart):
                by_actor.setdefault(actor, []).append(k)
    for actor, own in by_actor.items():
        own = _in_order(own, node_of, ahead)
        for first, second in pairwise(own):
            if node_of[first] != node_of[second]:  # else one actor in two places: a conflict, not a wait
                yield from (Edge(node_of[by], node_of[second], by, actor) for by in ends[first])


def _in_order(own: Sequence[int], node_of: Sequence[int], ahead: Sequence[int]) -> list[int]:
    """Sort an actor's tasks by links where these decide, else as listed (Kahn, smallest position first)."""
    left, result = list(own), []
    while left:
        for k in left:
            if not any(ahead[node_of[other]] >> node_of[k] & 1 for other in left if other != k):
                break
        else:
            k = left[0]  # a circle, reported when the whole network is sorted
        left.remove(k)
        result.append(k)
    return result


def _reachable(nodes: int, edges: Sequence[Edge]) -> list[int]:
    """Return for each node the set of nodes ahead of it along edges, as bits of an integer."""
    graph = _graph(nodes, edges)
    ahead = [0] * nodes
    for node in reversed(_topological(graph)):
        for follower in graph.successors(node):
            ahead[node] |= 1 << follower | ahead[follower]
    return ahead  # nodes in a circle keep 0; the circle is reported later


def _graph(nodes: int, edges: Sequence[Edge]) -> nx.DiGraph:
    """Return nodes and edges; of several edges between two nodes the first."""
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(range(nodes))
    graph.add_edges_from((edge.of, edge.to, {"edge": edge}) for edge in reversed(edges))
    return graph


def _topological(graph: nx.DiGraph) -> list[int]:
    """Return nodes with every edge pointing forward, smallest number first; nodes behind a circle are missing."""
    import networkx as nx

    order: list[int] = []
    with contextlib.suppress(nx.NetworkXUnfeasible):
        order.extend(nx.lexicographical_topological_sort(graph))
    return order


def _circle(tasks: Sequence[Task], members: Sequence[Sequence[int]], graph: nx.DiGraph) -> StepError:
    """Return what is said of one circle of waits, at the first listed of its steps."""
    import networkx as nx

    words, steps = [], []
    for ends in nx.find_cycle(graph):
        edge = graph.edges[ends]["edge"]
        steps.append(edge.by)
        later = " with ".join(f"'{tasks[k].name}'" for k in members[edge.to])
        told = f"{edge.why} are not done at once" if edge.why in tasks[edge.by].apart else f"{edge.why} does it next"
        reason = {"link": "a link", "fallback": "its fallback"}.get(edge.why, told)
        words.append(f"'{tasks[edge.by].name}' comes before {later} ({reason})")
    problem = f"the steps wait for one another in a circle: {'; '.join(words)}"
    return StepError(tasks[min(steps)].name, problem)
