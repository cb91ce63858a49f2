"""Moves by intent: what is meant, from which the moves of the arm follow when the script is read."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import Field

from armcarry.files.documents.base import Name, Part, Position, Time

_STRAIGHT = "come there along a straight line; left out, freely"


class Ride(Part):
    """The arm brings its rider, or its bare tip, to a worksite by the worksite's way in."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"to": "bay_7"}

    to: Name = Field(description="worksite", examples=["bay_7"])
    straight: bool = Field(default=False, description=_STRAIGHT, examples=[True])


class Fetch(Part):
    """The rider is brought to the seat of an item, unfastens it, takes it and is backed off with it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box"}

    what: Name = Field(description="item of hardware that sits in a seat", examples=["pump_box"])
    by: Name | None = Field(
        default=None, description="the rider whose hands do it; left out, the one aboard", examples=["ev1"]
    )
    takes: Time | None = Field(
        default=None, description="time to unfasten it; left out, the hardware's own", examples=["330 s"]
    )
    straight: bool = Field(default=False, description=_STRAIGHT, examples=[True])


class Place(Part):
    """What the rider holds is brought to a worksite's seat and put in, fastened, and left."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box", "at": "bay_7"}

    what: Name = Field(description="item of hardware in the rider's hands", examples=["pump_box"])
    at: Name = Field(description="worksite with a seat that accepts it", examples=["bay_7"])
    takes: Time | None = Field(
        default=None, description="time to fasten it; left out, the hardware's own", examples=["420 s"]
    )
    waits: Time = Field(
        default=0.0, description="time it is held clear of the seat before it goes in", examples=["45 s"]
    )
    straight: bool = Field(default=False, description=_STRAIGHT, examples=[True])


class Bring(Part):
    """An item is fetched from where it sits and placed at a worksite."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"what": "pump_box", "to": "bay_7"}

    what: Name = Field(description="item of hardware that sits in a seat", examples=["pump_box"])
    to: Name = Field(description="worksite with a seat that accepts it", examples=["bay_7"])
    by: Name | None = Field(
        default=None, description="the rider whose hands do it; left out, the one aboard", examples=["ev1"]
    )
    along: list[tuple[Name, Position]] = Field(
        default_factory=list,
        description="points between, passed in straight lines: worksite and where the plate is in its stand's frame",
        examples=[[["bay_7", ["-2.1 m", "3.3 m", "2.65 m"]]]],
    )
    straight: bool = Field(default=False, description="the first approach is a straight line", examples=[True])
