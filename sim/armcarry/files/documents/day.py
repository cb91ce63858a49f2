"""The day part of a scenario: who does what, for how long, and which step waits for which."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from armcarry.files.documents.base import FullName, Length, Name, Part, Speed, Text, Time
from armcarry.files.documents.relaxation import Relaxation, StepRelaxation

STEP_KINDS = (
    "translate", "fit_restraint", "enter_restraint", "leave_restraint", "carry", "steady", "take", "hand_over",
    "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover", "move_cart", "move_base",
    "inspect", "wait_for", "note",
)
#: kinds whose time follows from the motion, a path, a count, or from what is waited for
TIMED_BY_ITSELF = ("carry", "translate", "bolt", "connect", "wait_for")
ARM = "arm"


class Takes(Part):
    """A duration told at three points; a plain time stands for three equal ones."""

    least: Time
    likely: Time
    most: Time

    @model_validator(mode="after")
    def _in_order(self) -> Takes:
        if not 0 <= self.least <= self.likely <= self.most:
            raise ValueError("a duration needs 0 <= least <= likely <= most")
        return self


class Translate(Part):
    """A worker goes along the handrails to a worksite, the airlock or a frame."""

    to: FullName
    start: FullName | None = Field(default=None, alias="from", description="default: where the worker is")
    speed: Speed | None = Field(default=None, description="default: the crew model's translation speed")


class Nothing(Part):
    """A step that needs no more to be said; write ``{}``."""


class LeaveRestraint(Part):
    """A rider climbs out, onto a worksite or a handrail."""

    to: FullName | None = Field(default=None, description="default: where the arm is")


class Item(Part):
    """What a hand does something to."""

    what: Name


class HandOver(Item):
    """One holder gives an item to another."""

    to: Name


class Seating(Item):
    """An item is put into a seat of the platform."""

    into: Name
    station: Length | None = Field(default=None, description="where on the rail, for the seat of a cart")


class Bolt(Item):
    """Bolts are turned, a count of them, each taking a time."""

    count: Annotated[int, Field(ge=1)]
    each: Time | Takes | None = None
    make: Literal["tight", "loose"]
    fastener: Name | None = Field(default=None, description="bolts of the item itself; default those of its seat")


class Connect(Item):
    """Connectors are joined or parted."""

    count: Annotated[int, Field(ge=1)] = 1
    each: Time | Takes | None = None
    make: Literal["joined", "parted"]
    fastener: Name | None = Field(default=None, description="a connector of the item itself; default its seat's")


class Lock(Item):
    """A lock of an item is closed or opened."""

    fastener: Name


class FoldCover(Lock):
    """A cover of an item is folded open or closed."""

    make: Literal["open", "closed"] = "open"


class MoveCart(Part):
    """A cart is pushed along the rail. One that is lifted off is taken and seated like other hardware."""

    cart: Name
    to: Length


class MoveBase(Part):
    """The trolley under the arm rolls to another station."""

    to: Length


class WaitFor(Part):
    """Waiting: for an instant, for steps of others, or for something outside."""

    until: Time | None = Field(default=None, description="from the start of the day")
    steps: list[Name] = Field(default_factory=list)
    what: Text = ""

    @model_validator(mode="after")
    def _something(self) -> WaitFor:
        if self.until is None and not self.steps and not self.what:
            raise ValueError("wait_for needs at least one of: until, steps, what")
        return self


class AsTimePermits(Part):
    """A step that is left out when it does not fit; a higher priority number goes first."""

    priority: Annotated[int, Field(ge=1)] = 1
    start_by: Time | None = Field(default=None, description="left out when it cannot begin by then")
    drops_with: list[Name] = Field(default_factory=list, description="steps left out together with this one")


class Step(Part):
    """One step of the day: exactly one kind, its actors, its time and its links."""

    name: Name
    title: Text = ""
    actors: list[Name] = Field(min_length=1)
    at: FullName | None = Field(default=None, description="worksite where it is done")

    translate: Translate | None = None
    fit_restraint: Nothing | None = None
    enter_restraint: Nothing | None = None
    leave_restraint: LeaveRestraint | None = None
    carry: Name | None = Field(default=None, description="name of a carry of this scenario")
    steady: Item | None = Field(default=None, description="a hand is put on it while it is still fastened")
    take: Item | None = Field(default=None, description="it is lifted off its seat")
    hand_over: HandOver | None = None
    seat: Seating | None = None
    let_go: Item | None = None
    tether: Item | None = None
    untether: Item | None = None
    bolt: Bolt | None = None
    connect: Connect | None = None
    lock: Lock | None = None
    unlock: Lock | None = None
    fold_cover: FoldCover | None = None
    move_cart: MoveCart | None = None
    move_base: MoveBase | None = None
    inspect: Text | None = None
    wait_for: WaitFor | None = None
    note: Text | None = None

    takes: Takes | None = None
    after: list[Name] = Field(default_factory=list, description="begins when these have ended")
    before: list[Name] = Field(default_factory=list, description="ends before these begin")
    together_with: list[Name] = Field(default_factory=list, description="begins at the same instant as these")
    swap_places: Name | None = Field(
        default=None, description="begins together with this step of another actor; what follows waits for both; "
        "getting on may swap with getting off, if that ends no later"
    )
    as_time_permits: AsTimePermits | None = None
    relax: list[Relaxation] = Field(default_factory=list)
    fallback: Name | None = Field(default=None, description="step done instead when this one is left out or fails")

    @field_validator("takes", mode="before", json_schema_input_type=Takes | Time | None)
    @classmethod
    def _plain_time(cls, value: Any) -> Any:
        return {"least": value, "likely": value, "most": value} if isinstance(value, (str, int, float)) else value

    @property
    def kind(self) -> str:
        """Which of STEP_KINDS this step is."""
        return next(kind for kind in STEP_KINDS if getattr(self, kind) is not None)

    @property
    def item(self) -> str | None:
        """The item a hand does something to, if any."""
        what = getattr(getattr(self, self.kind), "what", None)
        return what if self.kind != "wait_for" else None

    @model_validator(mode="after")
    def _consistent(self) -> Step:
        given = [kind for kind in STEP_KINDS if getattr(self, kind) is not None]
        if len(given) != 1:
            found = ", ".join(given) or "none"
            raise ValueError(
                f"step '{self.name}' needs exactly one of: {', '.join(STEP_KINDS)}; found {found}"
            )
        if len(set(self.actors)) != len(self.actors):
            raise ValueError(f"step '{self.name}' names an actor twice: {', '.join(self.actors)}")
        if self.name in self.links():
            raise ValueError(f"step '{self.name}' links to itself")
        if self.takes is None and not self._times_itself():
            raise ValueError(f"step '{self.name}' ({self.kind}) needs takes: a time, or least, likely and most")
        if self.kind in ("carry", "move_base") and ARM not in self.actors:
            raise ValueError(f"step '{self.name}' moves the arm, so '{ARM}' must be among its actors")
        return self

    def _times_itself(self) -> bool:
        if self.kind in ("bolt", "connect"):
            return getattr(self, self.kind).each is not None
        if self.wait_for is not None:
            return self.wait_for.until is not None or bool(self.wait_for.steps)
        return self.kind in TIMED_BY_ITSELF

    def links(self) -> Iterator[str]:
        """Yield every step this one names."""
        yield from self.after
        yield from self.before
        yield from self.together_with
        if self.swap_places is not None:
            yield self.swap_places
        if self.fallback is not None:
            yield self.fallback
        if self.as_time_permits is not None:
            yield from self.as_time_permits.drops_with
        if self.wait_for is not None:
            yield from self.wait_for.steps


class Consumable(Part):
    """Something that runs out: how long it lasts, and what must be left at the end."""

    lasts: Time
    keep: Time = Field(default=0.0, description="to be left when the last step of each actor ends")
    actors: list[Name] = Field(min_length=1)
    since: Name | None = Field(default=None, description="counted from the start of this step; default of the day")


class Day(Part):
    """A day: its steps in the order each actor does them unless links say otherwise."""

    start: Time = Field(default=0.0, description="time of day at which it begins, as 7:30")
    cut_off: Time | None = Field(default=None, description="latest end, counted from the start")
    consumables: dict[Name, Consumable] = Field(default_factory=dict)
    rail_gap: Length = Field(default=0.9, description="widest gap between handrails that hands can bridge")
    rail_reach: Length = Field(default=2.0, description="farthest handrail from a worksite, measured at the hands")
    others: list[Name] = Field(default_factory=list, description="actors besides the arm and the crew")
    relax: list[StepRelaxation] = Field(
        default_factory=list, description="smaller clearances, each for named bodies while its steps last"
    )
    steps: list[Step] = Field(min_length=1)

    @model_validator(mode="after")
    def _links_exist(self) -> Day:
        names = [step.name for step in self.steps]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"two steps are named '{name}'")
        for step in self.steps:
            for link in step.links():
                _known("step", link, names, f"step '{step.name}'")
        for title, consumable in self.consumables.items():
            if consumable.since is not None:
                _known("step", consumable.since, names, f"consumable '{title}'")
        for k, relax in enumerate(self.relax, start=1):
            for name in relax.steps:
                _known("step", name, names, f"relaxation {k} of the day")
        fallbacks = [step.fallback for step in self.steps if step.fallback is not None]
        for name in fallbacks:
            if fallbacks.count(name) > 1:
                raise ValueError(f"step '{name}' is the fallback of two steps")
        return self

    def check_names(
        self, crew: Iterable[str], carries: Iterable[str], hardware: Iterable[str], carts: Iterable[str] | None = None
    ) -> None:
        """Refuse actors, carries, items and (where ``carts`` is given) carts that are not there.

        Raises:
            ValueError: which pydantic and the loader turn into an InputError.
        """
        actors, carries, hardware = [ARM, *crew, *self.others], list(carries), list(hardware)
        for step in self.steps:
            where = f"step '{step.name}'"
            for actor in step.actors:
                _known("actor", actor, actors, where)
            if step.carry is not None:
                _known("carry", step.carry, carries, where)
            if step.item is not None:
                _known("hardware", step.item, hardware, where)
            if step.hand_over is not None:
                _known("actor", step.hand_over.to, actors, where)
            if step.move_cart is not None and carts is not None:
                _known("cart", step.move_cart.cart, carts, where)
        for title, consumable in self.consumables.items():
            for actor in consumable.actors:
                _known("actor", actor, actors, f"consumable '{title}'")


def _known(kind: str, name: str, known: Iterable[str], where: str) -> None:
    known = list(known)
    if name not in known:
        from difflib import get_close_matches

        near = get_close_matches(name, known, n=1, cutoff=0.4)
        hint = f"did you mean '{near[0]}'?" if near else f"known: {', '.join(known[:12]) or 'none'}"
        raise ValueError(f"{where} names {kind} '{name}', which is not there; {hint}")
