"""How sure a day is: days are sampled, and in each it is decided as the day goes what there is still time for.

A step that time may not permit is begun only where, by what is known when it would begin, no limit is overrun more with
it than without: what has ended took what it took, what is under way takes its likely time or as long as it has lasted,
all to come its likely time. Steps that are left out before it (a higher priority number, of equals the later) and are
still open do not count against it. Nobody knows better on the day, and hindsight would be hopeful.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.timeline.estimate import sample_lengths, starts_of
from armcarry.timeline.schedule import SAME_S, Schedule, Trial, at_point, left_out_with
from armcarry.timeline.task import Limit, Task

#: what a little more time would buy is asked of so much, s
MORE_S = 600.0
#: steps of which it is asked what their uncertainty costs
TRIED = 8


@dataclass(frozen=True, eq=False)
class Days:
    """N sampled days.

    Attributes:
        ends_s: (N,) end of the last step.
        in_time: (N,) whether every limit is kept.
        done: step -> (N,) whether it is done.
        reached: step -> (N,) whether it is done and ends within every limit that counts it and by its own latest end.
    """

    ends_s: Array
    in_time: Array
    done: Mapping[str, Array]
    reached: Mapping[str, Array]

    @property
    def mean_s(self) -> float:
        """Mean end."""
        return float(self.ends_s.mean())

    @property
    def chance(self) -> float:
        """The share of days that keep every limit."""
        return float(self.in_time.mean())

    def chance_by(self, limit_s: float) -> float:
        """Return the share of days that end at limit_s or earlier."""
        return float((self.ends_s <= limit_s).mean())

    def percentile(self, share: float) -> float:
        """Return the end, seconds, that this share of days keeps."""
        return float(np.quantile(self.ends_s, share))

    def chance_of(self, step: str) -> float:
        """Return the share of days in which a step is reached."""
        return float(self.reached[step].mean())


def sampled_days(
    tasks: Sequence[Task], limits: Sequence[Limit], failed: Collection[str] = (), *, samples: int = 20_000,
    seed: int = 0,
) -> Days:
    """Return sampled days of steps whose durations are independent and beta distributed (see ``estimate``)."""
    return days_of(tasks, limits, sample_lengths(tasks, samples, seed), failed)


def days_of(tasks: Sequence[Task], limits: Sequence[Limit], lengths: Array, failed: Collection[str] = ()) -> Days:
    """Return days in which steps take given times.

    Args:
        lengths: (tasks, N) seconds that each step takes in each day, where it is done.
    """
    return _Walk(tuple(tasks), tuple(limits), lengths, frozenset(failed)).days()


def costs(
    tasks: Sequence[Task], limits: Sequence[Limit], failed: Collection[str] = (), *, samples: int = 4_000,
    seed: int = 0,
) -> dict[str, float]:
    """Return step -> how much likelier the day ends in time if it took its likely time for sure; the most first.

    Asked of the ``TRIED`` steps whose times go most with the end of the day.
    """
    lengths = sample_lengths(tasks, samples, seed)
    before = days_of(tasks, limits, lengths, failed)
    spread = [k for k, task in enumerate(tasks) if task.duration.most_s > task.duration.least_s]
    with_end = np.abs((lengths[spread] - lengths[spread].mean(axis=1, keepdims=True)) @ before.ends_s)
    found = {}
    for k in (spread[at] for at in np.argsort(-with_end, kind="stable")[:TRIED]):
        sure = lengths.copy()
        sure[k] = tasks[k].duration.likely_s
        found[tasks[k].name] = days_of(tasks, limits, sure, failed).chance - before.chance
    return dict(sorted(found.items(), key=lambda one: -one[1]))


class _Walk:
    """Days walked through together, parted wherever it is decided otherwise in some than in others."""

    def __init__(
        self, tasks: tuple[Task, ...], limits: tuple[Limit, ...], lengths: Array, failed: frozenset[str]
    ) -> None:
        self.tasks, self.limits, self.lengths = tasks, limits, lengths
        self.likely = np.array([task.duration.likely_s for task in tasks])
        self.trial = Trial(at_point(tasks, "likely"), limits, failed)
        #: the order in which steps are left out where time does not permit all
        self.optional = sorted((k for k, task in enumerate(tasks) if task.priority > 0 and not task.left_out),
                               key=lambda k: (-tasks[k].priority, -k))  # fmt: skip
        self.known: dict[frozenset[str], Schedule] = {}
        count = lengths.shape[1]
        self.ends_s, self.in_time = np.zeros(count), np.zeros(count, dtype=bool)
        self.done = {task.name: np.zeros(count, dtype=bool) for task in tasks}
        self.reached = {task.name: np.zeros(count, dtype=bool) for task in tasks}

    def days(self) -> Days:
        """Walk through all."""
        out = frozenset(task.name for task in self.tasks if task.left_out)
        self._go(out, tuple(self.optional), np.arange(self.lengths.shape[1]))
        return Days(self.ends_s, self.in_time, self.done, self.reached)

    def _go(self, out: frozenset[str], undecided: tuple[int, ...], rows: Any) -> None:
        planned = self._planned(out)
        starts, ends = self._forward(planned, self.lengths[:, rows])
        done = planned.tasks_done()
        begins = [(planned.slot(self.tasks[k].name).start_s, k) for k in undecided if self.tasks[k].name in done]
        if not begins:
            self._write(planned, starts, ends, rows)
            return
        k = min(begins)[1]
        does = self._worth_beginning(k, planned, out, undecided, rows)
        others = tuple(other for other in undecided if other != k)
        if does.any():
            self._go(out, others, rows[does])
        if not does.all():
            self._go(out | set(left_out_with(self.tasks[k])), others, rows[~does])

    def _worth_beginning(
        self, k: int, planned: Schedule, out: frozenset[str], undecided: tuple[int, ...], rows: Any
    ) -> Any:
        """Tell (N,) where a step is begun."""
        starts, ends = self._forward(planned, self.lengths[:, rows])
        task, at_s = self.tasks[k], starts[k]
        first = undecided[: undecided.index(k)]  # what is left out before it
        fewer = out.union(*(left_out_with(self.tasks[j]) for j in first)) - {task.name}
        lasted = np.maximum(self.likely[:, None], at_s - starts)
        known = np.where(ends <= at_s, self.lengths[:, rows], np.where(starts <= at_s, lasted, self.likely[:, None]))
        idle = [j for j, other in enumerate(self.tasks) if other.name not in planned.tasks_done()]
        known[idle] = self.likely[idle, None]
        overrun = [self._overrun_s(self._planned(frozenset(names)), known)
                   for names in (fewer, fewer | set(left_out_with(task)))]  # fmt: skip
        in_time = np.full(len(rows), True) if task.start_by_s is None else at_s <= task.start_by_s + SAME_S
        return np.asarray(in_time & (overrun[0] <= overrun[1] + SAME_S))

    def _planned(self, out: frozenset[str]) -> Schedule:
        if out not in self.known:
            self.known[out] = self.trial.solve(dict.fromkeys(sorted(out), ""))
        return self.known[out]

    def _forward(self, planned: Schedule, lengths: Array) -> tuple[Array, Array]:
        """Return when each step begins and ends (tasks, N); one that is not done takes no time."""
        done = np.array([task.name in planned.tasks_done() for task in self.tasks])
        lengths = np.where(done[:, None], lengths, 0.0)
        starts = starts_of(self.tasks, planned, lengths)[np.array(planned.network.node_of)]
        return starts, starts + lengths

    def _overrun_s(self, planned: Schedule, lengths: Array) -> Array:
        """Return (N,) by how much limits and latest ends are missed, all together."""
        starts, ends = self._forward(planned, lengths)
        done = planned.tasks_done()
        over = np.zeros(lengths.shape[1])
        for limit in self.limits:
            over += np.maximum(self._used(limit, done, starts, ends) - limit.lasts_s, 0.0)
        for k, task in enumerate(self.tasks):
            if task.ends_by_s is not None and task.name in done:
                over += np.maximum(ends[k] - task.ends_by_s, 0.0)
        return over

    def _counted(self, limit: Limit, done: Collection[str]) -> list[int]:
        return [k for k, task in enumerate(self.tasks)
                if task.name in done and (not limit.actors or set(limit.actors) & set(task.actors))]  # fmt: skip

    def _used(self, limit: Limit, done: Collection[str], starts: Array, ends: Array) -> Array:
        """Return (N,) how much of a limit is used when the last step that it counts ends."""
        counted = self._counted(limit, done)
        if not counted:
            return np.zeros(starts.shape[1])
        last = ends[counted].max(axis=0)
        if limit.drawn is not None:
            rates = np.array([limit.drawn.rate(self.tasks[k].name) for k in counted])
            beside = (rates - limit.drawn.rest)[:, None] * (ends - starts)[counted]
            return np.asarray(limit.drawn.rest * last + beside.sum(axis=0))
        since = [starts[k] for k, task in enumerate(self.tasks) if task.name == limit.since and task.name in done]
        return np.asarray(last - since[0] if since else last)

    def _write(self, planned: Schedule, starts: Array, ends: Array, rows: Any) -> None:
        done = planned.tasks_done()
        number = [k for k, task in enumerate(self.tasks) if task.name in done]
        self.ends_s[rows] = ends[number].max(axis=0) if number else 0.0
        kept = [self._used(limit, done, starts, ends) <= limit.lasts_s + SAME_S for limit in self.limits]
        self.in_time[rows] = np.all(kept, axis=0) if kept else True
        within = {k: np.full(len(rows), True) for k in number}
        for limit in self.limits:
            if limit.since is None and limit.drawn is None:
                for k in self._counted(limit, done):
                    within[k] &= ends[k] <= limit.lasts_s + SAME_S
        for k in number:
            task = self.tasks[k]
            if task.ends_by_s is not None:
                within[k] &= ends[k] <= task.ends_by_s + SAME_S
            self.done[task.name][rows], self.reached[task.name][rows] = True, within[k]
