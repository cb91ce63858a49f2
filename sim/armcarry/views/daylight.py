"""In which light a scene is shown: the sun where it stands, the Earth's side, and enough fill that nothing is black.

Where a scenario has no environment there is no sun: a lamp over the viewer's shoulder takes its place, and shadows
say nothing about the day.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.scene.light import EARTH_RADIUS_M
from armcarry.scene.sky import sky_of


class Level(StrEnum):
    """How much is spent on a picture: ``plain`` while playing, ``fine`` a frame of a movie, ``still`` a picture.

    ``plain`` has light and materials; ``fine`` adds shadows, dark corners, edges, Earth and stars; ``still`` is
    ``fine`` at twice the size, made smaller.
    """

    PLAIN = "plain"
    FINE = "fine"
    STILL = "still"


@dataclass(frozen=True, eq=False)
class Daylight:
    """Sun and Earth at an instant, all in the platform's frame, which is the world of every view.

    Attributes:
        sun: unit vector (3,) to the sun.
        share: how much of its disc shows, 0 by night.
        earth: unit vector (3,) to the Earth's centre.
        away: distance from the Earth's centre in Earth radii.
        R_equator: rotation (3, 3) to the equator frame, in which stars and clouds stand still.
    """

    sun: Array
    share: float
    earth: Array
    away: float
    R_equator: Array


_sky = lru_cache(maxsize=8)(sky_of)


def daylight(record: Record, time_s: float) -> Daylight | None:
    """Return the light over a run at an instant; None where the scenario has no environment."""
    environment = record.scene.loaded.scenario.environment
    if environment is None:
        return None
    seen = _sky(environment).at(time_s)
    turned, far = seen.R_equator_platform, float(np.linalg.norm(seen.place_m))
    return Daylight(seen.sun, float(seen.share), -turned.T @ seen.place_m / far, far / EARTH_RADIUS_M, turned)


#: strength of sun and fills by day and by night
_SUN, _EARTH, _FRONT, _BACK = (1.02, 0.0), (0.36, 0.06), (0.30, 0.52), (0.18, 0.14)
_EARTHSHINE, _MOONLIGHT = (0.80, 0.90, 1.0), (0.72, 0.82, 1.0)
#: where the lamp stands that takes the sun's place, seen by the camera: right, up, towards the viewer
_LAMP = (-0.55, 0.75, 0.8)


class Lamps:
    """The lights of one PyVista plotter: the sun, the Earth's side, and weak ones that go with the camera."""

    def __init__(self, plotter: Any) -> None:
        """Put the lights in; until ``show`` is called they are those of a scene without a sun."""
        import pyvista

        self._sun = pyvista.Light(light_type="scene light")
        self._lamp = pyvista.Light(position=_LAMP, focal_point=(0, 0, 0), light_type="camera light")
        self._earth = pyvista.Light(light_type="scene light")
        self._front = pyvista.Light(position=(0.2, 0.3, 1.0), focal_point=(0, 0, 0), light_type="camera light")
        self._back = pyvista.Light(position=(0.9, -0.5, -0.3), focal_point=(0, 0, 0), light_type="camera light")
        #: all of them, for another renderer of the same scene
        self.lights = (self._sun, self._lamp, self._earth, self._front, self._back)
        for light in self.lights:
            light.positional = False
            plotter.add_light(light)
        for light in (self._earth, self._front, self._back):
            light.specular_color = (0.0, 0.0, 0.0)
        self.key = 0.0
        self.show(None)

    def show(self, day: Daylight | None) -> None:
        """Light the scene as it is at an instant."""
        share = 1.0 if day is None else day.share

        def between(pair: tuple[float, float]) -> float:
            return share * pair[0] + (1 - share) * pair[1]

        self.key = between(_SUN)
        self._has_sun = day is not None
        self._fills = (0.0 if day is None else between(_EARTH), between(_FRONT), between(_BACK))
        if day is not None:
            self._sun.position, self._sun.focal_point = tuple(100 * day.sun), (0, 0, 0)
            self._earth.position, self._earth.focal_point = tuple(100 * day.earth), (0, 0, 0)
        self._earth.diffuse_color = _EARTHSHINE
        self._front.diffuse_color = (1.0, 1.0, 1.0) if share > 0.0 else _MOONLIGHT
        self.only(sun=True, fill=True)

    def only(self, sun: bool, fill: bool) -> None:
        """Let only the sun shine, or only the rest, or both."""
        self._sun.intensity = self.key if sun and self._has_sun else 0.0
        self._lamp.intensity = 0.8 * self.key if sun and not self._has_sun else 0.0
        for light, strength in zip((self._earth, self._front, self._back), self._fills, strict=True):
            light.intensity = strength if fill else 0.0
        for light in self.lights:  # a light that gives none costs as much as one that does
            light.on = light.intensity > 0.0

    def towards(self, right: Array, up: Array, away: Array, day: Daylight | None) -> Array:
        """Return the unit vector (3,) to what casts the shadows, for a camera with these axes in the world."""
        if day is not None:
            return day.sun
        way = _LAMP[0] * right + _LAMP[1] * up + _LAMP[2] * away
        return np.asarray(way / np.linalg.norm(way))
