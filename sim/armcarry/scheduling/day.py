"""What may vary in a day as a scheduling problem: steps are jobs, people and the arm resources, truths statements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from armcarry.files.documents.steps import ARM, Step
from armcarry.quantities import clock
from armcarry.scheduling.between import between_steps
from armcarry.scheduling.choices import DayChoices
from armcarry.scheduling.orders import order_of
from armcarry.scheduling.problem import (
    Apart,
    Job,
    Limit,
    OneOf,
    Problem,
    SameWay,
    Statement,
    Supply,
    Wait,
    Way,
    Windows,
)
from armcarry.timeline.task import Limit as DayLimit
from armcarry.timeline.task import Task, go_by_s
from armcarry.timeline.wanted import need_in_words

#: longer than any day, seconds
_EVER_S = 400.0 * 3600.0


@dataclass(frozen=True, eq=False)
class DayProblem(DayChoices):
    """A day's choices as a scheduling problem."""

    @cached_property
    def problem(self) -> Problem:
        """The problem."""
        same = [SameWay(tuple(one.steps)) for one in self.groups if one.either and len(one.steps) > 1]
        counted = (self.counted(one) for one in _statements(self))
        statements = (*(one for one in counted if one is not None), *self.more())
        waits = [one for one in statements if isinstance(one, Wait)]
        people = [who for who in self.scene.loaded.crew if any(who in self.candidates(self.plan.step(name))
                                                               for name in self.tasks)]  # fmt: skip
        orders = tuple(order_of(self, who, waits) for who in people)
        between, apart = between_steps(self, orders)
        hint = {slot.name: slot.start_s for slot in self.plan.schedule.slots}
        jobs = tuple(self._job(task) for task in self.tasks.values())
        return Problem(jobs, (*statements, *apart), tuple(same), orders, self.learned.barred, hint, tuple(between))

    def used_s(self, limit: DayLimit) -> float:
        """Return what is used of a tank before the first job may begin."""
        return 0.0

    def counted(self, statement: Statement) -> Statement | None:
        """Return a statement of the day as it counts here; None where it does not."""
        return statement

    def more(self) -> Iterator[Statement]:
        """Yield what holds beside the day's own statements."""
        yield from ()

    def _job(self, task: Task) -> Job:
        step = self.plan.step(task.name)
        others = tuple(actor for actor in step.actors if actor not in self.scene.loaded.crew)
        group = self.group_of.get(task.name)
        takes_s = self.takes_s(task.name)
        if group is not None and group.either:
            people = self.candidates(step)
            own = {who: step.takes_by[who].likely if who in step.takes_by else takes_s for who in people}
            ways = tuple(Way(own[who], (who,)) for who in people)
        else:
            ways = (Way(takes_s, (*others, *self.candidates(step))),)
        permits = step.as_time_permits
        worth = permits.worth if permits is not None else 0.0
        partner = self._kept_with(task.name) if self.objective == "worth" else None
        return Job(task.name, ways, task.name in self.optional, worth, partner)

    def _kept_with(self, name: str) -> str | None:
        """Return the step with which this one is left out, if there is one."""
        for other in self.plan.day.steps:
            permits = other.as_time_permits
            if permits is not None and name in permits.drops_with and other.name in self.tasks:
                return other.name
        return None


def _statements(day: DayProblem) -> Iterator[Statement]:
    steps = {name: day.plan.step(name) for name in day.tasks}
    for name, task in day.tasks.items():
        yield from _links(day, task)
        yield from _clock(day, steps[name])
    yield from _limits(day)
    for one, other in day.plan.day.not_at_once:
        if one in steps and other in steps:
            yield Apart(one, other, f"{day.where(one)}{one} and {other} are not done at once")
    for group in day.plan.day.any_of:
        names = tuple(name for name in group if name in steps)
        if names:
            yield OneOf(names, f"{day.where(names[0])}one of {', '.join(names)} is done")
    yield from _custody(day)


def _links(day: DayProblem, task: Task) -> Iterator[Statement]:
    name = task.name
    for first in task.after:
        if first in day.tasks:
            yield Wait(first, name, said=f"{day.where(name)}{name} comes after {first}")
    for partner in (*task.starts_with, *((task.swaps_with,) if task.swaps_with is not None else ())):
        if partner in day.tasks:
            yield Wait(partner, name, together=True, said=f"{day.where(name)}{name} begins with {partner}")
    if task.swaps_with is not None and task.swaps_with in day.tasks:
        yield from _after_both(day, task, str(task.swaps_with))


def _after_both(day: DayProblem, task: Task, partner: str) -> Iterator[Statement]:
    """Let whatever follows one of two that swap places, in the order written, follow the other too."""
    names = list(day.tasks)
    last = max(names.index(task.name), names.index(partner))
    for name in names[last + 1 :]:
        later = day.tasks[name]
        for one, other in ((task, day.tasks[partner]), (day.tasks[partner], task)):
            follows = set(later.actors) & set(one.actors) and name not in day.group_of
            if follows or one.name in later.after:
                yield Wait(other.name, name, said=f"{day.where(name)}{name} comes after {other.name}")


def _clock(day: DayProblem, step: Step) -> Iterator[Statement]:
    task, name = day.tasks[step.name], step.name
    if task.not_before_s or task.ends_by_s is not None:
        latest_s = _EVER_S if task.ends_by_s is None else task.ends_by_s
        words = [f"not before {clock(task.not_before_s)}"] if task.not_before_s else []
        words += [f"ends by {clock(latest_s)}"] if task.ends_by_s is not None else []
        key = "latest" if task.ends_by_s is not None else "earliest"
        yield Windows(name, ((task.not_before_s, latest_s),), f"{day.where(name, key)}{name}: {', '.join(words)}")
    need = need_in_words(step)
    if need:
        key = "needs" if step.needs is not None else "sun"
        spans = task.windows or ((_EVER_S, _EVER_S),)
        yield Windows(name, spans, f"{day.where(name, key)}{name} needs {need}")
    by_s = go_by_s(day.plan.day, step)
    if step.go_if is not None and by_s is not None:
        since = day.plan.day.consumables[step.go_if.of].since if step.go_if.of is not None else None
        words_go = f"{name} begins with {clock(step.go_if.left)} left of {step.go_if.of or 'the day'}"
        yield Limit((name,), by_s + day.takes_s(name), since, f"{day.where(name, 'go_if')}{words_go}")
    permits = step.as_time_permits
    if permits is not None and permits.start_by is not None and name in day.optional:
        yield Limit((name,), permits.start_by + day.takes_s(name), None,
                    f"{day.where(name, 'as_time_permits')}{name} begins by {clock(permits.start_by)}")  # fmt: skip


def _limits(day: DayProblem) -> Iterator[Statement]:
    source = day.scene.loaded.source
    for limit in day.plan.limits:
        if limit.drawn is not None:
            key = ("crew", limit.drawn.who, "suit")
            line = "" if source is None else f"{source.path.name}:{source.yaml.line(key)}: "
            rates = {name: limit.drawn.rate(name) for name in day.tasks}
            yield Supply(limit.drawn.who, limit.lasts_s - day.used_s(limit), rates, limit.drawn.rest,
                         f"{line}{limit.name}: at most {clock(limit.lasts_s)} of light effort")  # fmt: skip
            continue
        at = ("day", "cut_off") if limit.name == "cut_off" else ("day", "consumables", limit.name)
        line = "" if source is None else f"{source.path.name}:{source.yaml.line(at)}: "
        names = tuple(name for name, task in day.tasks.items()
                      if not limit.actors or set(limit.actors) & {*task.actors, *day.candidates(day.plan.step(name))})
        since = limit.since if limit.since in day.tasks else None
        if names:
            words = limit.name.replace("_", " ")
            yield Limit(names, limit.lasts_s, since, f"{line}{words}: at most {clock(limit.lasts_s)}")


def _custody(day: DayProblem) -> Iterator[Wait]:
    """Keep the order in which steps change one thing, or change it and count on it."""
    seen: dict[str, list[tuple[str, bool]]] = {}
    arm_before = list[str]()
    for name, found in day.found.items():
        for thing, changes in found.touches.items():
            for earlier, changed in reversed(seen.get(thing, [])):
                if changes or changed:
                    yield Wait(earlier, name, said=f"{day.where(name)}{name} comes after {earlier}: {thing}")
                    if changed and earlier not in day.optional:
                        break
            seen.setdefault(thing, []).append((name, changes))
        if ARM in found.step.actors:
            if arm_before:
                yield Wait(arm_before[-1], name, said=f"{day.where(name)}{name} comes after {arm_before[-1]}: the arm")
            if name not in day.optional:
                arm_before.append(name)


def sequence_key(orders: Mapping[str, Sequence[str]]) -> tuple[tuple[str, str, str], ...]:
    """Return everybody's orders as the triples by which an order can be barred."""
    return tuple((who, first, then) for who, names in orders.items()
                 for first, then in zip(("", *names), (*names, ""), strict=True))  # fmt: skip
