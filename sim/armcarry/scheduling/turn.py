"""What is known when a day goes wrong, and whether a thing can be left as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from armcarry.ledger.state import ItemState, Page

#: what the rest of the day is for: everybody home, the most worth in time, or everything that must be done
Aim = Literal["home", "worth", "all"]


@dataclass(frozen=True)
class Turn:
    """What is known at an instant of a day.

    Attributes:
        at_s: the instant.
        late_s: step -> seconds that it takes longer; failed: steps that are tried and fail; unable: who works no more.
    """

    at_s: float
    late_s: Mapping[str, float] = field(default_factory=dict)
    failed: tuple[str, ...] = ()
    unable: tuple[str, ...] = ()


#: the start of a day that goes as written
NOTHING_WRONG = Turn(0.0)


def at_rest(page: Page, thing: str) -> bool:
    """Tell whether a thing can be left as it is: inside, or bolted or lying in a seat with no hands on it."""
    state: ItemState = page.states[thing]
    if state.where == "inside":
        return True
    bonds = page.seats[state.seat] if state.where == "seat" and state.seat in page.seats else None
    held = bool(state.hands or state.tethers or state.moving)
    return bonds is not None and not held and (bool(state.bolts_tight) or not bonds.bolts)
