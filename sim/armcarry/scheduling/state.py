"""What each step of a day finds and leaves: where its people are, and which things keep it in order with others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.ledger.state import Page
from armcarry.scene.build import Scene
from armcarry.timeline.acts import MOVES_ARM, pages_before
from armcarry.timeline.situation import destinations, situation_after, situation_at_start

_RIDES = "rides "


@dataclass(frozen=True)
class Place:
    """Where somebody is: a place to go from along handrails, or on the arm as one of its moves left it."""

    name: str
    rides: bool = False

    @property
    def known(self) -> bool:
        """Whether somebody can go from here, or to here, along handrails."""
        return not self.rides and (self.name == AIRLOCK or (bool(self.name) and not self.name.startswith("?")))


@dataclass(frozen=True)
class Found:
    """A step as the day written finds it.

    Attributes:
        needs, leaves: crewmember -> place before and after; ``needs`` is missing for who comes from anywhere on foot.
        touches: things whose state the step changes (True) or counts on (False); where two touch one and either
            changes it, their order stays.
    """

    step: Step
    needs: Mapping[str, Place] = field(default_factory=dict)
    leaves: Mapping[str, Place] = field(default_factory=dict)
    touches: Mapping[str, bool] = field(default_factory=dict)

    def needed_by(self, who: str) -> Place | None:
        """Return where somebody has to be for it; None for anywhere on foot.

        Whoever does it for another stands at its worksite, or where the other stood.
        """
        if self.step.translate is not None:
            return self.needs.get(who)
        if who in self.needs or not self.needs:
            return self.needs.get(who)
        return Place(self.step.at) if self.step.at is not None else next(iter(self.needs.values()))

    def left_by(self, who: str) -> Place:
        """Return where somebody is after it."""
        if who in self.leaves:
            return self.leaves[who]
        needed = self.needed_by(who)
        return next(iter(self.leaves.values())) if needed is None else needed


def found_by(scene: Scene, steps: Sequence[Step]) -> tuple[Found, ...]:
    """Return what steps find and leave, done in the order given."""
    loaded = scene.loaded
    now, goes_to, pages = situation_at_start(loaded), destinations(loaded), pages_before(loaded, steps)
    arm, found = "start", list[Found]()
    for step in steps:
        page = pages[step.name]
        after = situation_after(now, step, goes_to)
        crew = [actor for actor in step.actors if actor in loaded.crew]
        stands = f"{step.name}" if step.kind in MOVES_ARM else arm
        riders = page.riders()
        needs = {who: Place(_RIDES + arm, True) if who in riders else _at(now.place(who), who) for who in crew}
        leaves = {}
        for who in crew:
            rides = (who in riders and step.leave_restraint is None) or step.enter_restraint is not None
            leaves[who] = Place(_RIDES + stands, True) if rides else _at(after.place(who), f"{who} {step.name}")
        if step.translate is not None:
            needs = {who: place for who, place in needs.items() if place.rides or not place.known}
        found.append(Found(step, needs, leaves, _touches(step, page)))
        now, arm = after, stands
    return tuple(found)


def begins_at(scene: Scene) -> dict[str, Place]:
    """Return where everybody is at the start."""
    now = situation_at_start(scene.loaded)
    return {
        who: Place(f"{_RIDES}start", True) if who in now.riders else _at(now.place(who), who)
        for who in scene.loaded.crew
    }


def _at(place: str | None, who: str) -> Place:
    return Place(place or f"?{who}")


def _touches(step: Step, page: Page) -> dict[str, bool]:
    """Return the things a step changes (True) or counts on (False)."""
    touched: dict[str, bool] = {}
    if step.kind in MOVES_ARM or step.kind in ("enter_restraint", "leave_restraint", "fit_restraint", "set_restraint"):
        touched["the arm"] = True
    if step.kind == "move_base":
        touched["the rail"] = True
    if step.item is not None and step.kind not in ("inspect", "note"):
        touched[step.item] = True
        state = page.states.get(step.item)
        if state is not None and state.seat:
            touched[state.seat] = True
    if step.seat is not None:
        touched[step.seat.into] = True
        if step.seat.station is not None:
            touched["the rail"] = True
    if step.move_cart is not None:
        touched["the rail"] = True
        touched |= dict.fromkeys(_on_cart(page, step), True)
    if step.bolt is not None and step.bolt.tool is not None:
        touched.setdefault(step.bolt.tool, False)
    if step.kind == "carry" and ARM in step.actors:
        for who in (ARM, *page.riders()):
            touched |= dict.fromkeys(page.brought_by(who), True)
        touched |= {f"{name} (of the platform)": False for name in ("appendages", "vehicle")}
    if step.move_appendage is not None:
        touched["appendages (of the platform)"] = True
    if step.move_vehicle is not None:
        touched["vehicle (of the platform)"] = True
    through = step.translate is not None and (
        step.translate.to == AIRLOCK or any(page.people[who].inside for who in step.actors if who in page.people)
    )
    if step.hatch is not None or through:
        touched["the hatch"] = True
    for who in step.actors:  # what hands hold, and what is hooked to somebody, goes with them
        if step.translate is not None and who in page.people:
            touched |= dict.fromkeys(page.brought_by(who), True)
    return touched


def _on_cart(page: Page, step: Step) -> list[str]:
    cart = "" if step.move_cart is None else step.move_cart.cart
    return [name for name, state in page.states.items() if state.seat.startswith(cart) and cart]
