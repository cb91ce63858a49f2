"""Three-point estimates: how long the day will take, and how likely it ends in time.

The classic figure adds means and variances along one critical path and takes the sum for normal
(Malcolm, Roseboom, Clark and Fazar, "Application of a technique for research and development program
evaluation", Operations Research 7 (1959)). It ignores that another path may turn out longer, so it is
hopeful where paths merge; the sampled figure beside it does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.timeline.schedule import Schedule, retimed, schedule
from armcarry.timeline.task import Duration, Task


@dataclass(frozen=True)
class PathEstimate:
    """A normal distribution of the end, from the steps of one path."""

    path: tuple[str, ...]
    mean_s: float
    variance_s2: float

    @property
    def deviation_s(self) -> float:
        """Standard deviation."""
        return math.sqrt(self.variance_s2)

    def chance_by(self, limit_s: float) -> float:
        """Return the probability of ending at limit_s or earlier."""
        if self.variance_s2 == 0.0:
            return float(limit_s >= self.mean_s)
        return NormalDist(self.mean_s, self.deviation_s).cdf(limit_s)

    def percentile(self, share: float) -> float:
        """Return the end, seconds, that is met with probability ``share`` in (0, 1)."""
        if self.variance_s2 == 0.0:
            return self.mean_s
        return NormalDist(self.mean_s, self.deviation_s).inv_cdf(share)


def path_estimate(tasks: Sequence[Task], planned: Schedule | None = None) -> tuple[PathEstimate, Schedule]:
    """Estimate the end from the critical path of mean durations; return the schedule of means too.

    Args:
        planned: says which steps are done; default all but fallbacks.
    """
    means = retimed(planned if planned is not None else schedule(tasks), tasks, "mean")
    by_name = {task.name: task for task in tasks}
    path = [by_name[name] for name in means.critical_path]
    spread = sum(task.duration.variance_s2 for task in path)
    return PathEstimate(means.critical_path, means.end_s, spread), means


def sample_lengths(tasks: Sequence[Task], samples: int, seed: int) -> Array:
    """Return how long steps take (tasks, samples), seconds.

    Durations are beta distributed between least and most with mean (least + 4 likely + most) / 6
    (the shape usually called beta-PERT); steps are independent. Drawn by numpy's PCG64.
    """
    generator = np.random.default_rng(seed)
    return np.stack([_sample(task.duration, generator, samples) for task in tasks])


def _sample(duration: Duration, generator: np.random.Generator, samples: int) -> Array:
    width = duration.most_s - duration.least_s
    if width <= 0.0:
        return np.full(samples, duration.likely_s)
    peak = (duration.likely_s - duration.least_s) / width
    return duration.least_s + width * generator.beta(1.0 + 4.0 * peak, 5.0 - 4.0 * peak, samples)


def starts_of(tasks: Sequence[Task], planned: Schedule, lengths: Array) -> Array:
    """Return when the nodes of a schedule begin (nodes, N) if its steps take ``lengths`` (tasks, N); idle ones none."""
    network, done = planned.network, planned.tasks_done()
    starts = np.zeros((len(network.members), lengths.shape[1]))
    for node in network.order:
        clock = [tasks[k].not_before_s for k in network.members[node] if tasks[k].name in done]
        starts[node] = max([0.0, *clock])
        for edge in network.edges_into[node]:
            np.maximum(starts[node], starts[edge.of] + lengths[edge.by], out=starts[node])
        for k in network.members[node]:
            if tasks[k].windows and tasks[k].name in done:
                starts[node] = np.maximum(starts[node], _within(tasks[k], starts[node], lengths[k]))
    return starts


def _within(task: Task, starts: Array, lengths: Array) -> Array:
    """Return the first starts (N,) from ``starts`` on within a window of a task; as they are where none is left."""
    found = np.full(len(starts), np.inf)
    for begin_s, end_s in task.windows:
        first = np.maximum(starts, begin_s)
        found = np.where(first + lengths <= end_s, np.minimum(found, first), found)
    return np.where(np.isfinite(found), found, starts)

