"""Directions spread evenly over a cone of view."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array


def cone_directions(half_angle_rad: float, count: int) -> Array:
    """Return unit directions (count, 3) about +x, each standing for the same solid angle.

    A spiral with golden-angle steps (Gonzalez, "Measurement of areas on a sphere using Fibonacci and
    latitude-longitude lattices", Mathematical Geosciences 42 (2010) 49-64), cut to a cone.
    """
    step = np.arange(count) + 0.5
    along = 1.0 - (1.0 - np.cos(half_angle_rad)) * step / count
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    across = np.sqrt(1.0 - along**2)
    return np.stack([along, across * np.cos(turn), across * np.sin(turn)], axis=-1)
