"""The schedule: every step as early as links and actors allow, and what there is no time for."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from armcarry.errors import FrameError, InputError, StepError
from armcarry.quantities import clock
from armcarry.timeline.network import build
from armcarry.timeline.slots import SAME_S, Dropped, LimitUse, Schedule, Slot
from armcarry.timeline.task import Duration, Limit, Point, Task
from armcarry.timeline.times import times

#: why a step is not done that the script leaves out
NOT_TODAY = "left out in the script"


@dataclass(frozen=True)
class SlipReport:
    """What a slip changes: the end, the steps that begin later, what is left out or comes in."""

    end_change_s: float
    moved_s: dict[str, float]
    newly_dropped: tuple[Dropped, ...]
    newly_done: tuple[str, ...]


def schedule(
    tasks: Sequence[Task],
    limits: Sequence[Limit] = (),
    *,
    point: Point = "likely",
    slip: Mapping[str, float] | None = None,
    failed: Collection[str] = (),
) -> Schedule:
    """Schedule tasks as early as links and actors allow, leaving out what does not fit.

    Steps of priority above 0 are left out, the highest number first and of equals the last listed
    first, until every limit is met; then each that still fits is taken back, in the opposite order.

    Args:
        point: which point of each duration is used.
        slip: step -> seconds that it takes longer.
        failed: steps that are tried, fail, and are followed by their fallback.

    Raises:
        FrameError: slip, failed or a link names no step.
        InputError: steps or fallbacks in a circle; a slip below the step's own duration.
    """
    tasks = at_point(slipped(tasks, slip or {}), point)
    names = [task.name for task in tasks]
    for name in failed:
        if name not in names:
            raise FrameError("step", name, names)
    trial = Trial(tasks, tuple(limits), frozenset(failed))
    optional = sorted(
        (k for k, task in enumerate(tasks) if task.priority > 0 and not task.left_out),
        key=lambda k: (-tasks[k].priority, -k),
    )
    out = {task.name: NOT_TODAY for task in tasks if task.left_out}
    best = trial.solve(out)
    for k in optional:
        why = trial.complaint(best)
        if why is None:
            break
        out = {**out, **left_out_with(tasks[k], why)}
        best = trial.solve(out)
    for k in reversed(optional):
        if tasks[k].name in out:
            fewer = {name: why for name, why in out.items() if name not in left_out_with(tasks[k])}
            attempt = trial.solve(fewer)
            if trial.overrun_s(attempt) <= trial.overrun_s(best) + SAME_S:
                out, best = fewer, attempt
    return best


def compare(before: Schedule, after: Schedule) -> SlipReport:
    """Tell what changes from one schedule to another of the same steps."""
    starts = {slot.name: slot.start_s for slot in before.slots}
    moved = {
        slot.name: slot.start_s - starts[slot.name]
        for slot in after.slots
        if slot.name in starts and abs(slot.start_s - starts[slot.name]) > SAME_S
    }
    gone = {dropped.name for dropped in before.dropped}
    return SlipReport(
        after.end_s - before.end_s,
        moved,
        tuple(dropped for dropped in after.dropped if dropped.name not in gone),
        tuple(slot.name for slot in after.slots if slot.name not in starts),
    )


def left_out_with(task: Task, why: str = "") -> dict[str, str]:
    """Return a step that is left out and those that are left out with it, and why."""
    return {task.name: why, **dict.fromkeys(task.drops_with, f"left out with {task.name}")}


def slipped(tasks: Sequence[Task], slip: Mapping[str, float]) -> tuple[Task, ...]:
    """Return tasks that take longer by seconds, all three points alike.

    Raises:
        FrameError: slip names no step.
        InputError: a step would take less than no time.
    """
    names = [task.name for task in tasks]
    for name in slip:
        if name not in names:
            raise FrameError("step", name, names)
    result = []
    for task in tasks:
        by, d = slip.get(task.name, 0.0), task.duration
        if d.least_s + by < 0:
            raise InputError(f"step '{task.name}' cannot take less than no time", found=f"{d.least_s + by:g} s")
        result.append(replace(task, duration=Duration(d.least_s + by, d.likely_s + by, d.most_s + by)))
    return tuple(result)


def retimed(planned: Schedule, tasks: Sequence[Task], point: Point) -> Schedule:
    """Return the schedule of the same steps, done and left out alike, with another point of their durations."""
    done = planned.tasks_done()
    idle = frozenset(task.name for task in tasks if task.name not in done)
    network = replace(planned.network, tasks=at_point(tasks, point))
    return times(network, idle, planned.dropped, [use.limit for use in planned.limits])


def at_point(tasks: Sequence[Task], point: Point) -> tuple[Task, ...]:
    """Return tasks whose duration is one point of theirs, without spread."""
    return tuple(replace(task, duration=Duration.exactly(task.duration.at(point))) for task in tasks)


@dataclass(frozen=True)
class Trial:
    """Tasks of fixed durations and limits; solves them for a choice of tasks left out."""

    tasks: tuple[Task, ...]
    limits: tuple[Limit, ...]
    failed: frozenset[str]

    def solve(self, out: Mapping[str, str]) -> Schedule:
        """Return the schedule without some tasks; each with why."""
        primary_of = {task.fallback: task.name for task in self.tasks if task.fallback is not None}
        state: dict[str, str] = {}
        for task in self.tasks:
            self._state(task.name, out, primary_of, state, ())
        stands_in = {
            task.name: task.fallback
            for task in self.tasks
            if task.fallback is not None and state[task.fallback] != "idle"
        }
        idle = frozenset(name for name, what in state.items() if what != "done")
        dropped = tuple(
            Dropped(task.name, out[task.name], stands_in.get(task.name))
            for task in self.tasks
            if state[task.name] == "dropped"
        )
        return times(build(self.tasks, idle, stands_in), idle, dropped, self.limits)

    def _state(
        self, name: str, out: Mapping[str, str], primary_of: Mapping[str, str], state: dict[str, str],
        asked: tuple[str, ...],
    ) -> str:
        """Return done, dropped, or idle (a fallback that is not needed), remembering it."""
        if name in asked:
            circle = " -> ".join((*asked[asked.index(name):], name))
            raise StepError(name, f"the fallbacks go round in a circle: {circle}")
        if name not in state:
            needed = True
            if name in primary_of:
                before = self._state(primary_of[name], out, primary_of, state, (*asked, name))
                needed = before == "dropped" or (before == "done" and primary_of[name] in self.failed)
            state[name] = "idle" if not needed else "dropped" if name in out else "done"
        return state[name]

    def complaint(self, result: Schedule) -> str | None:
        """Say which limit or latest start is not met, None when all are."""
        for task in self.tasks:
            if self._late_s(task, result) > SAME_S:
                return f"{task.name} cannot {'begin' if self._begins_late_s(task, result) > SAME_S else 'end'} in time"
        for use in result.limits:
            if use.margin_s < -SAME_S:
                over_s = math.ceil(-use.margin_s * 10.0) / 10.0  # never told as nothing
                return f"{use.limit.name} is exceeded by {clock(over_s)} without this"
        return None

    def overrun_s(self, result: Schedule) -> float:
        """Return the seconds by which limits and latest starts are missed, all together."""
        over = sum(max(-use.margin_s, 0.0) for use in result.limits)
        return over + sum(self._late_s(task, result) for task in self.tasks)

    def _late_s(self, task: Task, result: Schedule) -> float:
        ends_late_s = 0.0
        if task.ends_by_s is not None and task.name in result.tasks_done():
            ends_late_s = result.slot(task.name).end_s - task.ends_by_s
        return max(ends_late_s, self._begins_late_s(task, result), 0.0)

    def _begins_late_s(self, task: Task, result: Schedule) -> float:
        if task.start_by_s is None or task.priority == 0 or task.name not in result.tasks_done():
            return 0.0
        return max(result.slot(task.name).start_s - task.start_by_s, 0.0)


__all__ = [
    "SAME_S", "Dropped", "LimitUse", "Schedule", "SlipReport", "Slot", "Trial", "at_point", "compare", "left_out_with",
    "retimed", "schedule", "slipped",
]
