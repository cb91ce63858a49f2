"""Tasks: the steps of a day reduced to what a schedule needs, actors, durations and links."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from armcarry.errors import StepError
from armcarry.files.documents.day import Day
from armcarry.files.documents.step_parts import Takes
from armcarry.files.documents.steps import ARM, Step
from armcarry.timeline.drawn import Drawn

Point = Literal["least", "likely", "most", "mean"]


@dataclass(frozen=True)
class Duration:
    """A duration told at three points, seconds, least <= likely <= most."""

    least_s: float
    likely_s: float
    most_s: float

    @staticmethod
    def exactly(seconds: float) -> Duration:
        """Return a duration without spread."""
        return Duration(seconds, seconds, seconds)

    @property
    def mean_s(self) -> float:
        """Expected duration, (least + 4 likely + most) / 6 (the classic three-point estimate)."""
        return (self.least_s + 4.0 * self.likely_s + self.most_s) / 6.0

    @property
    def variance_s2(self) -> float:
        """Variance, ((most - least) / 6)^2."""
        return ((self.most_s - self.least_s) / 6.0) ** 2

    def at(self, point: Point) -> float:
        """Return one of the three points, or the mean, seconds."""
        return float(getattr(self, f"{point}_s"))

    def times(self, count: int) -> Duration:
        """Return count of them one after another, all short or all long together."""
        return Duration(self.least_s * count, self.likely_s * count, self.most_s * count)


@dataclass(frozen=True)
class Task:
    """One step as the schedule sees it.

    Attributes:
        after: ends of these come first.
        starts_with: these begin at the same instant.
        swaps_with: as starts_with, and what follows either waits for both.
        not_before_s: it cannot begin earlier.
        priority: 0 must be done; above 0 it is left out when it does not fit, higher first.
        start_by_s: a step of priority above 0 is left out when it cannot begin by then.
        fallback: task done instead when this one is left out or fails.
        ends_by_s: when it is to have ended.
        windows: it begins and ends within one of these (start_s, end_s), waiting for it; empty for no such need.
        apart: names it shares with tasks that are not done at the same time.
        left_out: it is not done, as the script says.
    """

    name: str
    actors: tuple[str, ...]
    duration: Duration
    after: tuple[str, ...] = ()
    starts_with: tuple[str, ...] = ()
    swaps_with: str | None = None
    not_before_s: float = 0.0
    priority: int = 0
    start_by_s: float | None = None
    drops_with: tuple[str, ...] = ()
    fallback: str | None = None
    ends_by_s: float | None = None
    windows: tuple[tuple[float, float], ...] = ()
    apart: tuple[str, ...] = ()
    left_out: bool = False

    def within(self, start_s: float, lasts_s: float) -> float:
        """Return the first start from start_s on within a window; start_s itself where none is left."""
        fitting = (max(start_s, begin) for begin, end in self.windows if max(start_s, begin) + lasts_s <= end)
        return min(fitting, default=start_s)


@dataclass(frozen=True)
class Limit:
    """A limit on the end: of the whole day, or of the last step of some actors.

    Attributes:
        lasts_s: longest time from the start of ``since`` (or of the day) to the end.
        actors: whose last step counts; empty for every step.
        drawn: of a tank, how fast it is used up; ``lasts_s`` is then what it holds, in seconds of light effort.
    """

    name: str
    lasts_s: float
    actors: tuple[str, ...] = ()
    since: str | None = None
    drawn: Drawn | None = None


def limits_of(day: Day) -> tuple[Limit, ...]:
    """Return the cut-off and every consumable of a day as limits; what must be kept is taken off."""
    limits = [] if day.cut_off is None else [Limit("cut_off", day.cut_off)]
    limits += [
        Limit(name, item.lasts - item.keep, tuple(item.actors), item.since)
        for name, item in day.consumables.items()
    ]
    return tuple(limits)


def tasks_of(
    day: Day, computed: Mapping[str, Duration], windows: Mapping[str, tuple[tuple[float, float], ...]] | None = None
) -> tuple[Task, ...]:
    """Turn the steps of a day into tasks, in listed order.

    Args:
        computed: step name -> duration that follows from a motion or a path (carries, translations);
            a step takes what it states, but never less than that.
        windows: step name -> stretches of the day in which it can be done.

    Raises:
        StepError: a step neither states a duration nor has one computed.
    """
    before: dict[str, list[str]] = {step.name: [] for step in day.steps}
    for step in day.steps:
        for later in step.before:
            before[later].append(step.name)
    out = _left_out(day)
    pairs: dict[str, list[str]] = {}
    for one, other in day.not_at_once:
        for name in (one, other):
            pairs.setdefault(name, []).append(f"{one} and {other}")
    return tuple(
        replace(
            _task(step, tuple(before[step.name]), computed),
            windows=(windows or {}).get(step.name, ()), apart=tuple(pairs.get(step.name, ())),
            left_out=step.name in out, start_by_s=_start_by_s(day, step),
        )
        for step in day.steps
    )  # fmt: skip


def _left_out(day: Day) -> frozenset[str]:
    """Return the steps that are not done: those named, and of alternatives all but the first that is not named."""
    out = set(day.left_out)
    for group in day.any_of:
        wanted = next((name for name in group if name not in out), None)
        out |= {name for name in group if name != wanted}
    return frozenset(out)


def go_by_s(day: Day, step: Step) -> float | None:
    """Return when a step must have begun to have enough left, from the start of what is used up; None if never asked.

    What must be kept at the end is not taken off: it is left too.
    """
    if step.go_if is None:
        return None
    lasts_s = day.consumables[step.go_if.of].lasts if step.go_if.of is not None else day.cut_off
    return None if lasts_s is None else lasts_s - step.go_if.left


def _start_by_s(day: Day, step: Step) -> float | None:
    """Return when a step that may be left out must have begun."""
    by_s = [] if step.as_time_permits is None else [step.as_time_permits.start_by]
    from_start = step.go_if is not None and (step.go_if.of is None or day.consumables[step.go_if.of].since is None)
    by_s += [go_by_s(day, step)] if from_start else []
    return min((one for one in by_s if one is not None), default=None)


def _task(step: Step, waits_for: tuple[str, ...], computed: Mapping[str, Duration]) -> Task:
    waiting = step.wait_for
    permits = step.as_time_permits
    until_s = waiting.until if waiting is not None and waiting.until is not None else 0.0
    return Task(
        name=step.name,
        actors=busy_in(step),
        duration=duration_of(step, computed),
        after=(*step.after, *waits_for, *(waiting.steps if waiting is not None else ())),
        starts_with=tuple(step.together_with),
        swaps_with=step.swap_places,
        not_before_s=max(until_s, step.earliest or 0.0),
        ends_by_s=step.latest,
        priority=permits.priority if permits is not None else 0,
        drops_with=tuple(permits.drops_with) if permits is not None else (),
        fallback=step.fallback,
    )


def busy_in(step: Step) -> tuple[str, ...]:
    """Return whom a step keeps busy: its actors, and whoever takes an item over."""
    receiver = [step.hand_over.to] if step.hand_over is not None and step.hand_over.to != ARM else []
    return tuple(dict.fromkeys([*step.actors, *receiver]))


def duration_of(step: Step, computed: Mapping[str, Duration]) -> Duration:
    """Return what a step takes: as stated, for who does it first, but not less than computed; else by count or motion.

    Raises:
        StepError: none of these is there.
    """
    own = [step.takes_by[actor] for actor in step.actors if actor in step.takes_by]
    if own:  # of several who each have their own, the slowest
        return _at_least(stated(max(own, key=lambda takes: takes.likely)), computed.get(step.name))
    if step.takes is not None:
        return _at_least(stated(step.takes), computed.get(step.name))
    counted = step.bolt or step.connect
    if counted is not None and counted.each is not None:
        return stated(counted.each).times(counted.count)
    if step.name in computed:
        return computed[step.name]
    if step.wait_for is not None:
        return Duration.exactly(0.0)
    raise StepError(
        step.name,
        f"step '{step.name}' ({step.kind}) states no duration and none could be computed",
        accepted="takes: a time, or least, likely and most",
    )


def _at_least(stated: Duration, computed: Duration | None) -> Duration:
    if computed is None:
        return stated
    return Duration(
        max(stated.least_s, computed.least_s), max(stated.likely_s, computed.likely_s),
        max(stated.most_s, computed.most_s),
    )


def stated(time: Takes | float) -> Duration:
    """Return a duration as a document states it."""
    return Duration(time.least, time.likely, time.most) if isinstance(time, Takes) else Duration.exactly(time)
