"""From the solver's answer to the day's script: the order of its steps, who does them, what they wait for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from armcarry.errors import InputError
from armcarry.scheduling.day import DayProblem
from armcarry.scheduling.earliest import in_turn
from armcarry.scheduling.problem import Solved, Wait
from armcarry.scheduling.write import Going, Rearranged, going_name


def arrange(day: DayProblem, solved: Solved, *, spelled: bool = False) -> Rearranged:
    """Return how the day's script changes for a solution.

    Args:
        spelled: in the steps of the long form, which can be in any order, not in those that are written.

    Raises:
        InputError: the file cannot say it.
    """
    steps = tuple(step.name for step in day.plan.day.steps)
    written = {name: name for name in steps} if spelled else written_of(day)
    handed = _handed(day, solved)
    goings = tuple(_goings(day, solved))
    links = _links(day, solved, goings)
    return Rearranged(
        _order(day, solved, written, steps if spelled else written_names(day)),
        {written[name]: pair for name, pair in handed.items()},
        tuple(replace(going, before=written[going.before], after=tuple(_name(written, n) for n in links[going.name]))
              if going.name in links else replace(going, before=written[going.before]) for going in goings),
        {written[name]: tuple(_name(written, first) for first in firsts) for name, firsts in links.items()
         if name in written},
        _left_out(day, solved),
    )


def _name(written: Mapping[str, str], step: str) -> str:
    """Return a step's name as links say it: its own where it is written without one, or put in."""
    name = written.get(step, step)
    return step if name.startswith("#") else name


def written_of(day: DayProblem) -> dict[str, str]:
    """Return step -> the step of the script that it came from, by the names of ``written_names``."""
    loaded = day.scene.loaded
    names = written_names(day)
    script = loaded.beside.written.document.day if loaded.beside is not None else None
    if script is None or loaded.beside is None:
        return {step.name: step.name for step in day.plan.day.steps}
    lines = {loaded.beside.written.yaml.line(("day", "steps", k)): names[k] for k in range(len(names))}
    found: dict[str, str] = {}
    for number, step in enumerate(day.plan.day.steps):
        line = loaded.source.yaml.line(("day", "steps", number)) if loaded.source is not None else 0
        found[step.name] = lines.get(line, step.name)
    return found


def written_names(day: DayProblem) -> tuple[str, ...]:
    """Return the names of the steps as they are written, in that order; one without a name gets its number."""
    beside = day.scene.loaded.beside
    script = beside.written.document.day if beside is not None else day.plan.day
    if script is None:
        return ()
    return tuple(step.name or f"#{k}" for k, step in enumerate(script.steps))


def sequences(day: DayProblem, solved: Solved) -> dict[str, tuple[str, ...]]:
    """Return for everybody, the arm and others too, what they do in order."""
    found: dict[str, tuple[str, ...]] = {}
    for name in day.before:
        for actor in day.plan.step(name).actors:
            found[actor] = (*found.get(actor, ()), name)
    for who, names in solved.orders.items():
        found[who] = (*found.get(who, ()), *names)
    for name in (one.name for one in solved.placed):
        for actor in day.plan.step(name).actors:
            if actor not in day.scene.loaded.crew:
                found[actor] = (*found.get(actor, ()), name)
    return found


def _handed(day: DayProblem, solved: Solved) -> dict[str, tuple[str, str]]:
    found: dict[str, tuple[str, str]] = {}
    for one in solved.placed:
        step = day.plan.step(one.name)
        people = day.candidates(step)
        group = day.group_of.get(one.name)
        written = next((actor for actor in step.actors if actor in day.scene.loaded.crew), "")
        if group is not None and group.either and people[one.way] != written:
            found[one.name] = (written, people[one.way])
    return found


def _goings(day: DayProblem, solved: Solved) -> list[Going]:
    """Return the ways that are put in: where somebody is not where the next step wants them."""
    found, starts, taken = list[Going](), day.begins, {step.name for step in day.plan.day.steps}
    for who, names in solved.orders.items():
        for one, other in pairwise(("", *names)):
            if day.plan.step(other).translate is not None:
                continue
            left = day.found[one].left_by(who) if one else starts[who]
            needed = day.found[other].needed_by(who)
            if needed is not None and needed != left and needed.known and left.known:
                found.append(Going(who, needed.name, other, going_name(who, needed.name, taken)))
    return found


def _order(
    day: DayProblem, solved: Solved, written: Mapping[str, str], names: Sequence[str]
) -> tuple[str, ...]:
    """Return the steps so that everybody's own stand in the order they do them, else as they stood."""
    import networkx as nx

    number = {name: k for k, name in enumerate(names)}
    graph = nx.DiGraph()
    graph.add_nodes_from(names)
    for own in sequences(day, solved).values():
        graph.add_edges_from((written[a], written[b]) for a, b in pairwise(own) if written[a] != written[b])
    for one in solved.placed:
        for first in day.tasks[one.name].after:
            before, after = written.get(first, first), written[one.name]
            if number.get(before, len(names)) < number[after]:  # one that stood behind may go on doing so
                graph.add_edge(before, after)
    done = {written[name] for name in (*day.before, *(one.name for one in solved.placed))}
    idle = [name for name in names if name not in done]
    for name in idle:  # what is not done stays behind what it stood behind
        if number[name]:
            graph.add_edge(names[number[name] - 1], name)
    if not nx.is_directed_acyclic_graph(graph):
        source = day.scene.loaded.source
        line = None if source is None else source.yaml.line(("day", "may_vary"))
        raise InputError("the best order cannot be written with these steps: they become steps of several people",
                         file=day.scene.loaded.path, line=line,
                         accepted="steps of one kind under may_vary")  # fmt: skip
    return tuple(nx.lexicographical_topological_sort(graph, key=lambda name: number[name]))


def _links(day: DayProblem, solved: Solved, goings: Sequence[Going]) -> dict[str, tuple[str, ...]]:
    """Return the waits that the new order keeps by chance alone: they are written, so that no slip breaks them."""
    import networkx as nx

    done = {one.name for one in solved.placed}
    graph = nx.DiGraph()
    graph.add_nodes_from(done)
    going = {(one.who, one.before): one.name for one in goings}
    for who, own in sequences(day, solved).items():
        graph.add_edges_from(pairwise([n for name in own for n in (going.get((who, name), name), name)]))
    graph.remove_edges_from(list(nx.selfloop_edges(graph)))
    for name in done:
        graph.add_edges_from((first, name) for first in day.tasks[name].after if first in done)
    found: dict[str, tuple[str, ...]] = {}
    moved = set(day.group_of)
    for wait in day.problem.statements:
        if not isinstance(wait, Wait) or wait.together or not {wait.first, wait.then} <= done:
            continue
        if (wait.first in moved or wait.then in moved) and not nx.has_path(graph, wait.first, wait.then):
            found[wait.then] = (*found.get(wait.then, ()), wait.first)
            graph.add_edge(wait.first, wait.then)
    stated = {frozenset(pair) for pair in day.plan.day.not_at_once}
    named = {one.name: going.get((one.resource, one.then), one.then) for one in day.problem.between}
    for over, begins, _ in in_turn(day.problem, [*solved.placed, *solved.between]):
        first, then = named.get(over, over), named.get(begins, begins)
        if frozenset((first, then)) not in stated and not nx.has_path(graph, first, then):
            found[then] = (*found.get(then, ()), first)
            graph.add_edge(first, then)
    return found


def _left_out(day: DayProblem, solved: Solved) -> tuple[str, ...]:
    """Return everything the script is to leave out: what it does already, and what was chosen against."""
    done = {one.name for one in solved.placed} | set(day.before)
    named = [name for name in day.plan.day.left_out if name not in done]
    first = {name for group in day.plan.day.any_of for name in group}
    for group in day.plan.day.any_of:
        chosen = next((name for name in group if name in done), group[0])
        named += [name for name in group[: group.index(chosen)] if name not in named]
    named += [name for name in solved.left_out if name not in first and name not in named]
    return tuple(named)
