"""One change of the ledger as the truths see it, what they say of it, and what they ask of the geometry."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from armcarry.ledger.state import Act, ItemState, Page

#: a step is judged this long before its end, when it has not changed anything yet, s
JUST_S = 1e-3


class Around(Protocol):
    """The geometry that presence comes from; names are people, items, restraints, worksites, seats or frames."""

    @property
    def end_s(self) -> float:
        """Return the end of what is known."""

    def apart_m(self, who: str, thing: str, time_s: float) -> float | None:
        """Return how far a person's boots and gloves are from the nearest point of a thing; None if not known."""

    def reach_m(self, who: str) -> float:
        """Return how far from boots or gloves a person's body reaches."""

    def size_m(self, item: str) -> tuple[float, float, float] | None:
        """Return the extents of an item as it starts, smallest first; None if not known."""

    def carried_by(self, appendage: str, time_s: float) -> tuple[str, ...]:
        """Return the people who move with a part of the platform that turns."""

    def farthest_m(self, one: str, other: str, start_s: float, end_s: float) -> tuple[float, float] | None:
        """Return what the distance of two things never passes in a stretch of time, and where that is; or None."""


@dataclass(frozen=True)
class Change:
    """An act with the page before it and after it.

    Attributes:
        around: the geometry; None where nothing has moved yet, and presence is then not judged.
        last: item -> last act that seated or bolted it, for what is judged at the end.
    """

    before: Page
    act: Act
    after: Page
    around: Around | None = None
    last: Mapping[str, Act] = field(default_factory=dict)

    @property
    def item(self) -> str:
        """The item the act is about."""
        return self.act.item

    @property
    def was(self) -> ItemState:
        """That item before the act."""
        return self.before.states[self.item]

    @property
    def now(self) -> ItemState:
        """That item after the act."""
        return self.after.states[self.item]

    def people(self) -> tuple[str, ...]:
        """Return the actors who are people outside or inside, not the arm, nor those who never go out."""
        known = self.before.people
        return tuple(who for who in self.act.actors if who in known and not known[who].away)

    def beyond(
        self, who: str, thing: str, *times_s: float, across_m: float = 0.0
    ) -> tuple[float, float] | None:
        """Return how far a thing is from a person and how far a body reaches, where it is beyond reach; or None.

        The largest distance of the times counts: who does something stays there while it is done.

        Args:
            across_m: a gap that may be crossed besides.
        """
        if self.around is None or not thing:
            return None
        found = [self.around.apart_m(who, thing, time_s) for time_s in times_s or (self.act.time_s,)]
        known = [apart for apart in found if apart is not None]
        reach = self.around.reach_m(who) + across_m
        return (max(known), reach) if known and max(known) > reach else None


def when(act: Act) -> tuple[float, float]:
    """Return the instants of a step at which its people must be there: its start, and just before it ends."""
    if act.end_s <= act.start_s:
        return act.time_s, act.time_s
    return act.start_s, max(act.end_s - JUST_S, act.start_s)


class Found(NamedTuple):
    """Something that is not so: of what, in words, and what is missing if the truth's own name does not say it.

    ``unknown``: whether it is so cannot be told, because nobody stated what is asked; the remedy says what to state.
    ``cause``: what lies behind it, the same for every step that suffers from it; such steps are told together.
    """

    subject: str
    message: str
    missing: str = ""
    act: Act | None = None
    remedy: str = ""
    unknown: bool = False
    cause: str = ""


@dataclass(frozen=True)
class Truth:
    """Something that must be true.

    Attributes:
        name: one word for it; what is missing where it is not so.
        topic: the check that tells it.
        says: the truth, for people.
        kinds: kinds of acts by which it may become untrue.
        broken: yields what is not so after an act.
        remedy: what to do about it.
    """

    name: str
    topic: str
    says: str
    kinds: tuple[str, ...]
    broken: Callable[[Change], Iterable[Found]]
    remedy: str = ""


@dataclass(frozen=True)
class Consequence:
    """A truth that does not hold either, and is told with the one that it follows from; as in ``Violation``."""

    step: str
    item: str
    missing: str
    topic: str
    message: str


@dataclass(frozen=True)
class Violation:
    """A truth that does not hold.

    Attributes:
        step: of the day or carry that broke it.
        item: the item or person it is about.
        missing: the truth's name, or that of a fastener.
        topic: the check that tells it.
        start_s, end_s: of the step; ``time_s`` is when it became so.
        unknown: not broken, but not to be judged, as nobody stated what is asked.
        cause: the same for steps that suffer from the same; empty where it stands alone.
        about: items and restraints that the act is about.
        displaced: what is where it cannot be from then on.
        led_to: what is told with it because it follows from it.
    """

    step: str
    item: str
    missing: str
    message: str
    time_s: float
    topic: str = "custody"
    remedy: str = ""
    start_s: float = 0.0
    end_s: float = 0.0
    unknown: bool = False
    cause: str = ""
    about: tuple[str, ...] = ()
    displaced: tuple[str, ...] = ()
    led_to: tuple[Consequence, ...] = ()
