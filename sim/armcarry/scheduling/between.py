"""What goes on between the steps of a day: ways that are put in, the hatch passed in turn, what is not done at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from armcarry.files.documents.steps import AIRLOCK
from armcarry.scheduling.choices import DayChoices
from armcarry.scheduling.meeting import Doing
from armcarry.scheduling.problem import Apart, Between, InTurn, Order, Statement


def between_steps(day: DayChoices, orders: Sequence[Order]) -> tuple[list[Between], list[Statement]]:
    """Return what is done between jobs as far as it must be kept apart from something, and what keeps it so.

    Whoever goes through the hatch has arrived before the next goes through it. So a script can say it: a step comes
    after another. What met in a flown order is not done at once in another one.
    """
    ways = list(_ways(day, orders))
    hatch = [way for way, start, goal in ways if AIRLOCK in (start, goal)]
    own = [name for name, found in day.found.items()
           if found.step.translate is not None and "the hatch" in found.touches]  # fmt: skip
    statements: list[Statement] = []
    used: dict[str, Between] = {}
    if hatch:
        used |= {way.name: way for way in hatch}
        statements.append(InTurn((*own, *used), "one passes the hatch once the other has arrived"))
    for met in day.learned.meetings:
        names = [list(_meant(day, orders, ways, doing, used)) for doing in (met.one, met.other)]
        statements += [Apart(one, other, met.said) for one in names[0] for other in names[1] if one != other]
    return list(used.values()), statements


def _ways(day: DayChoices, orders: Sequence[Order]) -> Iterator[tuple[Between, str, str]]:
    """Yield every way that may be put in, with where it begins and ends."""
    for order in orders:
        who = order.resource
        pairs = {("", name): seconds for name, seconds in order.first_s.items()} | dict(order.changes_s)
        for (first, then), seconds in pairs.items():
            needed = day.found[then].needed_by(who)
            if seconds > 0.0 and needed is not None and day.plan.step(then).translate is None:
                left = day.found[first].left_by(who) if first else day.begins[who]
                name = f"{who} to {then}{f' from {first}' if first else ''}"
                yield Between(name, who, first, then, seconds), left.name, needed.name


def _meant(
    day: DayChoices, orders: Sequence[Order], ways: Sequence[tuple[Between, str, str]], doing: Doing,
    used: dict[str, Between],
) -> Iterator[str]:
    """Yield the names of what a doing is in this problem; those that are between jobs are put into ``used``."""
    if doing.step:
        if doing.step in day.tasks and doing.who:
            own = Between(f"{doing.step} by {doing.who}", doing.who, doing.step, doing.step, what="job")
            used[own.name] = own
            yield own.name
        elif doing.step in day.tasks:
            yield doing.step
    elif doing.goal:
        for way, start, goal in ways:
            if (way.resource, start, goal) == (doing.who, doing.start, doing.goal):
                used[way.name] = way
                yield way.name
        for one in _own_ways(day, orders, doing):
            used[one.name] = one
            yield one.name
    elif doing.then in day.tasks:
        stay = _stay(orders, doing)
        if stay is not None:
            used[stay.name] = stay
            yield stay.name


def _own_ways(day: DayChoices, orders: Sequence[Order], doing: Doing) -> Iterator[Between]:
    """Yield the steps of the day that are this way, each after the steps which leave somebody where it begins."""
    for order in (one for one in orders if one.resource == doing.who):
        for first, then in (*(("", name) for name in order.first_s), *order.changes_s):
            step = day.plan.step(then)
            left = day.found[first].left_by(doing.who) if first else day.begins[doing.who]
            if step.translate is not None and (left.name, step.translate.to) == (doing.start, doing.goal):
                name = f"{doing.who}: {then}{f' from {first}' if first else ''}"
                yield Between(name, doing.who, first, then, what="job")


def _stay(orders: Sequence[Order], doing: Doing) -> Between | None:
    """Return all the time from when a way, or the job before, begins until the job behind is over."""
    own = next((order for order in orders if order.resource == doing.who), None)
    seconds: float | None = 0.0
    if own is not None:
        seconds = own.changes_s.get((doing.first, doing.then)) if doing.first else own.first_s.get(doing.then)
    if seconds is None:
        return None
    name = f"{doing.who} between {doing.first or 'the start'} and {doing.then}"
    return Between(name, doing.who, doing.first, doing.then, seconds, what="stay")
