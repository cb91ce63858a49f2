"""Custody: where each piece of hardware is, who holds it, and what each act on it needs first.

seat -> released -> held -> seated. Bolts and connectors of a seat, and locks, covers and tethers of the
item, are preconditions; handling.py says of which act.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Fastened = Literal["open", "closed"]
Where = Literal["seat", "held", "adrift"]


@dataclass(frozen=True)
class FastenerRule:
    """A lock, cover or set of bolts of an item, and what needs it open or closed."""

    kind: str
    needed_to: tuple[str, ...] = ()
    state_needed: Fastened = "closed"


@dataclass(frozen=True)
class ItemRule:
    """What custody knows of an item: its model (seats accept models) and its own fasteners."""

    model: str
    fasteners: Mapping[str, FastenerRule] = field(default_factory=dict)


@dataclass(frozen=True)
class SeatRule:
    """A seat: which models it accepts and how many bolts and connectors hold an item in it."""

    accepts: tuple[str, ...]
    bolts: int = 0
    connectors: int = 0


@dataclass(frozen=True)
class ItemState:
    """One item at one instant.

    Attributes:
        where: in a seat, held by hands or by the arm, or adrift.
        seat: the seat it is in.
        hands: who holds it, or has a hand on it in its seat.
        tethers: to whom it is tethered.
        bolts_tight, connectors_joined: bonds to the seat.
        fasteners: state of its own fasteners.
        moving: the carry it is part of at this instant.
    """

    where: Where
    seat: str = ""
    hands: frozenset[str] = frozenset()
    tethers: frozenset[str] = frozenset()
    bolts_tight: int = 0
    connectors_joined: int = 0
    fasteners: tuple[tuple[str, Fastened], ...] = ()
    moving: str = ""

    @property
    def stage(self) -> str:
        """One of seated, released, held, adrift: in its seat it is released once no bond holds it."""
        if self.where != "seat":
            return self.where
        return "released" if self.hands and not self.bolts_tight and not self.connectors_joined else "seated"

    @property
    def secured(self) -> bool:
        """Whether something holds it apart from the seat's shape: a bolt, a hand or a tether."""
        return bool(self.bolts_tight or self.hands or self.tethers)

    def fastener(self, name: str) -> Fastened:
        """Return the state of one of its own fasteners."""
        return dict(self.fasteners)[name]


@dataclass(frozen=True)
class Act:
    """One thing done to hardware at one instant. ``carry`` begins and ``arrive`` ends a carry."""

    step: str
    kind: str
    actors: tuple[str, ...]
    item: str = ""
    to: str = ""
    fastener: str = ""
    make: str = ""
    count: int = 0
    time_s: float = 0.0


@dataclass(frozen=True)
class Violation:
    """A precondition that is missing. ``missing`` is the word for it in handling.py, or a fastener's name."""

    step: str
    item: str
    missing: str
    message: str
    time_s: float


@dataclass(frozen=True)
class Custody:
    """All hardware at one instant; every act gives a new one (handling.apply)."""

    items: Mapping[str, ItemRule]
    seats: Mapping[str, SeatRule]
    states: Mapping[str, ItemState]

    def in_seat(self, seat: str) -> tuple[str, ...]:
        """Return what is in a seat."""
        return tuple(name for name, state in self.states.items() if state.where == "seat" and state.seat == seat)
