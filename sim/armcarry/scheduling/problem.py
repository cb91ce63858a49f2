"""A scheduling problem in plain terms, as the field of operations research puts it: nothing in it knows of a day.

Jobs have one or several ways of being done; a way takes resources, of which each does one thing at a time. What has to
hold beside (waits, windows, limits) is a statement each, with the words it was made in, so that statements which
cannot hold together can be told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

#: what is to be made best
Objective = Literal["shortest", "worth", "slack"]


@dataclass(frozen=True)
class Way:
    """One way of doing a job: how long it takes, what it takes up meanwhile."""

    duration_s: float
    uses: tuple[str, ...] = ()


@dataclass(frozen=True)
class Job:
    """Something that is done once, without a pause, in one of its ways.

    Attributes:
        optional: it may be left out.
        worth: what doing it is worth, for the objective ``worth``.
        with_job: it is done if and only if that other job is.
    """

    name: str
    ways: tuple[Way, ...]
    optional: bool = False
    worth: float = 0.0
    with_job: str | None = None


@dataclass(frozen=True)
class Wait:
    """``then`` begins not before ``gap_s`` after ``first`` has ended, or ``together`` with it; where both are done."""

    first: str
    then: str
    gap_s: float = 0.0
    together: bool = False
    said: str = ""


@dataclass(frozen=True)
class Windows:
    """A job begins and ends within one of some stretches of time, seconds."""

    job: str
    spans: tuple[tuple[float, float], ...]
    said: str = ""


@dataclass(frozen=True)
class Limit:
    """Jobs end within ``lasts_s`` of the start of ``since``, or of time 0; of those that are done."""

    jobs: tuple[str, ...]
    lasts_s: float
    since: str | None = None
    said: str = ""


@dataclass(frozen=True)
class Apart:
    """Two jobs, or what is between two, are not done at the same time."""

    one: str
    other: str
    said: str = ""


@dataclass(frozen=True)
class InTurn:
    """Of some jobs, and of what is between others, one is done at a time."""

    doings: tuple[str, ...]
    said: str = ""


@dataclass(frozen=True)
class Between:
    """What a resource does between one job and the next, under a name by which it can be kept apart from something.

    Attributes:
        first, then: the jobs; ``first`` is empty before the first.
        lasts_s: how long it takes, at any time between the two.
        what: ``change``: that alone. ``stay``: all the time from when it begins, or from when ``first`` begins where
            it takes no time, until ``then`` is over. ``job``: ``then`` itself where it follows ``first``; where both
            are the same, wherever this resource does it.
    """

    name: str
    resource: str
    first: str
    then: str
    lasts_s: float = 0.0
    what: Literal["change", "stay", "job"] = "change"

    @property
    def begins_with(self) -> str:
        """What begins when it does: itself, the job, or the job before for a stay without a change."""
        if self.what == "job":
            return self.then
        return self.first if self.what == "stay" and self.first and not self.lasts_s else self.name

    @property
    def over_with(self) -> str:
        """What it is over with: itself, or the job behind."""
        return self.name if self.what == "change" else self.then


@dataclass(frozen=True)
class OneOf:
    """Exactly one of some optional jobs is done."""

    jobs: tuple[str, ...]
    said: str = ""


@dataclass(frozen=True)
class Requires:
    """A job is done only where some others are."""

    job: str
    others: tuple[str, ...]
    said: str = ""


@dataclass(frozen=True)
class Supply:
    """What a resource uses up until it has done its last job is at most ``holds``.

    Attributes:
        rates: job -> how fast during it; rest: how fast before, between and after them, on the way too.
    """

    resource: str
    holds: float
    rates: Mapping[str, float]
    rest: float
    said: str = ""


@dataclass(frozen=True)
class SameWay:
    """Jobs with as many ways each are all done in the way of the same number."""

    jobs: tuple[str, ...]


@dataclass(frozen=True)
class Order:
    """In which order a resource may do its jobs, and what it takes to change from one to the next.

    Attributes:
        changes_s: (job, next job) -> seconds between; a pair that is missing cannot follow one another.
        first_s: job -> seconds before it where it comes first; a job that is missing cannot.
        longer_s: (job, next job) -> seconds that the next job itself takes longer there; "" for before the first.
        last_s: job -> seconds after it where it comes last; a job that is missing cannot. None: any may, at once.
    """

    resource: str
    changes_s: Mapping[tuple[str, str], float]
    first_s: Mapping[str, float]
    longer_s: Mapping[tuple[str, str], float] = field(default_factory=dict)
    last_s: Mapping[str, float] | None = None


Statement = Wait | Windows | Limit | Apart | InTurn | OneOf | Requires | Supply


@dataclass(frozen=True)
class Problem:
    """Jobs, what must hold of them, and in what order resources may do them.

    Attributes:
        barred: orders that cannot be, each as (resource, job, next job) triples that do not hold all at once.
        between: what is done between jobs, where a statement names it.
    """

    jobs: tuple[Job, ...]
    statements: tuple[Statement, ...] = ()
    same_ways: tuple[SameWay, ...] = ()
    orders: tuple[Order, ...] = ()
    barred: tuple[tuple[tuple[str, str, str], ...], ...] = ()
    hint_s: Mapping[str, float] = field(default_factory=dict)
    between: tuple[Between, ...] = ()

    def job(self, name: str) -> Job:
        """Return a job by name."""
        return next(job for job in self.jobs if job.name == name)

    def resources(self) -> tuple[str, ...]:
        """Return every resource that some way takes up, in order of first mention."""
        return tuple(dict.fromkeys(use for job in self.jobs for way in job.ways for use in way.uses))

    def statements_of(self, kind: type[Statement]) -> tuple[Statement, ...]:
        """Return the statements of one kind."""
        return tuple(one for one in self.statements if isinstance(one, kind))


@dataclass(frozen=True)
class Placed:
    """A job as it is done."""

    name: str
    way: int
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Binding:
    """A job of the chain that decides the end, and what it waits for: ``why`` in words, ``after`` the job before."""

    name: str
    why: str
    after: str = ""


@dataclass(frozen=True)
class Solved:
    """The best that was found.

    Attributes:
        placed: jobs that are done, by start.
        left_out: jobs that are not.
        orders: resource -> its jobs in order, for resources whose order has changes.
        end_s: end of the last job.
        bound_s: proven: no schedule ends earlier (of all, whatever is made best); never beyond ``end_s``.
        optimal: whether nothing better can be, for the objective asked.
        chain: what binds: jobs from the start to the end, each waiting for the one before.
        between: what is done between jobs, where a statement names it, by start.
    """

    placed: tuple[Placed, ...]
    left_out: tuple[str, ...]
    orders: Mapping[str, tuple[str, ...]]
    end_s: float
    bound_s: float
    optimal: bool
    worth: float
    chain: tuple[Binding, ...]
    between: tuple[Placed, ...] = ()

    def at(self, name: str) -> Placed:
        """Return how a job, or what is between two, is done. Raises KeyError where it is left out."""
        for placed in (*self.placed, *self.between):
            if placed.name == name:
                return placed
        raise KeyError(name)


@dataclass(frozen=True)
class Impossible:
    """No schedule holds every statement.

    Attributes:
        together: a smallest set of statements that cannot hold together: without any one of them the rest can. Empty
            where orders and durations alone cannot be.
        proven: False where the search was stopped before it found a schedule or proved that there is none.
    """

    together: tuple[Statement, ...]
    proven: bool = True
