"""The trolley and the carts over a day: what stands where on the rail, and which cart blocks which step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import ARM, Step
from armcarry.ledger.state import Page
from armcarry.timeline.base import TROLLEY, Rail, RailCart, Refusal
from armcarry.timeline.conflicts import Conflict
from armcarry.timeline.schedule import Schedule, Slot

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario


def seats_on_carts(loaded: LoadedScenario) -> dict[str, str]:
    """Return seat -> cart for seats whose frame is a cart's: the hardware in it is the cart's body."""
    platform = loaded.platform.document
    frames = {cart.body_frame: name for name, cart in platform.carts.items()}
    return {name: frames[seat.frame] for name, seat in platform.seats.items() if seat.frame in frames}


def rail_at_start(loaded: LoadedScenario, page: Page) -> Rail:
    """Return the rail at the start: the trolley if the arm stands on it, and the carts that are there."""
    return rail_with(loaded, page, loaded.scenario.base.station or 0.0, loaded.scenario.carts)


def rail_with(loaded: LoadedScenario, page: Page, trolley_m: float, carts_m: Mapping[str, float]) -> Rail:
    """Return the rail with the trolley and the carts at stations, those that are there by a page of the ledger.

    A cart whose seat is empty is only a place on the rail and takes up no room.
    """
    platform, script = loaded.platform.document, loaded.scenario
    joints = {joint.name: joint for joint in loaded.platform.model.joints}
    mount = platform.mounts[script.base.mount]
    ends, trolley = [], None
    if mount.joint is not None:
        trolley = RailCart(trolley_m, mount.half_length)
        ends.append((joints[mount.joint], mount.half_length))
    ends += [(joints[cart.joint], cart.half_length) for cart in platform.carts.values()]
    lower = min((joint.lower - half for joint, half in ends), default=0.0)
    upper = max((joint.upper + half for joint, half in ends), default=0.0)
    seats = {cart: seat for seat, cart in seats_on_carts(loaded).items()}
    carts = {
        name: RailCart(carts_m.get(name, 0.0), cart.half_length)
        for name, cart in platform.carts.items()
        if name not in seats or page.in_seat(seats[name])
    }
    away = {name: cart.half_length for name, cart in platform.carts.items() if name not in carts}
    return Rail(lower, upper, trolley, carts, away)


def rail_conflicts(loaded: LoadedScenario, day: Day, schedule: Schedule, page: Page) -> tuple[Conflict, ...]:
    """Walk through the scheduled day and return what the rail does not allow, in the order of time.

    A carry is flown from the trolley's station; where the trolley was refused to go there, so is the carry.

    Args:
        page: of the ledger at the start of the day.
    """
    walk = _RailWalk(loaded, rail_at_start(loaded, page), page)
    steps = {step.name: step for step in day.steps}
    for pair in walk.rail.overlaps():
        walk.found.append(
            Conflict("rail", "start", pair[0], f"{pair[0]} and {pair[1]} stand on the same stretch of rail",
                     f"choose another station for {pair[0]} or {pair[1]}", 0.0, 0.0)
        )
    for slot in sorted(schedule.slots, key=lambda slot: (slot.start_s, slot.end_s)):
        walk.do(steps[slot.name], slot)
    return tuple(walk.found)


class _RailWalk:
    def __init__(self, loaded: LoadedScenario, rail: Rail, page: Page) -> None:
        self.rail, self.found = rail, list[Conflict]()
        self.cart_of_seat = seats_on_carts(loaded)
        self.cart_of_item = {
            item: self.cart_of_seat[state.seat]
            for item, state in page.states.items()
            if state.seat in self.cart_of_seat
        }
        self.refused: Refusal | None = None

    def do(self, step: Step, slot: Slot) -> None:
        if step.move_base is not None and self.rail.trolley is not None:
            self.rail, self.refused = self.rail.roll(TROLLEY, step.move_base.to)
            self.tell(slot, ARM, self.refused)
        elif step.move_cart is not None:
            self.push(step.move_cart.cart, step.move_cart.to, slot, step.actors[0])
        elif step.take is not None and step.take.what in self.cart_of_item:
            cart = self.cart_of_item.pop(step.take.what)
            if cart in self.rail.carts:
                self.rail = self.rail.lift(cart)
        elif step.seat is not None and step.seat.into in self.cart_of_seat:
            self.put_down(step.seat.what, self.cart_of_seat[step.seat.into], step.seat.station, slot, step.actors[0])
        elif step.carry is not None and self.refused is not None:
            why = replace(self.refused, what=f"the base for {slot.name}")
            self.tell(slot, ARM, why)

    def push(self, cart: str, to_m: float, slot: Slot, actor: str) -> None:
        if cart in self.rail.carts:
            self.rail, refusal = self.rail.roll(cart, to_m)
            self.tell(slot, actor, refusal)
        else:
            self.found.append(
                Conflict("rail", slot.name, actor, f"{cart} is pushed in {slot.name} while it is not on the rail",
                         f"set {cart} down on the rail before {slot.name}", slot.start_s, slot.end_s)
            )

    def put_down(self, item: str, cart: str, station: float | None, slot: Slot, actor: str) -> None:
        if cart in self.rail.lifted and station is not None:
            self.rail, refusal = self.rail.set_down(cart, station)
            self.tell(slot, actor, refusal)
        elif station is None:
            self.found.append(
                Conflict("rail", slot.name, actor, f"{slot.name} puts {item} on the rail without saying where",
                         "state the station", slot.start_s, slot.end_s)
            )
        self.cart_of_item[item] = cart

    def tell(self, slot: Slot, actor: str, refusal: Refusal | None) -> None:
        if refusal is not None:
            blocker = "the end of the rail" if refusal.blocked_by == "rail_end" else refusal.blocked_by
            self.found.append(
                Conflict("rail", slot.name, actor, refusal.message,
                         f"choose a station this side of {blocker}, or move it before {slot.name}",
                         slot.start_s, slot.end_s)
            )
