"""The steps of a day: what each kind of step says, its time and its links."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, field_validator, model_validator

from armcarry.files.documents.base import FullName, Length, Name, Part, Quantity, Speed, Text, Time
from armcarry.files.documents.relaxation import Relaxation

STEP_KINDS = (
    "translate", "fit_restraint", "enter_restraint", "leave_restraint", "carry", "steady", "take", "hand_over",
    "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover", "move_cart", "move_base",
    "inspect", "wait_for", "note",
)
#: kinds whose time follows from the motion, a path, a count, or from what is waited for
TIMED_BY_ITSELF = ("carry", "translate", "bolt", "connect", "wait_for")
ARM = "arm"
#: the place where workers come out, as steps name it
AIRLOCK = "airlock"
Count = Annotated[int, Field(ge=1, le=1000)]


class Takes(Part):
    """A duration told at three points; a plain time stands for three equal ones."""

    least: Time = Field(description="shortest it may take", examples=["8 min"])
    likely: Time = Field(description="what it most likely takes", examples=["10 min"])
    most: Time = Field(description="longest it may take", examples=["15 min"])

    @model_validator(mode="after")
    def _in_order(self) -> Takes:
        if not 0 <= self.least <= self.likely <= self.most:
            raise ValueError("a duration needs 0 <= least <= likely <= most")
        return self


class Translate(Part):
    """A worker goes along the handrails to a worksite, the airlock or a frame."""

    to: FullName = Field(description="worksite, airlock, or a frame", examples=["porch"])
    start: FullName | None = Field(
        default=None, alias="from", description="where from; left out, where the worker is", examples=["airlock"]
    )
    speed: Speed | None = Field(
        default=None, description="how fast; left out, the crew model's translation speed", examples=["0.1 m/s"]
    )


class Nothing(Part):
    """A step that needs no more to be said; write ``{}``."""


class LeaveRestraint(Part):
    """A rider climbs out, onto a worksite or a handrail."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"to": "porch"}

    to: FullName | None = Field(
        default=None, description="worksite or frame; left out, where the arm is", examples=["porch"]
    )


class Item(Part):
    """What a hand does something to."""

    what: Name = Field(description="item of hardware", examples=["pump_box"])


class Tether(Part):
    """A tether is hooked or unhooked: that of an item, or without ``what`` the actors' own safety tethers."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box"}

    what: Name | None = Field(
        default=None, description="item of hardware; left out, the actors themselves", examples=["pump_box"]
    )
    to: FullName | None = Field(
        default=None,
        description="person, restraint, item, handrail or frame it is hooked to; left out, the actor, for an item",
        examples=["porch_rail"],
    )
    length: Annotated[float, Quantity("length", "1.5 m", "0 m", "100 m", above=True)] | None = Field(
        default=None, description="how long it is; left out, as the rules say"
    )

    @model_validator(mode="after")
    def _something(self) -> Tether:
        if self.what is None and self.to is None:
            raise ValueError("a tether needs at least one of: what (an item), to (where a person's own is hooked)")
        return self


class HandOver(Item):
    """One holder gives an item to another."""

    to: Name = Field(description="actor who takes it", examples=["ev2"])


class Seating(Item):
    """An item is put into a seat of the platform."""

    into: Name = Field(description="seat of the platform", examples=["bay_7_seat"])
    station: Length | None = Field(
        default=None, description="where on the rail, for the seat of a cart", examples=["-14.2 m"]
    )


class Bolt(Item):
    """Bolts are turned, a count of them, each taking a time."""

    count: Count = Field(description="how many", examples=[4])
    each: Time | Takes | None = Field(
        default=None, description="time of one; left out, takes says what all of them take", examples=["80 s"]
    )
    make: Literal["tight", "loose"] = Field(description="what they become", examples=["loose"])
    fastener: Name | None = Field(
        default=None, description="bolts of the item itself; left out, those of its seat", examples=["lid_bolts"]
    )


class Connect(Item):
    """Connectors are joined or parted."""

    count: Count = Field(default=1, description="how many", examples=[2])
    each: Time | Takes | None = Field(
        default=None, description="time of one; left out, takes says what all of them take", examples=["2 min"]
    )
    make: Literal["joined", "parted"] = Field(description="what they become", examples=["parted"])
    fastener: Name | None = Field(
        default=None, description="a connector of the item itself; left out, its seat's", examples=["power_plug"]
    )


class Lock(Item):
    """A lock of an item is closed or opened."""

    fastener: Name = Field(description="lock or cover of the item", examples=["pan_lock"])


class FoldCover(Lock):
    """A cover of an item is folded open or closed."""

    make: Literal["open", "closed"] = Field(default="open", description="what it becomes", examples=["closed"])


class MoveCart(Part):
    """A cart is pushed along the rail. One that is lifted off is taken and seated like other hardware."""

    cart: Name = Field(description="cart of the platform", examples=["cart_1"])
    to: Length = Field(description="station along the rail", examples=["-14.2 m"])


class MoveBase(Part):
    """The trolley under the arm rolls to another station."""

    to: Length = Field(description="station along the rail", examples=["3.5 m"])


class WaitFor(Part):
    """Waiting: for an instant, for steps of others, or for something outside."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"until": "2:30"}

    until: Time | None = Field(default=None, description="from the start of the day", examples=["2:30"])
    steps: list[Name] = Field(
        default_factory=list, description="steps that must have ended", examples=[["box_in_place"]]
    )
    what: Text = Field(default="", description="what is waited for, in words", examples=["go from the ground"])

    @model_validator(mode="after")
    def _something(self) -> WaitFor:
        if self.until is None and not self.steps and not self.what:
            raise ValueError("wait_for needs at least one of: until, steps, what")
        return self


class AsTimePermits(Part):
    """A step that is left out when it does not fit; a higher priority number is kept longer."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"priority": 3, "start_by": "4:00"}

    priority: Count = Field(default=1, description="a higher number is kept longer", examples=[3])
    start_by: Time | None = Field(default=None, description="left out when it cannot begin by then", examples=["4:00"])
    drops_with: list[Name] = Field(
        default_factory=list, description="steps left out together with this one", examples=[["photos"]]
    )


class Step(Part):
    """One step of the day: exactly one kind, its actors, its time and its links."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"name": "photos", "actors": ["ev1"], "note": "photographs", "takes": "5 min"}

    name: Name = Field(description="name to speak of it by, once in a day", examples=["unbolt"])
    title: Text = Field(default="", description="what it is, for tables", examples=["Four bolts out"])
    actors: list[Name] = Field(min_length=1, description="who does it: crew, arm, others", examples=[["ev1", "arm"]])
    at: FullName | None = Field(default=None, description="worksite where it is done", examples=["bay_7"])

    translate: Translate | None = Field(default=None, description="a worker goes along the handrails")
    fit_restraint: Nothing | None = Field(
        default=None, description="the restraint is fitted to the arm's tip", examples=[{}]
    )
    enter_restraint: Nothing | None = Field(
        default=None, description="a worker steps into the restraint", examples=[{}]
    )
    leave_restraint: LeaveRestraint | None = Field(default=None, description="a rider climbs out")
    carry: Name | None = Field(
        default=None, description="name of a carry of this scenario", examples=["box_to_bay_7"]
    )
    steady: Item | None = Field(default=None, description="a hand is put on it while it is still fastened")
    take: Item | None = Field(default=None, description="it is lifted off its seat")
    hand_over: HandOver | None = Field(default=None, description="one holder gives it to another")
    seat: Seating | None = Field(default=None, description="it is put into a seat of the platform")
    let_go: Item | None = Field(default=None, description="the hand leaves it, in its seat")
    tether: Tether | None = Field(default=None, description="a tether of an item or a person is hooked")
    untether: Tether | None = Field(default=None, description="it is unhooked")
    bolt: Bolt | None = Field(default=None, description="bolts are turned")
    connect: Connect | None = Field(default=None, description="connectors are joined or parted")
    lock: Lock | None = Field(default=None, description="a lock is closed")
    unlock: Lock | None = Field(default=None, description="a lock is opened")
    fold_cover: FoldCover | None = Field(default=None, description="a cover is folded open or closed")
    move_cart: MoveCart | None = Field(default=None, description="a cart is pushed along the rail")
    move_base: MoveBase | None = Field(default=None, description="the trolley under the arm rolls to a station")
    inspect: Text | None = Field(default=None, description="what is looked at, in words", examples=["the seals"])
    wait_for: WaitFor | None = Field(default=None, description="waiting for an instant, steps, or something outside")
    note: Text | None = Field(default=None, description="anything else, in words", examples=["photographs"])

    takes: Takes | None = Field(
        default=None,
        description="how long it takes: a time, or least, likely and most; carries, ways along handrails, counted "
        "bolts and waiting time themselves",
        examples=["10 min"],
    )
    after: list[Name] = Field(
        default_factory=list, description="begins when these have ended", examples=[["box_in_place"]]
    )
    before: list[Name] = Field(default_factory=list, description="ends before these begin", examples=[["ride_home"]])
    together_with: list[Name] = Field(
        default_factory=list, description="begins at the same instant as these", examples=[["watch"]]
    )
    swap_places: Name | None = Field(
        default=None,
        description="begins together with this step of another actor; what follows waits for both; "
        "getting on may swap with getting off, if that ends no later",
        examples=["ev1_gets_off"],
    )
    as_time_permits: AsTimePermits | None = Field(default=None, description="left out when it does not fit")
    relax: list[Relaxation] = Field(
        default_factory=list, description="smaller clearances for named bodies while this step lasts"
    )
    fallback: Name | None = Field(
        default=None, description="step done instead when this one is left out or fails", examples=["stow_box"]
    )

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
