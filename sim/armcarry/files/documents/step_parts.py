"""What each kind of step of a day needs said: of what, where to, how many, for how long."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.arm import JointSettings
from armcarry.files.documents.base import (
    Angle,
    FullName,
    Length,
    Name,
    Part,
    Position,
    Quantity,
    Speed,
    Text,
    Time,
    Torque,
    Turns,
)

Count = Annotated[int, Field(ge=1, le=1000)]
Worth = Annotated[float, Field(ge=0, le=1000000, allow_inf_nan=False)]


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


#: how long an act takes: a time, or least, likely and most
Duration = Time | Takes


def takes(least: str, likely: str, most: str) -> Takes:
    """Return a duration of texts, for defaults."""
    return Takes(least=least, likely=likely, most=most)  # type: ignore[arg-type]


class PastArm(Part):
    """Where the arm stands still while a worker goes past it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"joints": {"shoulder_turn": "40 deg"}, "station": "6 m"}

    joints: JointSettings = Field(description="joints of the arm", examples=[{"shoulder_turn": "40 deg"}])
    station: Length | None = Field(default=None, description="of its base along a rail", examples=["6 m"])


class Translate(Part):
    """A worker goes along the handrails to a worksite, the airlock or a frame."""

    to: FullName = Field(description="worksite, airlock, or a frame", examples=["porch"])
    start: FullName | None = Field(
        default=None, alias="from", description="where from; left out, where the worker is", examples=["airlock"]
    )
    speed: Speed | None = Field(
        default=None, description="how fast; left out, the crew model's translation speed", examples=["0.1 m/s"]
    )
    past: PastArm | None = Field(
        default=None, description="where the arm stands still meanwhile, which the body is turned clear of; found"
    )


class WhichRestraint(Part):
    """A restraint is put on the arm, or stepped into; ``{}`` where there is one alone."""

    EXAMPLE: ClassVar[dict[str, Any]] = {}

    which: Name | None = Field(
        default=None,
        description="restraint; left out, the one on the arm, else the first of the scenario",
        examples=["restraint"],
    )


class SetRestraint(Part):
    """A restraint is turned to other settings."""

    which: Name | None = Field(
        default=None, description="restraint; left out, that of the scenario", examples=["restraint"]
    )
    settings: dict[Name, Angle] = Field(
        min_length=1, description="adjustment -> angle, one of its steps", examples=[{"pitch": "90 deg"}]
    )


class MoveAppendage(Part):
    """A part of the platform turns to another state, by an operator's command."""

    appendage: Name = Field(description="appendage of the platform", examples=["radiator_port"])
    state: Name = Field(description="one of its states", examples=["stowed"])


class MoveVehicle(Part):
    """The vehicle goes straight to another place, turned as it is when docked."""

    to: Literal["docked"] | Position = Field(
        description="docked, or where its root goes in the dock's frame", examples=["docked"]
    )

    @property
    def goal(self) -> tuple[float, float, float]:
        """Where its root goes in the dock's frame, m."""
        return (0.0, 0.0, 0.0) if self.to == "docked" else self.to


class LeaveRestraint(Part):
    """A rider climbs out, onto a worksite or a handrail."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"to": "porch"}

    to: FullName | None = Field(
        default=None, description="worksite or frame; left out, where the arm is", examples=["porch"]
    )


class Call(Part):
    """Something is said to others, by voice: by an operator or a reader inside, or by a worker."""

    to: list[Name] = Field(min_length=1, description="actors who hear it", examples=[["ev1", "ev2"]])
    words: Text = Field(description="what is said", examples=["The arm is safe."])


class Hatch(Part):
    """The hatch is opened or closed; what is outside and has no place there must be back in when it closes."""

    make: Literal["open", "closed"] = Field(description="what it becomes", examples=["closed"])
    words: Text = Field(default="", description="what is done besides, in words", examples=["tools counted"])


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
    reel: bool = Field(
        default=False, description="it is on a reel, which takes up its slack; as one that states no length is",
        examples=[True],
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

    into: FullName = Field(
        description="seat of the platform; for a restraint a socket: arm, a worksite's socket, or hardware/socket",
        examples=["bay_7_seat"],
    )
    station: Length | None = Field(
        default=None, description="where on the rail, for the seat of a cart", examples=["-14.2 m"]
    )


class Bolt(Item):
    """Bolts are turned, a count of them, each taking a time."""

    count: Count = Field(description="how many", examples=[4])
    each: Time | Takes | None = Field(
        default=None, description="time of one; left out, takes says what all take, else the hardware's acts",
        examples=["80 s"],
    )
    make: Literal["tight", "loose"] = Field(description="what they become", examples=["loose"])
    fastener: Name | None = Field(
        default=None, description="bolts of the item itself; left out, those of its seat", examples=["lid_bolts"]
    )
    tool: Name | None = Field(
        default=None, description="item of hardware it is done with; it must be there", examples=["driver"]
    )
    torque: Torque | None = Field(
        default=None, description="how hard each is turned; left out, as the hardware says of its bolts"
    )
    turns: Turns | None = Field(
        default=None, description="turns of each; left out, as the hardware says of its bolts", examples=[6]
    )


class Connect(Item):
    """Connectors are joined or parted."""

    count: Count = Field(default=1, description="how many", examples=[2])
    each: Time | Takes | None = Field(
        default=None, description="time of one; left out, takes says what all take, else the hardware's acts",
        examples=["2 min"],
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
    """A step that is left out when it does not fit; of several the highest priority number first."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"priority": 3, "start_by": "4:00"}

    priority: Count = Field(
        default=1, description="of several the highest number is left out first, of equals the last listed",
        examples=[3],
    )
    worth: Worth = Field(
        default=1.0, description="what doing it is worth beside others, where the most worth is looked for",
        examples=[2.5],
    )
    start_by: Time | None = Field(default=None, description="left out when it cannot begin by then", examples=["4:00"])
    drops_with: list[Name] = Field(
        default_factory=list, description="steps left out together with this one", examples=[["photos"]]
    )
