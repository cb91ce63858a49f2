"""Rooms of the platform that somebody or something must keep out of, not touch, or leave one way only."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import Name, NamePattern, Part, Position, Quantity, Rotation, Text, UrdfName
from armcarry.files.documents.zones import Nearness

#: size of a room
Size = Annotated[float, Quantity("length", "1.2 m", "0 m", "1 km", above=True)]
#: the same of an end that may be a point
EndSize = Annotated[float, Quantity("length", "1.2 m", "0 m", "1 km")]
RoomKind = Literal["keep_out", "hot", "cold", "sharp_edge", "emitter", "thruster", "way_along"]

_PEOPLE, _ALL = "rider|worker", "arm|rider|worker|hardware"


class Room(Part):
    """A convex room fixed to a frame, and what it asks of whom."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "thruster", "frame": "loft_thruster", "radius": "0.2 m", "end_radius": "1 m", "length": "4 m"
    }  # fmt: skip

    kind: RoomKind = Field(
        description="keep_out: nobody goes in; hot, cold, sharp_edge, emitter, thruster: why it is not to be touched; "
        "way_along: a box with four walls, open where its x axis leaves it, that is entered and left there alone",
        examples=["hot"],
    )
    frame: UrdfName = Field(description="frame of the platform it is fixed to, and moves with", examples=["hatch"])
    position: Position = Field(
        default=(0.0, 0.0, 0.0), description="x, y, z of its middle or beginning in that frame",
        examples=[["0 m", "0 m", "0.3 m"]],
    )
    rotation: Rotation = Field(
        default=(0.0, 0.0, 0.0), description="roll, pitch, yaw in that frame", examples=[["0 deg", "90 deg", "0 deg"]]
    )
    box: tuple[Size, Size, Size] | None = Field(
        default=None, description="its sides along x, y, z, if it is a box, about its middle",
        examples=[["1 m", "2 m", "0.5 m"]],
    )
    radius: EndSize | None = Field(
        default=None, description="of a ball about its middle; with length, of the beginning of a cylinder or cone",
        examples=["0.2 m"],
    )
    length: Size | None = Field(
        default=None, description="of a cylinder or cone, from its beginning along z", examples=["4 m"]
    )
    end_radius: EndSize | None = Field(
        default=None, description="of the end of a cone; left out, a cylinder", examples=["1 m"]
    )
    who: NamePattern | None = Field(
        default=None,
        description="of whom it is asked: classes (arm, rider, worker, hardware, appendage, vehicle) or bodies by full "
        f"name, | for or; left out, {_PEOPLE} where it is hot, cold or a sharp_edge, else {_ALL}; an item in its seat "
        "is never asked",
        examples=["rider|worker", "*/glove_*"],
    )
    at_least: Nearness = Field(
        default=0.0, description="distance to be kept from it; of way_along, from its walls", examples=["0.3 m"]
    )
    while_on: Name | None = Field(
        default=None,
        description="what it is asked for while on; on unless the scenario says switched_off; left out, always",
        examples=["loft_thruster"],
    )
    why: Text = Field(default="", description="reason, told with every finding", examples=["the heater is at 90 degC"])

    @property
    def asked_of(self) -> str:
        """The pattern of classes and bodies of whom it is asked."""
        return self.who or (_PEOPLE if self.kind in ("hot", "cold", "sharp_edge") else _ALL)

    @model_validator(mode="after")
    def _one_shape(self) -> Room:
        if (self.box is None) == (self.radius is None):
            raise ValueError("a room needs one of: box, radius")
        if self.box is not None and (self.length is not None or self.end_radius is not None):
            raise ValueError("length and end_radius go with radius, not with box")
        if self.end_radius is not None and self.length is None:
            raise ValueError("end_radius needs length")
        if self.radius is not None and max(self.radius, self.end_radius or 0.0) <= 0.0:
            raise ValueError("a room needs a radius of more than 0 m")
        if self.kind == "way_along" and self.box is None:
            raise ValueError("way_along needs box")
        return self


class SwitchedOff(Part):
    """When something that a room of the platform speaks of is off; ``{}`` is all through."""

    EXAMPLE: ClassVar[dict[str, Any]] = {}

    after: Name | None = Field(
        default=None, description="off from when this step of the day has ended; left out, from the start",
        examples=["thruster_off"],
    )
    before: Name | None = Field(
        default=None, description="on again when this step of the day begins; left out, never", examples=["thruster_on"]
    )
