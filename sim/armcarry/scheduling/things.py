"""What must be done to a thing for what else is done to it: from one state in which it can be left to the next."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from armcarry.files.documents.steps import Step
from armcarry.ledger.of_items import bolts_lacking, undeclared
from armcarry.ledger.state import ItemState, Page
from armcarry.scheduling.problem import Requires

#: file and line of a step, as words before what is said of it
Where = Callable[[str], str]


@dataclass(frozen=True, eq=False)
class Things:
    """Steps and the things that they are about.

    Attributes:
        pages: step -> everybody and everything as it finds them, in the order of the day.
        touched: step -> the things that it is about.
        to_come: the steps that have not ended.
        names: the things that are looked at.
        steps: the steps themselves; ends: everybody and everything at the end of the day as planned.
        safe: whether what was put into a seat, or bolted there, is left as hardware may be left.
    """

    pages: Mapping[str, Page]
    touched: Mapping[str, Collection[str]]
    to_come: frozenset[str]
    names: Collection[str]
    steps: Mapping[str, Step] = field(default_factory=dict)
    ends: Page | None = None
    safe: bool = False

    def required(self, where: Where) -> Iterator[Requires]:
        """Yield that what is done to a thing between two states in which it can be left is done all or not at all.

        What begins in such a state requires what brought the thing into it, unless it was so before that, too.
        """
        for thing in sorted(self.names):
            run: list[str] = []
            begun: list[tuple[tuple[object, ...], str]] = []
            for name in self._about(thing):
                if self._may_be_left(name, thing):
                    run = []
                if name not in self.to_come:
                    continue
                for other in run:
                    yield Requires(name, (other,), f"{where(name)}{thing} by {other}")
                    yield Requires(other, (name,), f"{where(other)}{thing} is not left before {name}")
                if not run:
                    state = _kept_state(self.pages[name], thing)
                    for before, first in begun:
                        if before != state:
                            yield Requires(name, (first,), f"{where(name)}{thing} is as {first} leaves it")
                    begun.append((state, name))
                run.append(name)

    @cached_property
    def half_done(self) -> frozenset[str]:
        """Steps to come without which a thing would be left half done now."""
        found = set[str]()
        for thing in sorted(self.names):
            own = self._about(thing)
            begun = any(name not in self.to_come for name in own)
            for name in own:
                if name not in self.to_come:
                    continue
                if not begun or self._may_be_left(name, thing):
                    break
                found.add(name)
        return frozenset(found)

    def _may_be_left(self, name: str, thing: str) -> bool:
        """Tell whether a thing can be left as a step finds it.

        Bolts that it lacks alone do not keep it: whoever tightens some of them at a step to come can tighten them all.
        """
        page = self.pages[name]
        if not self.safe or not at_rest(page, thing):
            return at_rest(page, thing)
        own = self._about(thing)
        before = [self.steps[one] for one in own[: own.index(name)] if self.steps[one].item == thing]
        if not any(step.kind in ("seat", "bolt") for step in before):
            return True  # nobody has touched what holds it
        if set(undeclared(page, thing)) - set(() if self.ends is None else undeclared(self.ends, thing)):
            return False
        short = bolts_lacking(page, thing) and (self.ends is None or not bolts_lacking(self.ends, thing))
        return not short or tightened_by(before, thing, self.to_come) is not None

    def _about(self, thing: str) -> list[str]:
        return [name for name in self.pages if thing in self.touched[name]]


def rail_free(steps: Sequence[Step], where: Where) -> Iterator[Requires]:
    """Yield that carts come to where others are only once these were pushed on, as the day has it."""
    pushed: list[str] = []
    for step in steps:
        if step.move_cart is not None or (step.seat is not None and step.seat.station is not None):
            for before in pushed:
                yield Requires(step.name, (before,), f"{where(step.name)}the rail is free by {before}")
        if step.move_cart is not None:
            pushed.append(step.name)


def at_rest(page: Page, thing: str) -> bool:
    """Tell whether a thing can be left as it is: inside, or bolted or lying in a seat with no hands on it."""
    state: ItemState = page.states[thing]
    if state.where == "inside":
        return True
    bonds = page.seats[state.seat] if state.where == "seat" and state.seat in page.seats else None
    held = bool(state.hands or state.tethers or state.moving)
    return bonds is not None and not held and (bool(state.bolts_tight) or not bonds.bolts)


def tightened_by(steps: Sequence[Step], thing: str, to_come: Collection[str]) -> str | None:
    """Return the last of some steps that tightens bolts of a thing in its seat, if it has not ended."""
    for step in reversed(steps):
        if step.item == thing and step.kind in ("seat", "take", "release"):
            return None
        if step.bolt is not None and step.item == thing and step.bolt.make == "tight" and step.bolt.fastener is None:
            return step.name if step.name in to_come else None
    return None


def left_short(steps: Sequence[Step], last: Page, to_come: Collection[str]) -> dict[str, int]:
    """Return step to come that tightens bolts -> how many more it has to, so that nothing is left with too few.

    Args:
        steps: those that are done, in order.
        last: everybody and everything when all of them are done.
        to_come: those that have not ended.
    """
    found = {}
    for thing in sorted(last.states):
        name = tightened_by(steps, thing, to_come)
        if name is not None and bolts_lacking(last, thing):
            found[name] = bolts_lacking(last, thing)
    return found


def _kept_state(page: Page, thing: str) -> tuple[object, ...]:
    """Return what is still so of a thing when everybody has gone: where it is, and what is fastened."""
    state: ItemState = page.states[thing]
    return state.where, state.seat, state.bolts_tight, state.connectors_joined, state.fasteners
