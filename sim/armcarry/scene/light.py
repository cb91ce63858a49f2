"""Where the sun stands: its direction from the date, the platform's place on its orbit, day and night.

No data file is needed. The sun's place is the low-precision series of the Astronomical Almanac as given by
Vallado, *Fundamentals of Astrodynamics and Applications*, algorithm 29: good to 0.01 deg from 1950 to 2050.
The orbit is circular with the secular drift of node and argument by the Earth's flattening (J2); over a
working day it leaves the true track by some kilometres along the way, that is by about a second of night's
onset. UT1, UTC and dynamical time are taken as one (under 70 s apart, 0.001 deg of the sun).

Frames: ``equator`` is the mean equator and equinox of date, x to the equinox, z to the pole. ``local`` moves
with the platform: x along the way it flies, z away from the Earth, y along the orbit's normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array

EARTH_RADIUS_M = 6378137.0  # equatorial, WGS 84
EARTH_MU_M3_S2 = 3.986004418e14
EARTH_J2 = 1.08262668e-3
SUN_RADIUS_M = 696.0e6
ASTRONOMICAL_UNIT_M = 149597870700.0
_J2000 = 2451545.0
_DAY_S = 86400.0


def julian_date(moment: datetime) -> float:
    """Return the Julian date of an instant.

    Raises:
        ValueError: the instant has no offset from UTC.
    """
    if moment.tzinfo is None:
        raise ValueError("an instant needs its offset from UTC")
    since = moment.astimezone(UTC) - datetime(2000, 1, 1, 12, tzinfo=UTC)
    return _J2000 + since.total_seconds() / _DAY_S


def sun_position_m(julian_days: ArrayLike) -> Array:
    """Return the sun (..., 3) in the equator frame, metres from the Earth's centre (Vallado, algorithm 29)."""
    centuries = (np.asarray(julian_days, dtype=float) - _J2000) / 36525.0
    mean_longitude_deg = 280.460 + 36000.770 * centuries
    anomaly = np.radians(357.5277233 + 35999.05034 * centuries)
    longitude = np.radians(
        mean_longitude_deg + 1.914666471 * np.sin(anomaly) + 0.019994643 * np.sin(2 * anomaly)
    )
    obliquity = np.radians(23.439291 - 0.0130042 * centuries)
    range_au = 1.000140612 - 0.016708617 * np.cos(anomaly) - 0.000139589 * np.cos(2 * anomaly)
    unit = np.stack(
        [np.cos(longitude), np.cos(obliquity) * np.sin(longitude), np.sin(obliquity) * np.sin(longitude)], axis=-1
    )
    return np.asarray(unit * (range_au * ASTRONOMICAL_UNIT_M)[..., None])


@dataclass(frozen=True)
class CircularOrbit:
    """A circular orbit under the Earth's flattening.

    Attributes:
        radius_m: from the Earth's centre.
        inclination_rad, node_rad, argument_rad: at the epoch, equator frame; argument from the node to the platform.
        epoch_julian_days: the epoch.
    """

    radius_m: float
    inclination_rad: float
    node_rad: float
    argument_rad: float
    epoch_julian_days: float

    @property
    def mean_motion_rad_s(self) -> float:
        """Rate of a circular orbit of this radius without flattening."""
        return float(np.sqrt(EARTH_MU_M3_S2 / self.radius_m**3))

    @property
    def period_s(self) -> float:
        """Time of one turn without flattening."""
        return float(2 * np.pi / self.mean_motion_rad_s)

    @property
    def node_rate_rad_s(self) -> float:
        """Drift of the node by J2: -3/2 J2 (R/r)^2 n cos i, n with its own J2 term (Vallado, sec. 9.6)."""
        return float(-1.5 * self._flattening * self._perturbed_rad_s * np.cos(self.inclination_rad))

    @property
    def argument_rate_rad_s(self) -> float:
        """Rate from node to node: the mean anomaly's plus the perigee's, 3/4 J2 (R/r)^2 n (4 - 5 sin^2 i)."""
        perigee = 0.75 * self._flattening * (4.0 - 5.0 * np.sin(self.inclination_rad) ** 2)
        return float(self._perturbed_rad_s * (1.0 + perigee))

    @property
    def _flattening(self) -> float:
        return EARTH_J2 * (EARTH_RADIUS_M / self.radius_m) ** 2

    @property
    def _perturbed_rad_s(self) -> float:
        """Rate of the mean anomaly: n (1 + 3/4 J2 (R/r)^2 (2 - 3 sin^2 i))."""
        lean = 2.0 - 3.0 * np.sin(self.inclination_rad) ** 2
        return float(self.mean_motion_rad_s * (1.0 + 0.75 * self._flattening * lean))

    def node_at(self, time_s: ArrayLike) -> Array:
        """Return the node (...) in radians, time_s (...) after the epoch."""
        return np.asarray(self.node_rad + self.node_rate_rad_s * np.asarray(time_s, dtype=float))

    def normal(self, time_s: ArrayLike) -> Array:
        """Return the unit normal of the orbit (..., 3), equator frame."""
        node = self.node_at(time_s)
        s, c = np.sin(self.inclination_rad), np.cos(self.inclination_rad)
        return np.stack([s * np.sin(node), -s * np.cos(node), np.full(node.shape, c)], axis=-1)

    def R_equator_local(self, time_s: ArrayLike) -> Array:
        """Return rotations (..., 3, 3) that take local coordinates to the equator frame."""
        time = np.asarray(time_s, dtype=float)
        node = self.node_at(time)
        argument = self.argument_rad + self.argument_rate_rad_s * time
        to_node = np.stack([np.cos(node), np.sin(node), np.zeros(node.shape)], axis=-1)
        normal = self.normal(time)
        ahead = np.cross(normal, to_node)
        up = np.cos(argument)[..., None] * to_node + np.sin(argument)[..., None] * ahead
        return np.stack([np.cross(normal, up), normal, up], axis=-1)

    def position_m(self, time_s: ArrayLike) -> Array:
        """Return the platform (..., 3) in the equator frame, metres from the Earth's centre."""
        return np.asarray(self.radius_m * self.R_equator_local(time_s)[..., :, 2])

    def sun_position_m(self, time_s: ArrayLike) -> Array:
        """Return the sun (..., 3) in the equator frame, time_s (...) after the epoch."""
        return sun_position_m(self.epoch_julian_days + np.asarray(time_s, dtype=float) / _DAY_S)

    def beta_rad(self, time_s: ArrayLike) -> Array:
        """Return the angle (...) of the sun out of the orbit's plane, towards the normal positive."""
        sun = _unit(self.sun_position_m(time_s))
        return np.asarray(np.arcsin(np.clip(np.sum(self.normal(time_s) * sun, axis=-1), -1.0, 1.0)))


def sun_share(position_m: ArrayLike, sun_m: ArrayLike) -> Array:
    """Return how much of the sun's disc (...) shows past the Earth: 1 in full sun, 0 in the core shadow.

    Discs as seen from position_m (..., 3), overlap of two circles on a plane
    (Montenbruck and Gill, *Satellite Orbits*, sec. 3.4.2). Air is left out.
    """
    position = np.asarray(position_m, dtype=float)
    to_sun = np.asarray(sun_m, dtype=float) - position
    sun_range, earth_range = np.linalg.norm(to_sun, axis=-1), np.linalg.norm(position, axis=-1)
    sun = np.arcsin(np.minimum(SUN_RADIUS_M / sun_range, 1.0))
    earth = np.arcsin(np.minimum(EARTH_RADIUS_M / earth_range, 1.0))
    apart = angle_between_rad(-position, to_sun)
    with np.errstate(invalid="ignore", divide="ignore"):
        x = (apart**2 + sun**2 - earth**2) / (2 * apart)
        y = np.sqrt(np.maximum(sun**2 - x**2, 0.0))
        hidden = (
            sun**2 * np.arccos(np.clip(x / sun, -1, 1))
            + earth**2 * np.arccos(np.clip((apart - x) / earth, -1, 1))
            - apart * y
        )
    share = 1.0 - hidden / (np.pi * sun**2)
    share = np.where(apart >= sun + earth, 1.0, share)
    share = np.where(apart <= earth - sun, 0.0, share)
    return np.where(apart <= sun - earth, 1.0 - (earth / sun) ** 2, share)


def angle_between_rad(a: ArrayLike, b: ArrayLike) -> Array:
    """Return the angle (...) between vectors (..., 3), stable near 0 and pi (Kahan)."""
    u, v = _unit(np.asarray(a, dtype=float)), _unit(np.asarray(b, dtype=float))
    return np.asarray(2 * np.arctan2(np.linalg.norm(u - v, axis=-1), np.linalg.norm(u + v, axis=-1)))


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))
