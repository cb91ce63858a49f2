"""Steps of a day by intent: what is meant, from which the steps and the carries follow when the script is read."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from armcarry.files.documents.arm import JointSettings
from armcarry.files.documents.base import FullName, Length, Name, Part, Position

#: kinds from which steps follow when a script is read; none of them is left then
MEANT_KINDS = (
    "go_out", "go_in", "go", "board", "leave", "swap", "fit", "stow", "ride", "fetch", "place", "bring", "give_back",
    "take_along",
)  # fmt: skip
_BY = (
    "whose hands do it; left out, the one who rides the arm by then; somebody off the arm goes along the handrails, "
    "what they bring trails on their tether"
)
_SHIFT = "where the plate stands from the worksite's stand, in its axes: for a place beside it"
_NO_SHIFT = (0.0, 0.0, 0.0)


class ToWorksite(Part):
    """What may be said of how the arm comes to a worksite."""

    base: Length | None = Field(
        default=None,
        description="station to which the base rolls first; left out, it rolls where it must, to one that is found",
        examples=["6 m"],
    )
    pin: JointSettings = Field(
        default_factory=dict,
        description="joints held at a value where the arm waits before the worksite, to choose among its ways of "
        "taking it",
        examples=[{"shoulder_swing": "30 deg"}],
    )


class Going(Part):
    """A worker goes along the handrails."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"who": "ev1", "to": "bay_4"}

    who: Name = Field(description="crewmember", examples=["ev1"])
    to: FullName = Field(description="worksite, handrail, airlock, an item (beside it), or a frame", examples=["bay_5"])


class Board(ToWorksite):
    """The arm comes to a worksite, a worker goes there and gets into the restraint on it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"who": "ev1", "at": "porch"}

    who: Name = Field(description="crewmember", examples=["ev1"])
    at: Name = Field(description="worksite", examples=["porch"])


class Leave(ToWorksite):
    """The arm comes to a worksite and its rider gets off there."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"at": "porch"}

    who: Name | None = Field(default=None, description="crewmember; left out, the one who rides", examples=["ev1"])
    at: Name | None = Field(default=None, description="worksite; left out, where the arm is", examples=["porch"])
    to: FullName | None = Field(
        default=None, description="handrail, worksite or frame to get off to; left out, beside the restraint",
        examples=["keel_port_2"],
    )


class Swap(ToWorksite):
    """One gets off the arm, another gets on."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"off": "ev1", "on": "ev2", "at": "bay_3"}

    off: Name = Field(description="crewmember who gets off", examples=["ev1"])
    on: Name = Field(description="crewmember who gets on", examples=["ev2"])
    at: Name | None = Field(default=None, description="worksite; left out, where the arm is", examples=["bay_3"])
    to: FullName | None = Field(
        default=None,
        description="handrail, worksite or frame to get off to; left out, a handrail within reach",
        examples=["keel_port_2"],
    )
    waits: FullName | None = Field(
        default=None,
        description="handrail or frame where the other one waits; left out, where they are if that is beside the arm, "
        "else a handrail within reach",
        examples=["keel_port_4"],
    )


class Fit(ToWorksite):
    """The arm's bare tip comes to a worksite; a worker there takes the restraint, fits it to the tip and gets on."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"who": "ev1"}

    who: Name = Field(description="crewmember", examples=["ev1"])
    at: Name | None = Field(
        default=None, description="worksite where it is fitted; left out, the one with the restraint's socket",
        examples=["bay_7"],
    )
    boards: bool = Field(default=True, description="they get on at once", examples=[False])


class Stow(ToWorksite):
    """Whoever rides gets off, takes the restraint off the arm and puts it into a socket."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"into": "bay_7_socket"}

    who: Name | None = Field(default=None, description="crewmember; left out, the one who rides", examples=["ev1"])
    into: FullName | None = Field(
        default=None, description="socket that it goes into; left out, the worksite's, else where the restraint starts",
        examples=["bay_7_socket"],
    )
    at: Name | None = Field(
        default=None, description="worksite where it is done; left out, the one with that socket",
        examples=["bay_7"],
    )


class RideTo(ToWorksite):
    """The arm goes to a worksite by its way in, with its rider if it has one."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"to": "bay_7"}

    to: Name = Field(description="worksite", examples=["bay_7"])
    shift: Position = Field(default=_NO_SHIFT, description=_SHIFT, examples=[["0 m", "-2.6 m", "0 m"]])


class FetchItem(ToWorksite):
    """The rider is brought to an item, does what must be done before it is carried, and takes it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box"}

    what: Name = Field(description="item of hardware that sits in a seat", examples=["pump_box"])
    by: Name | None = Field(default=None, description=_BY, examples=["ev1"])
    at: Name | None = Field(
        default=None, description="worksite; left out, the one with the seat it is in", examples=["rail_bow"]
    )
    shift: Position = Field(default=_NO_SHIFT, description=_SHIFT, examples=[["0 m", "-2.6 m", "0 m"]])


class PlaceItem(ToWorksite):
    """What the rider holds is brought to a worksite, put into a seat, and left as its document asks."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box", "at": "bay_7"}

    what: Name = Field(description="item of hardware in the rider's hands", examples=["pump_box"])
    at: Name = Field(description="worksite", examples=["bay_7"])
    by: Name | None = Field(default=None, description=_BY, examples=["ev1"])
    seat: Name | None = Field(
        default=None, description="seat of the platform; left out, the worksite's", examples=["cart_1_seat"]
    )
    station: Length | None = Field(
        default=None, description="where on the rail, for the seat of a cart", examples=["-14.2 m"]
    )
    bolts: Annotated[int, Field(ge=0, le=1000)] | None = Field(
        default=None, description="bolts to tighten now; left out, all of them; the hands let go of it then",
        examples=[2],
    )
    shift: Position = Field(default=_NO_SHIFT, description=_SHIFT, examples=[["0 m", "-2.6 m", "0 m"]])


class BringItem(Part):
    """An item is fetched from where it sits and placed at a worksite."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box", "to": "bay_7"}

    what: Name = Field(description="item of hardware that sits in a seat", examples=["pump_box"])
    to: Name = Field(description="worksite with a seat that accepts it", examples=["bay_7"])
    by: Name | None = Field(default=None, description=_BY, examples=["ev1"])


class GiveBack(Part):
    """An item is fetched and put back into the seat in which the script has it at the start."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box"}

    what: Name = Field(description="item of hardware", examples=["pump_box"])
    by: Name | None = Field(default=None, description=_BY, examples=["ev1"])


class TakeAlong(Part):
    """A worker goes to a cart on the rail, pushes it to a station and makes fast what sits on it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"cart": "cart_1", "to": "-16.4 m", "by": "ev1"}

    cart: Name = Field(description="cart of the platform", examples=["cart_1"])
    to: Length = Field(description="station along the rail", examples=["-16.4 m"])
    by: Name = Field(description="crewmember", examples=["ev1"])
    at: FullName | None = Field(
        default=None,
        description="handrail, worksite or frame to do it from; left out, the end of a handrail nearest to the cart",
        examples=["keel_port_3"],
    )
    bolts: Annotated[int, Field(ge=0, le=1000)] = Field(
        default=0, description="bolts of what sits on it that are tightened there", examples=[2]
    )
