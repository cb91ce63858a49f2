"""A scheduling problem as a model of CP-SAT (OR-tools): whole milliseconds, rounded up, so no wait is too short."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from armcarry.errors import MissingExtraError
from armcarry.scheduling.problem import (
    Apart,
    InTurn,
    Limit,
    OneOf,
    Order,
    Problem,
    Requires,
    Statement,
    Supply,
    Wait,
    Windows,
)
from armcarry.scheduling.ticks import TICKS, horizon_of, longest_of, ticks, ticks_to

#: rates are whole parts of this, rounded up
_RATES = 1000


def cp_sat() -> Any:
    """Return the module of CP-SAT. Raises MissingExtraError."""
    try:
        from ortools.sat.python import cp_model
    except ImportError as error:
        raise MissingExtraError("ortools", "plan", "finding the best order") from error
    return cp_model


@dataclass
class Model:
    """Variables of a problem in a CP-SAT model.

    Attributes:
        done, start, end: a job's, and those of what is between two jobs.
        longer: how much longer a job takes for what comes before it, of jobs that may.
        ways: job -> a literal each way.
        arcs: (resource, job, next job) -> literal; ``""`` stands for before the first and after the last.
        assumed: literal -> the statement that holds where it is true.
    """

    problem: Problem
    cp: Any
    model: Any
    horizon: int
    makespan: Any
    done: dict[str, Any] = field(default_factory=dict)
    start: dict[str, Any] = field(default_factory=dict)
    end: dict[str, Any] = field(default_factory=dict)
    longer: dict[str, Any] = field(default_factory=dict)
    ways: dict[str, list[Any]] = field(default_factory=dict)
    arcs: dict[tuple[str, str, str], Any] = field(default_factory=dict)
    assumed: dict[int, Statement] = field(default_factory=dict)
    margins: list[Any] = field(default_factory=list)


def build(problem: Problem, statements: Collection[Statement] | None = None, *, assume: bool = False) -> Model:
    """Return the model of a problem.

    Args:
        statements: those that must hold; default all.
        assume: make each an assumption, so that a solver may say which of them cannot hold.
    """
    cp = cp_sat().CpModel()
    horizon = horizon_of(problem)
    longest = longest_of(problem)
    made = Model(problem, cp_sat(), cp, horizon, cp.NewIntVar(0, horizon, "end"))
    intervals = _jobs(made, longest)
    for resource, own in intervals.items():
        cp.AddNoOverlap([interval for _, interval in own])
        for order in problem.orders:
            if order.resource == resource:
                _circuit(made, order, list(dict.fromkeys(name for name, _ in own)))
    for same in problem.same_ways:
        first, *others = same.jobs
        for other in others:
            for one, two in zip(made.ways[first], made.ways[other], strict=True):
                cp.Add(one == two)
    _between(made)
    for barred in problem.barred:
        known = [made.arcs[arc] for arc in barred if arc in made.arcs]
        if len(known) == len(barred):
            cp.AddBoolOr([literal.Not() for literal in known])
    for statement in problem.statements if statements is None else statements:
        guard = []
        if assume:
            literal = cp.NewBoolVar("")
            made.assumed[literal.Index()] = statement
            guard = [literal]
        _STATED[type(statement)](made, statement, guard)
    if assume:
        cp.AddAssumptions([cp.GetBoolVarFromProtoIndex(index) for index in made.assumed])
    return made


def _jobs(made: Model, longest: Mapping[str, int]) -> dict[str, list[tuple[str, Any]]]:
    """Add the jobs and return resource -> (job, interval on it) pairs."""
    cp, found = made.model, dict[str, list[tuple[str, Any]]]()
    for job in made.problem.jobs:
        name = job.name
        start, end = (cp.NewIntVar(0, made.horizon, f"{name} {what}") for what in ("start", "end"))
        done = cp.NewBoolVar(f"{name} done")
        if not job.optional:
            cp.Add(done == 1)
        made.start[name], made.end[name], made.done[name] = start, end, done
        made.ways[name] = [cp.NewBoolVar(f"{name} {k}") for k in range(len(job.ways))]
        cp.Add(sum(made.ways[name]) == done)
        if name in longest:
            made.longer[name] = cp.NewIntVar(0, longest[name], f"{name} longer")
        for way, chosen in zip(job.ways, made.ways[name], strict=True):
            lasts = ticks(way.duration_s) + made.longer.get(name, 0)
            interval = cp.NewOptionalIntervalVar(start, lasts, end, chosen, name)
            for use in way.uses:
                found.setdefault(use, []).append((name, interval))
        cp.Add(made.makespan >= end).OnlyEnforceIf(done)
    for job in made.problem.jobs:
        if job.with_job is not None:
            cp.Add(made.done[job.name] == made.done[job.with_job])
    return found


def _on(made: Model, resource: str, name: str) -> Any:
    """Return the literal that a job is done in a way that takes up a resource."""
    job = made.problem.job(name)
    using = [lit for way, lit in zip(job.ways, made.ways[name], strict=True) if resource in way.uses]
    if len(using) == 1:
        return using[0]
    literal = made.model.NewBoolVar("")
    made.model.Add(sum(using) == literal)
    return literal


def _circuit(made: Model, order: Order, names: list[str]) -> None:
    """Let a resource do its jobs one after another, along allowed changes."""
    cp, arcs = made.model, []
    number = {name: k for k, name in enumerate(names, start=1)}
    on = {name: _on(made, order.resource, name) for name in names}

    def arc(one: str, other: str) -> Any:
        literal = made.arcs[order.resource, one, other] = cp.NewBoolVar("")
        if order.longer_s.get((one, other), 0.0) > 0.0:
            cp.Add(made.longer[other] >= ticks(order.longer_s[one, other])).OnlyEnforceIf(literal)
        arcs.append((number.get(one, 0), number.get(other, 0), literal))
        return literal

    for name in names:
        arcs.append((number[name], number[name], on[name].Not()))
        if order.last_s is None:
            arc(name, "")
        elif name in order.last_s:
            cp.Add(made.makespan >= made.end[name] + ticks(order.last_s[name])).OnlyEnforceIf(arc(name, ""))
        if name in order.first_s:
            cp.Add(made.start[name] >= ticks(order.first_s[name])).OnlyEnforceIf(arc("", name))
    for (one, other), gap_s in order.changes_s.items():
        if one in number and other in number:
            cp.Add(made.start[other] >= made.end[one] + ticks(gap_s)).OnlyEnforceIf(arc(one, other))
    idle = cp.NewBoolVar("")
    arcs.append((0, 0, idle))
    cp.AddCircuit(arcs)


def _between(made: Model) -> None:
    """Add what is done between one job and the next, where they follow one another.

    A resource gets to a job from one job before it alone, so all its ways there share their variables.
    """
    cp, ways = made.model, dict[tuple[str, str], tuple[Any, Any]]()
    for one in made.problem.between:
        ends = [name for name in (one.first, one.then) if name]
        done = made.arcs.get((one.resource, one.first, one.then))
        if one.first == one.then:
            done = _on(made, one.resource, one.then)
        if done is None:  # a resource in nobody's order: the two follow one another wherever both are done
            done = cp.NewBoolVar("")
            cp.AddMinEquality(done, [made.done[name] for name in ends])
        key = (one.resource, one.then if one.what == "change" else one.name)
        if key not in ways:
            ways[key] = cp.NewIntVar(0, made.horizon, f"{key} start"), cp.NewIntVar(0, made.horizon, f"{key} end")
        start, end = ways[key]
        made.start[one.name], made.end[one.name], made.done[one.name] = start, end, done
        if one.begins_with == one.name:
            cp.Add(start >= (made.end[one.first] if one.first else 0)).OnlyEnforceIf(done)
            cp.Add(made.start[one.then] >= start + ticks(one.lasts_s)).OnlyEnforceIf(done)
        else:
            cp.Add(start == made.start[one.begins_with]).OnlyEnforceIf(done)
        over = start + ticks(one.lasts_s) if one.what == "change" else made.end[one.then]
        cp.Add(end == over).OnlyEnforceIf(done)


def _both(made: Model, names: Iterable[str]) -> list[Any]:
    always = {job.name for job in made.problem.jobs if not job.optional}
    return [made.done[name] for name in names if name not in always]


def _wait(made: Model, wait: Wait, guard: list[Any]) -> None:
    both = [*guard, *_both(made, (wait.first, wait.then))]
    if wait.together:
        made.model.Add(made.start[wait.then] == made.start[wait.first]).OnlyEnforceIf(both)
    else:
        made.model.Add(made.start[wait.then] >= made.end[wait.first] + ticks(wait.gap_s)).OnlyEnforceIf(both)


def _windows(made: Model, windows: Windows, guard: list[Any]) -> None:
    name, chosen = windows.job, []
    for begin_s, end_s in windows.spans:
        inside = made.model.NewBoolVar("")
        made.model.Add(made.start[name] >= ticks(begin_s)).OnlyEnforceIf(inside)
        if ticks_to(end_s, made.horizon) < made.horizon:
            made.model.Add(made.end[name] <= ticks_to(end_s, made.horizon)).OnlyEnforceIf(inside)
            if len(windows.spans) == 1:
                made.margins.append((ticks_to(end_s, made.horizon) - made.end[name], made.done[name]))
        chosen.append(inside)
    made.model.AddBoolOr(chosen).OnlyEnforceIf([*guard, *_both(made, (name,))])


def _limit(made: Model, limit: Limit, guard: list[Any]) -> None:
    lasts = ticks_to(limit.lasts_s, made.horizon)
    for name in limit.jobs:
        both = [*guard, *_both(made, (name, *((limit.since,) if limit.since is not None else ())))]
        since = 0 if limit.since is None else made.start[limit.since]
        made.model.Add(made.end[name] <= since + lasts).OnlyEnforceIf(both)
        made.margins.append((since + lasts - made.end[name], made.done[name]))


def _apart(made: Model, apart: Apart, guard: list[Any]) -> None:
    first = made.model.NewBoolVar("")
    both = [*guard, *_both(made, (apart.one, apart.other))]
    made.model.Add(made.start[apart.other] >= made.end[apart.one]).OnlyEnforceIf([*both, first])
    made.model.Add(made.start[apart.one] >= made.end[apart.other]).OnlyEnforceIf([*both, first.Not()])


def _in_turn(made: Model, turn: InTurn, guard: list[Any]) -> None:
    cp, intervals = made.model, []
    same: dict[tuple[int, int], list[Any]] = {}
    for name in turn.doings:
        same.setdefault((made.start[name].Index(), made.end[name].Index()), []).append(name)
    for names in same.values():
        there = cp.NewBoolVar("")
        cp.Add(sum(made.done[name] for name in names) == there)
        if guard:
            needed, there = there, cp.NewBoolVar("")
            cp.AddBoolOr([needed.Not(), guard[0].Not(), there])
        lasts = cp.NewIntVar(0, made.horizon, "")
        intervals.append(cp.NewOptionalIntervalVar(made.start[names[0]], lasts, made.end[names[0]], there, ""))
    cp.AddNoOverlap(intervals)


def _one_of(made: Model, one_of: OneOf, guard: list[Any]) -> None:
    made.model.Add(sum(made.done[name] for name in one_of.jobs) == 1).OnlyEnforceIf(guard)


def _requires(made: Model, requires: Requires, guard: list[Any]) -> None:
    for other in requires.others:
        made.model.AddBoolOr([made.done[requires.job].Not(), made.done[other]]).OnlyEnforceIf(guard)


def _supply(made: Model, supply: Supply, guard: list[Any]) -> None:
    """Add what a resource uses up: its rest rate until its last end, and what each job uses beside that."""
    cp, last, used = made.model, made.model.NewIntVar(0, made.horizon, ""), []
    way_s = next((order.last_s or {} for order in made.problem.orders if order.resource == supply.resource), {})
    for job in made.problem.jobs:
        ways = [(way, lit) for way, lit in zip(job.ways, made.ways[job.name], strict=True)
                if supply.resource in way.uses]  # fmt: skip
        beside = math.ceil((supply.rates.get(job.name, supply.rest) - supply.rest) * _RATES)
        for way, chosen in ways:
            used.append(beside * ticks(way.duration_s) * chosen)
            cp.Add(last >= made.end[job.name]).OnlyEnforceIf(chosen)
            if job.name in made.longer:
                longer = cp.NewIntVar(0, made.horizon, "")
                cp.Add(longer >= made.longer[job.name]).OnlyEnforceIf(chosen)
                used.append(beside * longer)
        arc = made.arcs.get((supply.resource, job.name, ""))
        if arc is not None and ways:
            cp.Add(last >= made.end[job.name] + ticks(way_s.get(job.name, 0.0))).OnlyEnforceIf(arc)
    used.append(math.ceil(supply.rest * _RATES) * last)
    holds, margin = math.floor(supply.holds * TICKS * _RATES), cp.NewIntVar(-made.horizon, made.horizon, "")
    cp.Add(sum(used) <= holds).OnlyEnforceIf(guard)
    cp.Add(_RATES * margin <= holds - sum(used))
    made.margins.append((margin, cp.NewConstant(1)))


_STATED: dict[type, Any] = {Wait: _wait, Windows: _windows, Limit: _limit, Apart: _apart, InTurn: _in_turn,
                           OneOf: _one_of, Requires: _requires, Supply: _supply}
