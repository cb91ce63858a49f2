"""Solving a scheduling problem: the best order, the bound that is proven for it, or what cannot hold together.

The same problem and seed give the same answer: the search is stopped by the solver's count of work, not by the clock.
One strategy is let at it alone first, which settles most days in a blink; what it leaves open others take turns at,
instead of racing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from armcarry.scheduling.earliest import chain_of, pushed
from armcarry.scheduling.model import Model, build
from armcarry.scheduling.problem import Impossible, Objective, Placed, Problem, Solved, Statement
from armcarry.scheduling.ticks import TICKS


@dataclass(frozen=True)
class Effort:
    """How hard to look: seed, and the most work of one search in the solver's deterministic seconds.

    Without ``bound`` the bound on the end is not looked for where something else is made best; it is 0 then.
    ``explain``: searches at most for what cannot hold together, which takes some fifty; with fewer it is told only
    where it was found.
    """

    seed: int = 1
    work_s: float = 10.0
    bound: bool = True
    explain: int = 1000


def solve(problem: Problem, objective: Objective = "shortest", effort: Effort | None = None) -> Solved | Impossible:
    """Return the best schedule of a problem, or which statements cannot hold together.

    Args:
        objective: ``shortest``: the earliest end; ``worth``: the most worth, then the earliest end; ``slack``: the
            largest of the least margins to limits and latest ends, then the earliest end.

    Raises:
        MissingExtraError: OR-tools is not installed.
    """
    effort = effort or Effort()
    made = build(problem)
    best = _Search(made, effort)
    proven = True
    if objective != "shortest":
        goal = _worth(made) if objective == "worth" else _least_margin(made)
        if goal is not None:
            made.model.Maximize(goal)
            status = best.run()
            if status not in _FOUND:
                return _impossible(problem, effort, status)
            proven = status == "OPTIMAL"
            made.model.Add(goal >= round(best.solver.ObjectiveValue()))
            best.as_hint()
    made.model.Minimize(made.makespan)
    status = best.run()
    if status not in _FOUND:
        return _impossible(problem, effort, status)
    return _solved(made, best, objective, proven and status == "OPTIMAL")


_FOUND = ("OPTIMAL", "FEASIBLE")
_SETTLED = ("OPTIMAL", "INFEASIBLE")
#: work of the strategy that is alone at first, in the solver's deterministic seconds: a day of 50 steps takes 0.03
_ALONE_S = 1.0


class _Search:
    """One model searched, several goals after another."""

    def __init__(self, made: Model, effort: Effort) -> None:
        self.made, self.effort = made, effort
        for name, seconds in made.problem.hint_s.items():
            if name in made.start:
                made.model.AddHint(made.start[name], round(seconds * TICKS))
                made.model.AddHint(made.ways[name][0], 1)
        for order in made.problem.orders:
            own = [name for name in sorted(made.problem.hint_s, key=lambda name: made.problem.hint_s[name])
                   if (order.resource, name, "") in made.arcs
                   and order.resource in made.problem.job(name).ways[0].uses]  # fmt: skip
            for first, then in pairwise(("", *own, "")):
                if (order.resource, first, then) in made.arcs:
                    made.model.AddHint(made.arcs[order.resource, first, then], 1)

    def run(self) -> str:
        self.solver, status = _searched(self.made, self.effort)
        return status

    def as_hint(self) -> None:
        """Begin the next search with what was found."""
        self.made.model.ClearHints()
        for name in self.made.ways:
            self.made.model.AddHint(self.made.start[name], self.solver.Value(self.made.start[name]))
            for literal in (self.made.done[name], *self.made.ways[name]):
                self.made.model.AddHint(literal, self.solver.Value(literal))


def _searched(made: Model, effort: Effort) -> tuple[Any, str]:
    """Search a model; return the solver that has the best that was found, and its status."""
    alone = _solver(made, effort, min(_ALONE_S, effort.work_s))
    status = str(alone.StatusName(alone.Solve(made.model)))
    if status in _SETTLED or effort.work_s <= _ALONE_S:
        return alone, status
    turns = _solver(made, effort, effort.work_s)
    turns.parameters.num_workers = 8
    turns.parameters.interleave_search = True  # the strategies take turns: the same answer on any number of cores
    return turns, str(turns.StatusName(turns.Solve(made.model)))


def _solver(made: Model, effort: Effort, work_s: float) -> Any:
    solver = made.cp.CpSolver()
    solver.parameters.random_seed = effort.seed
    solver.parameters.num_workers = 1
    solver.parameters.catch_sigint_signal = False  # Ctrl-C stops the program, not the search alone
    solver.parameters.max_deterministic_time = work_s
    return solver


def _worth(made: Model) -> Any:
    """Return the worth of what is done, in whole hundredths."""
    return sum(round(100 * job.worth) * made.done[job.name] for job in made.problem.jobs if job.worth)


def _least_margin(made: Model) -> Any | None:
    if not made.margins:
        return None
    least = made.model.NewIntVar(-made.horizon, made.horizon, "least margin")
    for margin, done in made.margins:
        made.model.Add(least <= margin).OnlyEnforceIf(done)
    return least


def _solved(made: Model, best: _Search, objective: Objective, optimal: bool) -> Solved:
    """Read the solution, push it as early as its orders allow, and say what binds."""
    solver, problem = best.solver, made.problem
    bound = solver.BestObjectiveBound()
    if objective != "shortest":
        bound = _shortest_bound(problem, best) if best.effort.bound else 0.0
    orders = {order.resource: _sequence(made, solver, order.resource) for order in problem.orders}
    placed = [
        Placed(job.name, next(k for k, lit in enumerate(made.ways[job.name]) if solver.Value(lit)),
               solver.Value(made.start[job.name]) / TICKS, solver.Value(made.end[job.name]) / TICKS)
        for job in problem.jobs if solver.Value(made.done[job.name])
    ]  # fmt: skip
    between = [
        Placed(one.name, 0, begin / TICKS, begin / TICKS + one.lasts_s)
        for one in problem.between if solver.Value(made.done[one.name])
        for begin in [solver.Value(made.start[one.name])]
    ]  # fmt: skip
    both = pushed(problem, [*placed, *between], orders)
    names = {job.name for job in problem.jobs}
    early = [one for one in both if one.name in names]
    end_s = max((one.end_s + _after_s(problem, orders, one.name) for one in early), default=0.0)
    rounding_s = len(problem.jobs) * 2 / TICKS  # each duration and change was rounded up by less than a tick
    done = {one.name for one in early}
    return Solved(
        tuple(sorted(early, key=lambda one: (one.start_s, one.end_s))),
        tuple(job.name for job in problem.jobs if job.name not in done),
        orders, end_s, min(end_s, max(bound / TICKS - rounding_s, 0.0)), optimal,
        sum(job.worth for job in problem.jobs if job.name in done), chain_of(problem, both, orders),
        tuple(sorted((one for one in both if one.name not in names), key=lambda one: (one.start_s, one.end_s))),
    )  # fmt: skip


def _after_s(problem: Problem, orders: Mapping[str, Sequence[str]], name: str) -> float:
    """Return how long whoever does a job last is on the way afterwards."""
    last = (order.last_s[name] for order in problem.orders
            if order.last_s is not None and [*orders[order.resource], ""][-2:-1] == [name])  # fmt: skip
    return max(last, default=0.0)


def _shortest_bound(problem: Problem, best: _Search) -> float:
    """Return the bound on the end that holds whatever is made best, in ticks."""
    made = build(problem)
    made.model.Minimize(made.makespan)
    solver, _ = _searched(made, best.effort)
    return float(solver.BestObjectiveBound())


def _sequence(made: Model, solver: Any, resource: str) -> tuple[str, ...]:
    follows = {one: other for (of, one, other), lit in made.arcs.items() if of == resource and solver.Value(lit)}
    names, at = [], follows.get("", "")
    while at:
        names.append(at)
        at = follows.get(at, "")
    return tuple(names)


def _impossible(problem: Problem, effort: Effort, status: str) -> Impossible:
    """Return a smallest set of statements that cannot hold together (a deletion filter over the solver's core)."""
    if status != "INFEASIBLE":
        return Impossible((), proven=False)
    if not effort.explain:
        return Impossible(())
    made = build(problem, assume=True)
    solver = _solver(made, effort, effort.work_s)
    solver.Solve(made.model)
    core = [made.assumed[index] for index in solver.SufficientAssumptionsForInfeasibility() if index in made.assumed]
    if not core or _feasible(problem, core, effort):
        core = list(problem.statements)  # the core was not given, or is none
    if len(core) > effort.explain:
        return Impossible(())
    for one in tuple(core):
        fewer = [other for other in core if other is not one]
        if _feasible(problem, fewer, effort) is False:
            core = fewer
    return Impossible(tuple(core))


def _feasible(problem: Problem, statements: Sequence[Statement], effort: Effort) -> bool | None:
    """Tell whether statements can hold together; None where the search was stopped before."""
    made = build(problem, statements)
    _, status = _searched(made, effort)
    return True if status in _FOUND else False if status == "INFEASIBLE" else None
