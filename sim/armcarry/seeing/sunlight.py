"""The sun over a run: where it stands, when it shows, and which bodies cast a shadow.

A line towards the sun, as long as the scene is wide, is blocked by a body or it is not. Shade is looked at in
instants, never taken as proven between them. The sun is a point.
"""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise

import numpy as np

from armcarry.clearance.sightline import sight_lines
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.record.record import Record
from armcarry.scene.sky import LightSpan, Sky, sky_of
from armcarry.seeing.sight import Watch

#: how fast the sun's direction itself turns against the stars, at most, rad/s
_SUN_RATE_RAD_S = 1e-6
#: lines measured in one call
_BATCH = 500


class Sun:
    """Sun, day and night over one run; needs the scenario's environment."""

    def __init__(self, record: Record) -> None:
        environment = record.scene.loaded.scenario.environment
        if environment is None:
            raise ValueError("the scenario has no environment")
        self.record, self.limits = record, environment.sun_limits
        self.sky: Sky = sky_of(environment)

    @cached_property
    def spans(self) -> tuple[LightSpan, ...]:
        """Day, twilight and night over the run."""
        return self.sky.spans(0.0, self.record.duration_s)

    @property
    def turn_rate_rad_s(self) -> float:
        """How fast the sun's direction turns in the platform's frame, at most."""
        orbit = self.sky.orbit
        spin = 0.0 if self.sky.inertial else abs(orbit.argument_rate_rad_s) + abs(orbit.node_rate_rad_s)
        return spin + _SUN_RATE_RAD_S

    def up(self, times_s: Array) -> np.ndarray:
        """Tell at which instants any of the sun shows past the Earth."""
        return np.asarray(self.sky.sun_share(times_s) > 0.0)

    def shaders(
        self, watch: Watch, times_s: Array, from_m: Array, passed: np.ndarray, skip_m: float = 0.0
    ) -> np.ndarray:
        """Tell which bodies (N, B) stand between points (N, 3) and the sun; ``passed`` ones (B,) never do."""
        if len(times_s) > _BATCH:
            half = len(times_s) // 2
            parts = ((times_s[:half], from_m[:half]), (times_s[half:], from_m[half:]))
            return np.concatenate([self.shaders(watch, times, points, passed, skip_m) for times, points in parts])
        placed = self.record.body_poses(times_s)
        radii = np.array([bounding_radius_m(body.shape) for body in watch.bodies])
        far = float((np.linalg.norm(placed[:, :, :3, 3] - from_m[:, None], axis=2) + radii).max(initial=0.0))
        ends = from_m + far * self.sky.sun_direction(times_s)
        lines = sight_lines(from_m, ends, watch.solids, placed, skip_start_m=skip_m)
        return np.asarray((lines.upper_m <= 0.0) & ~passed)


def cut_s(start_s: float, end_s: float, step_s: float) -> list[tuple[float, float]]:
    """Cut a stretch of time into equal cells of at most step_s; one cell where it has no length."""
    edges = np.linspace(start_s, end_s, max(int(np.ceil((end_s - start_s) / step_s)), 1) + 1).tolist()
    return list(pairwise(edges))
