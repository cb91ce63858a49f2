"""The sky over a run: the sun's direction in the platform's frame, and when it is day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from armcarry.files.documents.environment import Environment
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.scene.light import EARTH_RADIUS_M, CircularOrbit, julian_date, sun_share

T = TypeVar("T")
Light = Literal["day", "twilight", "night"]
#: no change of light is missed that lasts longer than this; the shortest twilight is about 8 s
_STEP_S = 4.0


@dataclass(frozen=True)
class LightSpan:
    """A stretch of one light: day shows the whole disc of the sun, night none of it."""

    light: Light
    start_s: float
    end_s: float


class Seen(NamedTuple):
    """The sky over a platform at instants (...).

    Attributes:
        sun: unit vectors (..., 3) from the platform to the sun, in the platform's frame.
        share: how much of the sun's disc (...) shows.
        place_m: the platform (..., 3) in the equator frame, from the Earth's centre.
        R_equator_platform: rotations (..., 3, 3) that take platform coordinates to the equator frame.
    """

    sun: Array
    share: Array
    place_m: Array
    R_equator_platform: Array


@dataclass(frozen=True, eq=False)
class Sky:
    """Sun and shadow over a run that starts at the orbit's epoch.

    Attributes:
        turned: rotation (3, 3), platform coordinates to local ones, or to the equator frame if ``inertial``.
    """

    orbit: CircularOrbit
    turned: Array
    inertial: bool

    def at(self, time_s: ArrayLike) -> Seen:
        """Return where everything in the sky is."""
        local = self.orbit.R_equator_local(time_s)
        turned = np.broadcast_to(self.turned, local.shape) if self.inertial else np.asarray(local @ self.turned)
        place, sun = np.asarray(self.orbit.radius_m * local[..., :, 2]), self.orbit.sun_position_m(time_s)
        to_sun = sun - place
        unit = to_sun / np.linalg.norm(to_sun, axis=-1, keepdims=True)
        return Seen(np.asarray(np.einsum("...ji,...j->...i", turned, unit)), sun_share(place, sun), place, turned)

    def sun_direction(self, time_s: ArrayLike) -> Array:
        """Return unit vectors (..., 3) from the platform to the sun, in the platform's frame."""
        return self.at(time_s).sun

    def sun_share(self, time_s: ArrayLike) -> Array:
        """Return how much of the sun's disc (...) shows: 1 by day, 0 by night."""
        return self.at(time_s).share

    def spans(self, start_s: float, end_s: float) -> tuple[LightSpan, ...]:
        """Return the stretches of day, twilight and night in order, without gaps, each change to 1 ms."""
        def lights(times_s: Array) -> list[Light]:
            return [_light(share) for share in self.sun_share(times_s)]

        return tuple(LightSpan(*one) for one in stretches_of(lights, start_s, end_s, _STEP_S))


def stretches_of(
    states: Callable[[Array], Sequence[T]], start_s: float, end_s: float, step_s: float
) -> list[tuple[T, float, float]]:
    """Return each state in order with where it begins and ends, without gaps, each change to 1 ms.

    Args:
        states: at instants (N,).
        start_s, end_s: from when to when.
        step_s: looked at so often; a state that lasts less may be missed.
    """
    looks = np.linspace(start_s, end_s, max(int(np.ceil((end_s - start_s) / step_s)), 1) + 1)
    seen, times, found, since = states(looks), looks.tolist(), list[tuple[T, float, float]](), start_s
    for before, after, left_s, right_s in zip(seen[:-1], seen[1:], times[:-1], times[1:], strict=True):
        if before != after:
            while right_s - left_s > 1e-3:
                middle_s = (left_s + right_s) / 2
                if states(np.array([middle_s]))[0] == before:
                    left_s = middle_s
                else:
                    right_s = middle_s
            change_s = (left_s + right_s) / 2
            found.append((before, since, change_s))
            since = change_s
    return [*found, (seen[-1], since, end_s)]


def _light(share: float) -> Light:
    if share >= 1.0:
        return "day"
    return "night" if share <= 0.0 else "twilight"


def sky_of(environment: Environment) -> Sky:
    """Return the sky of a scenario's environment; the run starts at its date."""
    orbit = environment.orbit
    return Sky(
        CircularOrbit(
            EARTH_RADIUS_M + orbit.altitude,
            orbit.inclination,
            orbit.node,
            orbit.argument,
            julian_date(environment.start),
        ),
        poses.from_xyz_rpy((0.0, 0.0, 0.0), environment.attitude.rotation)[:3, :3],
        environment.attitude.holds == "inertial",
    )
