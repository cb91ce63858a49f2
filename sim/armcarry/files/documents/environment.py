"""The environment part of a scenario: when it is, how the platform flies, and what sun is too much."""

from __future__ import annotations

import math
from typing import Literal

from pydantic import AwareDatetime, Field, model_validator

from armcarry.files.documents.base import Angle, Length, Part, Rotation


class Orbit(Part):
    """A circular orbit at the start of the run; the node drifts by the Earth's flattening."""

    altitude: Length = Field(description="above the Earth's equatorial radius, 120 km to 2000 km")
    inclination: Angle = Field(description="0 deg to 180 deg")
    node: Angle = Field(description="right ascension of the ascending node, mean equator of date")
    argument: Angle = Field(description="angle from the node to the platform along the orbit at the start")

    @model_validator(mode="after")
    def _low_orbit(self) -> Orbit:
        if not 120e3 <= self.altitude <= 2000e3:
            raise ValueError(f"an altitude outside 120 km to 2000 km; found {self.altitude / 1e3:g} km")
        if not 0.0 <= self.inclination <= math.pi:
            raise ValueError(
                f"an inclination outside 0 deg to 180 deg; found {math.degrees(self.inclination):g} deg"
            )
        return self


class Attitude(Part):
    """How the platform is turned: fixed to the local frame or to the stars.

    The local frame: x along the way it flies, z away from the Earth, y along the orbit's normal.
    """

    holds: Literal["local", "inertial"] = "local"
    rotation: Rotation = Field(
        default=(0.0, 0.0, 0.0),
        description="fixed-axis roll, pitch, yaw of the platform in the local frame, or in the equatorial frame",
    )


class SunLimits(Part):
    """Sun that hinders: an angle from an axis of sight inside which it must not stand."""

    visor: Angle = Field(default=0.5235987755982988, description="from the visor's axis; default 30 deg")
    camera_margin: Angle = Field(
        default=0.17453292519943295, description="outside a camera's field of view; default 10 deg"
    )
    work_needs_light: bool = Field(default=False, description="work at a worksite in the dark or in shadow fails")


class Environment(Part):
    """Date, orbit and attitude: from these follow the sun's direction, day and night."""

    start: AwareDatetime = Field(
        description="UTC date and time at which the run starts, with its offset", examples=["2031-03-21T09:30:00Z"]
    )
    orbit: Orbit
    attitude: Attitude = Field(default_factory=Attitude)
    sun_limits: SunLimits = Field(default_factory=SunLimits)

    @model_validator(mode="after")
    def _near_enough_in_time(self) -> Environment:
        if not 1950 <= self.start.year <= 2050:
            raise ValueError(
                f"the sun's direction is computed for the years 1950 to 2050; found {self.start.year}"
            )
        return self
