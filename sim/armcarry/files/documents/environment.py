"""The environment part of a scenario: when it is, how the platform flies, and what sun is too much."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import AwareDatetime, Field, model_validator

from armcarry.files.documents.base import Angle, HalfAngle, Part, Quantity, Rotation


class Orbit(Part):
    """A circular orbit at the start of the run; the node drifts by the Earth's flattening."""

    altitude: Annotated[float, Quantity("length", "630 km", "120 km", "2000 km")] = Field(
        description="above the Earth's equatorial radius"
    )
    inclination: Annotated[float, Quantity("angle", "61 deg", "0 deg", "180 deg")] = Field(
        description="angle of the orbit's plane to the equator"
    )
    node: Angle = Field(
        description="right ascension of the ascending node, mean equator of date", examples=["129 deg"]
    )
    argument: Angle = Field(
        description="angle from the node to the platform along the orbit at the start", examples=["166 deg"]
    )


class Attitude(Part):
    """How the platform is turned: fixed to the local frame or to the stars.

    The local frame: x along the way it flies, z away from the Earth, y along the orbit's normal.
    """

    EXAMPLE: ClassVar[dict[str, Any]] = {"holds": "local"}

    holds: Literal["local", "inertial"] = Field(
        default="local",
        description="local: fixed to x along the flight, z away from the Earth; inertial: fixed to the stars",
        examples=["inertial"],
    )
    rotation: Rotation = Field(
        default=(0.0, 0.0, 0.0),
        description="fixed-axis roll, pitch, yaw of the platform in the local frame, or in the equatorial frame",
        examples=[["0 deg", "0 deg", "180 deg"]],
    )


class SunLimits(Part):
    """Sun that hinders: an angle from an axis of sight inside which it must not stand."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"visor": "30 deg", "work_needs_light": True}

    visor: HalfAngle = Field(
        default=0.5235987755982988, description="from the visor's axis, inside which the sun must not stand"
    )
    camera_margin: HalfAngle = Field(
        default=0.17453292519943295,
        description="outside a camera's field of view, inside which the sun must not stand",
        examples=["10 deg"],
    )
    work_needs_light: bool = Field(
        default=False, description="work at a worksite in the dark or in shadow fails", examples=[True]
    )


class Environment(Part):
    """Date, orbit and attitude: from these follow the sun's direction, day and night."""

    start: AwareDatetime = Field(
        description="UTC date and time at which the run starts, with its offset, from 1950 to 2050",
        examples=["2031-03-21T09:30:00Z"],
    )
    orbit: Orbit = Field(description="a circular orbit at the start of the run")
    attitude: Attitude = Field(default_factory=Attitude, description="how the platform is turned")
    sun_limits: SunLimits = Field(default_factory=SunLimits, description="what sun hinders")

    @model_validator(mode="after")
    def _near_enough_in_time(self) -> Environment:
        if not 1950 <= self.start.year <= 2050:
            raise ValueError(
                f"the sun's direction is computed for the years 1950 to 2050; found {self.start.year}"
            )
        return self
