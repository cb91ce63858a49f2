"""Earliest and latest times of a network, slack and the critical path (the critical path method)."""

from __future__ import annotations

from collections.abc import Sequence

from armcarry.timeline.network import Edge, Network
from armcarry.timeline.slots import SAME_S, Dropped, LimitUse, Schedule, Slot
from armcarry.timeline.task import Limit


def times(
    network: Network, idle: frozenset[str], dropped: tuple[Dropped, ...], limits: Sequence[Limit]
) -> Schedule:
    """Return the schedule of a network whose tasks take their likely duration; idle ones are not done."""
    tasks = network.tasks
    length = [0.0 if task.name in idle else task.duration.likely_s for task in tasks]
    start = earliest(network, idle, length)
    end = [start[network.node_of[k]] + length[k] for k in range(len(tasks))]
    horizon = max((end[k] for k, task in enumerate(tasks) if task.name not in idle), default=0.0)
    latest_end, follower = _latest(network, length, start, horizon)
    slots = []
    for k, task in enumerate(tasks):
        if task.name not in idle:
            node = network.node_of[k]
            latest_start = min(latest_end[j] - length[j] for j in network.members[node])
            slots.append(
                Slot(task.name, task.actors, start[node], end[k], latest_start, latest_end[k], follower[k] - end[k])
            )
    path = _critical_path(network, idle, start, end, horizon)
    uses = tuple(_use(limit, slots) for limit in limits)
    return Schedule(tuple(slots), path, dropped, uses, network)


def earliest(network: Network, idle: frozenset[str], length: Sequence[float]) -> list[float]:
    """Return the earliest start of every node: the longest path to it, its clock times, and its windows."""
    start = [0.0] * len(network.members)
    for node in network.order:
        clock = [network.tasks[k].not_before_s for k in network.members[node] if network.tasks[k].name not in idle]
        waits = [start[edge.of] + length[edge.by] for edge in network.edges_into[node]]
        start[node] = _open(network, idle, length, node, max([0.0, *clock, *waits]))
    return start


def _open(network: Network, idle: frozenset[str], length: Sequence[float], node: int, start_s: float) -> float:
    """Return the first instant from start_s on at which every task of a node is within a window of its own."""
    asking = [k for k in network.members[node] if network.tasks[k].windows and network.tasks[k].name not in idle]
    for _ in range(sum(len(network.tasks[k].windows) for k in asking)):
        start_s = max([start_s, *(network.tasks[k].within(start_s, length[k]) for k in asking)])
    return start_s


def _latest(
    network: Network, length: Sequence[float], start: Sequence[float], horizon: float
) -> tuple[list[float], list[float]]:
    """Return for every task its latest end, and the earliest start of what waits for it (or the horizon)."""
    latest_end = [horizon] * len(network.tasks)
    follower = [horizon] * len(network.tasks)
    for k, task in enumerate(network.tasks):
        end_s = start[network.node_of[k]] + length[k]
        closes = (end for begin, end in task.windows if end_s - length[k] >= begin and end_s <= end)
        latest_end[k] = min(latest_end[k], next(closes, horizon))
    for node in reversed(network.order):
        latest_start = min(latest_end[k] - length[k] for k in network.members[node])
        for edge in network.edges_into[node]:
            latest_end[edge.by] = min(latest_end[edge.by], latest_start)
            follower[edge.by] = min(follower[edge.by], start[node])
    return latest_end, follower


def _critical_path(
    network: Network, idle: frozenset[str], start: Sequence[float], end: Sequence[float], horizon: float
) -> tuple[str, ...]:
    """Walk back from the first listed step that ends last, along the waits that bind."""
    last = [k for k, task in enumerate(network.tasks) if task.name not in idle and abs(end[k] - horizon) <= SAME_S]
    path: list[str] = []
    k: int | None = last[0] if last else None
    while k is not None:
        if network.tasks[k].name not in idle:
            path.append(network.tasks[k].name)
        node = network.node_of[k]
        binding: list[Edge] = [e for e in network.edges_into[node] if abs(end[e.by] - start[node]) <= SAME_S]
        k = min((edge.by for edge in binding), default=None)
    return tuple(reversed(path))


def _use(limit: Limit, slots: Sequence[Slot]) -> LimitUse:
    counted = [slot for slot in slots if not limit.actors or set(limit.actors) & set(slot.actors)]
    since = next((slot.start_s for slot in slots if slot.name == limit.since), 0.0)
    if not counted:
        return LimitUse(limit, 0.0, "")
    last = max(counted, key=lambda slot: slot.end_s)
    if limit.drawn is not None:
        used_s = limit.drawn.used_s((slot.name, slot.start_s, slot.end_s) for slot in counted)
        return LimitUse(limit, used_s, last.name)
    return LimitUse(limit, last.end_s - since, last.name)
