"""A schedule pushed as early as its orders allow, and the chain of jobs that decides when it ends."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from armcarry.scheduling.problem import Apart, Binding, InTurn, Limit, Placed, Problem, Wait, Windows

#: instants nearer than this are the same, seconds
_SAME_S = 2e-3


class _Push(NamedTuple):
    """``to`` begins not before the end of ``of`` (or time 0 where it is empty) and ``gap_s`` more."""

    of: str
    to: str
    gap_s: float
    why: str


def pushed(
    problem: Problem, placed: Sequence[Placed], orders: Mapping[str, Sequence[str]]
) -> tuple[Placed, ...]:
    """Return jobs as early as they can be in their ways, orders and windows; as they were where a limit would break.

    Args:
        placed: the jobs, and what is between two where a statement names it.
    """
    jobs = {job.name: job for job in problem.jobs}
    between = {one.name: one for one in problem.between}
    length = {one.name: jobs[one.name].ways[one.way].duration_s if one.name in jobs
              else between[one.name].lasts_s for one in placed}  # fmt: skip
    longer = dict.fromkeys(length, 0.0)
    for order in problem.orders:
        for pair in pairwise(("", *orders.get(order.resource, ()))):
            longer[pair[1]] = max(longer[pair[1]], order.longer_s.get(pair, 0.0))
    length = {name: lasts + longer[name] for name, lasts in length.items()}
    start = dict.fromkeys(length, 0.0)
    pushes = list(_pushes(problem, placed, orders))
    together = [one for one in problem.statements if isinstance(one, Wait) and one.together]
    for _ in range(len(start) + 1):
        before = dict(start)
        for push in pushes:
            since = start[push.of] + length[push.of] if push.of else 0.0
            start[push.to] = max(start[push.to], since + push.gap_s)
        for one in together:
            if one.first in start and one.then in start:
                start[one.first] = start[one.then] = max(start[one.first], start[one.then])
        if start == before:
            break
    early = tuple(replace(one, start_s=start[one.name], end_s=start[one.name] + length[one.name]) for one in placed)
    return early if _kept(problem, early) else tuple(placed)


def chain_of(
    problem: Problem, placed: Sequence[Placed], orders: Mapping[str, Sequence[str]]
) -> tuple[Binding, ...]:
    """Return what decides the end: walk back from the job that ends last along whatever it waits for."""
    at = {one.name: one for one in placed}
    pushes = list(_pushes(problem, placed, orders))
    partners: dict[str, list[str]] = {}
    for one in problem.statements:
        if isinstance(one, Wait) and one.together:
            partners.setdefault(one.first, []).append(one.then)
            partners.setdefault(one.then, []).append(one.first)
    found: list[Binding] = []
    name = max(at, key=lambda key: at[key].end_s, default="")
    while name and len(found) <= len(at):
        group = {name, *(other for other in partners.get(name, ()) if other in at)}
        binding = [
            push for push in pushes if push.to in group
            and abs((at[push.of].end_s if push.of else 0.0) + push.gap_s - at[name].start_s) <= _SAME_S
            and (push.of or push.gap_s > _SAME_S)
        ]  # fmt: skip
        push = binding[0] if binding else _Push("", name, 0.0, "the start")
        found.append(Binding(name, push.why, push.of))
        name = push.of
    return tuple(reversed(found))


def _pushes(problem: Problem, placed: Sequence[Placed], orders: Mapping[str, Sequence[str]]) -> Iterator[_Push]:
    at, jobs = {one.name: one for one in placed}, {job.name: job for job in problem.jobs}
    for first, then, why in in_turn(problem, placed):
        yield _Push(first, then, 0.0, why)
    for one in problem.statements:
        if isinstance(one, Wait) and not one.together and one.first in at and one.then in at:
            yield _Push(one.first, one.then, one.gap_s, one.said or "it waits")
        elif isinstance(one, Windows) and one.job in at:
            job = at[one.job]
            inside = [begin for begin, end in one.spans
                      if begin <= job.start_s + _SAME_S and job.end_s <= end + _SAME_S]  # fmt: skip
            if inside:
                yield _Push("", one.job, inside[0], one.said or "its window")
    for gap in problem.between:
        if gap.name in at and gap.what != "job":
            yield _Push(gap.first, gap.name, 0.0, gap.resource)
            yield _Push(gap.name, gap.then, 0.0, gap.resource)
    for order in problem.orders:
        names = list(orders.get(order.resource, ()))
        if names:
            yield _Push("", names[0], order.first_s.get(names[0], 0.0), order.resource)
        for first, then in pairwise(names):
            yield _Push(first, then, order.changes_s[first, then], order.resource)
    for resource in problem.resources():
        using = [one for one in placed if one.name in jobs and resource in jobs[one.name].ways[one.way].uses]
        for before, after in pairwise(sorted(using, key=lambda one: (one.start_s, one.end_s))):
            yield _Push(before.name, after.name, 0.0, resource)


def in_turn(problem: Problem, placed: Sequence[Placed]) -> Iterator[tuple[str, str, str]]:
    """Yield what is over before what begins, of all that is not done at once, and why."""
    at, between = {one.name: one for one in placed}, {one.name: one for one in problem.between}

    def begins(name: str) -> str:
        return between[name].begins_with if name in between else name

    for one in problem.statements:
        if isinstance(one, Apart | InTurn):
            doings = [name for name in ((one.one, one.other) if isinstance(one, Apart) else one.doings) if name in at]
            doings.sort(key=lambda name: (at[begins(name)].start_s, at[begins(name)].end_s))
            for first, then in pairwise(doings):
                yield between[first].over_with if first in between else first, begins(then), one.said or "not at once"


def _kept(problem: Problem, placed: Sequence[Placed]) -> bool:
    """Tell whether limits that count from a step still hold: it may have been pushed more than what ends them."""
    at = {one.name: one for one in placed}
    for limit in problem.statements:
        if isinstance(limit, Limit) and limit.since in at:
            since = at[str(limit.since)].start_s
            if any(at[name].end_s > since + limit.lasts_s + _SAME_S for name in limit.jobs if name in at):
                return False
    return True
