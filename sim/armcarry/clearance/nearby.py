"""Kernel entry: which points come nearer than is asked to which bodies, as far as balls and boxes about these tell."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from armcarry.clearance.jit import entry, source_digest
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape, bounding_radius_m, half_extents_m


def _make(digest):
    @entry
    def mark(points, frames, lower, upper, ball, within, near):
        for n in range(points.shape[0] if digest else 0):
            for s in range(points.shape[1]):
                for b in range(frames.shape[0]):
                    x, y = points[n, s, 0] - frames[b, 0, 3], points[n, s, 1] - frames[b, 1, 3]
                    z, most = points[n, s, 2] - frames[b, 2, 3], within[s, b]
                    if not x * x + y * y + z * z <= (most + ball[b]) ** 2:  # nan: nothing is asked
                        continue
                    square = 0.0
                    for i in range(3):
                        along = x * frames[b, 0, i] + y * frames[b, 1, i] + z * frames[b, 2, i]
                        square += max(lower[b, i] - along, along - upper[b, i], 0.0) ** 2
                    near[n, s, b] = square <= most * most

    return mark


_mark = _make(source_digest())


def maybe_within(points: Array, shapes: Sequence[Shape], frames: Array, within_m: Array) -> np.ndarray:
    """Return which points (N, S, 3) may be within (S, B) of bodies at T_world_body (B, 4, 4): flags (N, S, B).

    Where it is False the point is farther from the body, rounding aside; nan in ``within_m`` is never within.
    """
    corners = np.array([half_extents_m(shape) for shape in shapes]).reshape(-1, 2, 3)
    ball = np.array([bounding_radius_m(shape) for shape in shapes])
    near = np.zeros((*points.shape[:2], len(shapes)), dtype=bool)
    lower, upper = np.ascontiguousarray(corners[:, 0]), np.ascontiguousarray(corners[:, 1])
    _mark(np.ascontiguousarray(points), np.ascontiguousarray(frames), lower, upper, ball, within_m, near)
    return near
