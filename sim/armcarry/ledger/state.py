"""One page of the ledger: everybody and everything at one instant, and what is known of them for good.

An item goes seat -> released -> held -> seated. Restraints are items whose seats are sockets. Nothing here is
judged (truths.py) and nothing changes (effects.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import ceil
from typing import Literal

Fastened = Literal["open", "closed"]
Where = Literal["seat", "held", "adrift", "inside"]
ArmMode = Literal["driven", "holding", "safe"]

ARM = "arm"
#: the place of people and things behind the closed hatch
INSIDE = "airlock"
#: the socket at the arm's tip
TIP_SOCKET = "arm"


@dataclass(frozen=True)
class FastenerRule:
    """A lock, cover or set of bolts of an item, and what needs it open or closed."""

    kind: str
    needed_to: tuple[str, ...] = ()
    state_needed: Fastened = "closed"


@dataclass(frozen=True)
class BoltRule:
    """What an item's document says of its bolts to a seat: 0 or empty where it says nothing; ``tool`` is a model."""

    torque_n_m: float = 0.0
    turns: float = 0.0
    tool: str = ""


@dataclass(frozen=True)
class ItemRule:
    """What is known of an item for good.

    Attributes:
        model: seats accept models.
        fasteners: its own.
        hands: how many it takes to hold it.
        restraint: it is a foot restraint; its seats are sockets.
        bolts: what its bolts to a seat ask for.
        before_carry, after_seating: what must be so, as its document says: ``tethered``, ``connector joined``.
    """

    model: str
    fasteners: Mapping[str, FastenerRule] = field(default_factory=dict)
    hands: int = 1
    restraint: bool = False
    bolts: BoltRule = BoltRule()
    before_carry: tuple[str, ...] = ()
    after_seating: tuple[str, ...] = ()


@dataclass(frozen=True)
class SeatRule:
    """A seat or socket: which models it accepts, how many bolts and connectors hold an item in it, its frame.

    A restraint is only stowed, not stood in, where ``stand`` is false. A bag takes ``count`` small items. Of a cart it
    is the seat where ``cart`` names it.
    """

    accepts: tuple[str, ...]
    bolts: int = 0
    connectors: int = 0
    frame: str = ""
    stand: bool = True
    count: int = 1
    cart: str = ""


@dataclass(frozen=True)
class Asked:
    """What the rules ask of hands and tethers.

    Attributes:
        bonds: whether seats' bolts and connectors are turned by steps; without a day nobody is said to.
        tether_before_loose: every item is tethered before its last bolt is loose.
        tether_m, safety_tether_m: length of a tether of an item, and of a person, that states none.
        hatch_known: whether the rules say how long the hatch takes, ``passing_s``, and what fits, ``widest_m``.
        speed_with_item_m_s: how fast at most somebody goes along handrails with an item; None where no rule says.
        gap_m: the widest gap that is crossed from one hold to the next.
        ends_inside: whoever went out is inside at the end.
        unreeled_m: how long at most a tether is that is not on a reel.
        arm_safe: whether the arm is made safe whenever it stands, which takes ``make_safe_s`` after a move and
            ``make_ready_s`` before one.
    """

    bonds: bool = True
    tether_before_loose: bool = False
    tether_m: float = float("inf")
    safety_tether_m: float = float("inf")
    speed_with_item_m_s: float | None = None
    hatch_known: bool = True
    passing_s: float = 0.0
    widest_m: float = float("inf")
    gap_m: float = 0.0
    ends_inside: bool = True
    unreeled_m: float = float("inf")
    arm_safe: bool = False
    make_ready_s: float = 0.0
    make_safe_s: float = 0.0


@dataclass(frozen=True)
class ItemState:
    """One item at one instant.

    Attributes:
        where: in a seat, held by hands or by the arm, inside, or adrift.
        seat: the seat it is in.
        hands: who holds it, or has a hand on it in its seat.
        tethers: what it is tethered to: people, restraints, frames of the structure.
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
        """One of seated, released, held, inside, adrift: in its seat it is released once no bond holds it."""
        if self.where != "seat":
            return self.where
        return "released" if self.hands and not self.bolts_tight and not self.connectors_joined else "seated"

    @property
    def secured(self) -> bool:
        """Whether something holds it apart from the seat's shape: a bolt, a hand, a tether or the closed hatch."""
        return bool(self.bolts_tight or self.hands or self.tethers or self.where == "inside")

    def fastener(self, name: str) -> Fastened:
        """Return the state of one of its own fasteners."""
        return dict(self.fasteners)[name]


@dataclass(frozen=True)
class PersonState:
    """One person at one instant.

    Attributes:
        place: worksite, frame or ``airlock`` last gone to; empty where that is not known. Words only: who is
            beside what is asked of the geometry.
        restraint: the restraint the boots are in.
        tethers: what the safety tethers are hooked to.
        climbing: step that takes the person in or out of a restraint at this instant.
        away: somebody who is never outside: an operator inside, somebody on the ground.
        left, right: what either hand holds.
    """

    place: str = ""
    restraint: str = ""
    tethers: frozenset[str] = frozenset()
    climbing: str = ""
    away: bool = False
    left: str = ""
    right: str = ""

    @property
    def inside(self) -> bool:
        """Whether the person is behind the hatch."""
        return self.place == INSIDE


@dataclass(frozen=True)
class Page:
    """Everybody and everything at one instant; every act gives a new page (effects.apply).

    Attributes:
        items, seats, asked: what is known for good.
        states: item -> state; restraints are among them.
        people: person -> state.
        lengths: (what is tethered, to what) -> length of that tether, m.
        flying: step that moves the arm at this instant -> its actors.
        arm: driven while it moves, holding with the motors on, or made safe: brakes on and motors off.
        hatch: open or closed; empty where no step opens or closes it.
        passing: who is in the hatch at this instant -> the step.
        gone_out: people and items that went out through the hatch.
        shut_out: people who were outside when the hatch was closed last.
    """

    items: Mapping[str, ItemRule]
    seats: Mapping[str, SeatRule]
    states: Mapping[str, ItemState]
    people: Mapping[str, PersonState] = field(default_factory=dict)
    asked: Asked = Asked()
    lengths: Mapping[tuple[str, str], float] = field(default_factory=dict)
    flying: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    arm: ArmMode = "holding"
    hatch: str = ""
    passing: Mapping[str, str] = field(default_factory=dict)
    gone_out: frozenset[str] = frozenset()
    shut_out: frozenset[str] = frozenset()

    def is_inside(self, name: str) -> bool:
        """Tell whether a person is inside, or an item is, or somebody inside holds it or has its tether."""
        if name in self.people:
            return self.people[name].inside
        state = self.states[name]
        if state.seat in self.states:  # in a bag
            return self.is_inside(state.seat)
        holders = [who for who in state.hands | state.tethers if who in self.people]
        return state.where == "inside" or (state.where == "held" and any(self.people[who].inside for who in holders))

    def in_seat(self, seat: str) -> tuple[str, ...]:
        """Return what is in a seat."""
        return tuple(name for name, state in self.states.items() if state.where == "seat" and state.seat == seat)

    def held_by(self, actor: str) -> tuple[str, ...]:
        """Return what an actor holds off its seat."""
        return tuple(name for name, state in self.states.items() if state.where == "held" and actor in state.hands)

    def brought_by(self, who: str) -> tuple[str, ...]:
        """Return what goes where a person goes: what is in the hands, and what trails on the person's tether."""
        return (*self.held_by(who), *self.trailing(who))

    def trailing(self, who: str) -> tuple[str, ...]:
        """Return what trails on a person's tether, in nobody's hands."""
        loose = ((name, state) for name, state in self.states.items() if state.where == "held" and not state.hands)
        return tuple(name for name, state in loose if who in state.tethers)

    def hands_needed(self, item: str) -> int:
        """Return how many hands of each of its holders an item takes: one on it in its seat, else its hold shared."""
        state = self.states[item]
        return 1 if state.where != "held" else max(ceil(self.items[item].hands / max(len(state.hands), 1)), 1)

    def occupant(self, restraint: str) -> str:
        """Return who stands in a restraint, empty for nobody."""
        return next((name for name, person in self.people.items() if person.restraint == restraint), "")

    def on_arm(self, restraint: str) -> bool:
        """Tell whether a restraint is on the arm: in its tip socket, or held by it; the arm itself is."""
        if restraint == ARM:
            return True
        state = self.states.get(restraint)
        return state is not None and (state.seat == TIP_SOCKET or (state.where == "held" and ARM in state.hands))

    def cart_of(self, what: str) -> str:
        """Return the cart of the platform that something stands on, directly or on what sits there; empty for none."""
        seat = self.states[what].seat if what in self.states else ""
        own = self.seats[seat].cart if seat in self.seats else ""
        return own or (self.cart_of(seat.split("/", 1)[0]) if "/" in seat else "")

    def restraints(self) -> tuple[str, ...]:
        """Return all restraints, those on the arm first."""
        known = [name for name, rule in self.items.items() if rule.restraint]
        return tuple(sorted(known, key=lambda name: not self.on_arm(name)))

    def riders(self) -> tuple[str, ...]:
        """Return who stands in a restraint on the arm."""
        return tuple(name for name, person in self.people.items() if self.on_arm(person.restraint))

    def tethers(self) -> Iterator[tuple[str, str, float]]:
        """Yield every tether: what is tethered, to what, its length in m."""
        for name, state in self.states.items():
            for to in sorted(state.tethers):
                yield name, to, self.lengths.get((name, to), self.asked.tether_m)
        for name, person in self.people.items():
            for to in sorted(person.tethers):
                yield name, to, self.lengths.get((name, to), self.asked.safety_tether_m)


@dataclass(frozen=True)
class Act:
    """One thing done at one instant.

    Attributes:
        step: the step of the day, or the carry, that it is part of.
        kind: ``carry`` begins and ``arrive`` ends a motion of the arm, ``grip`` begins and ``hand_over`` ends that
            somebody takes an item over, ``go_out`` begins and ``out`` ends a passage
            of the hatch outwards, ``go_in`` and ``in`` one inwards, ``set_off`` and ``come`` a way along
            handrails, ``climb_in`` and ``get_in``, ``climb_out`` and ``get_out`` a change of restraint; the rest are
            kinds of steps.
        to: receiver, seat, place or tether anchor.
        at: worksite where the step says it is done.
        whose: restraint, cart or appendage it is about.
        yields: who is out of the restraint by the time the step ends.
        torque_n_m, turns: of bolts, 0 where none is stated.
        length_m: of a tether, 0 where none is stated; ``reel``: it is on one.
        start_s, end_s: of the step.
        time_s: of the act itself.
    """

    step: str
    kind: str
    actors: tuple[str, ...]
    item: str = ""
    to: str = ""
    fastener: str = ""
    make: str = ""
    count: int = 0
    time_s: float = 0.0
    at: str = ""
    whose: str = ""
    tool: str = ""
    yields: tuple[str, ...] = ()
    length_m: float = 0.0
    reel: bool = False
    torque_n_m: float = 0.0
    turns: float = 0.0
    start_s: float = 0.0
    end_s: float = 0.0
