"""What is known of orders that were flown and did not hold: what came too near what, and which ways are not free."""

from __future__ import annotations

from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Doing:
    """What somebody, or the arm, is at: a step, a way between places that is put in, or waiting between two steps.

    Attributes:
        step: of the day; with ``who``, where it is they who do it.
        who, start, goal: a way along handrails, whatever it is put in for.
        first, then: the steps between which somebody, or the arm, stays where it is.
    """

    step: str = ""
    who: str = ""
    start: str = ""
    goal: str = ""
    first: str = ""
    then: str = ""


@dataclass(frozen=True)
class Meeting:
    """Two doings that came too near each other, as a flown order had them at once."""

    one: Doing
    other: Doing
    said: str = field(default="", compare=False)


@dataclass(frozen=True)
class Learned:
    """What orders that were flown have taught.

    Attributes:
        barred: orders that did not hold as they were, as triples of (who, step, next step).
        meetings: what is not done at once.
        blocked: ways that are not free, as (who, from, to).
        unfit: (step, who) where who takes it over comes too near something that stands there.
    """

    barred: tuple[tuple[tuple[str, str, str], ...], ...] = ()
    meetings: tuple[Meeting, ...] = ()
    blocked: frozenset[tuple[str, str, str]] = frozenset()
    unfit: frozenset[tuple[str, str]] = frozenset()

    def bar(self, order: tuple[tuple[str, str, str], ...]) -> Learned:
        """Return the same with one more order barred."""
        return replace(self, barred=(*self.barred, order))

    def and_also(self, other: Learned) -> Learned:
        """Return all of both."""
        return Learned(
            (*self.barred, *other.barred), tuple(dict.fromkeys((*self.meetings, *other.meetings))),
            self.blocked | other.blocked, self.unfit | other.unfit,
        )  # fmt: skip


#: before anything was flown
NOTHING_LEARNED = Learned()
