"""Vectors, rotations and angles, any number at once along the leading axes."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array, turning


def dot(a: Array, b: Array) -> Array:
    """Return the products (..., 1) of vectors."""
    return np.asarray(np.sum(a * b, axis=-1, keepdims=True))


def cross(a: Array, b: Array) -> Array:
    """Return the cross products (..., 3)."""
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=-1)


def flat(axis: Array, v: Array) -> Array:
    """Return what is left of vectors at right angles to unit axes (..., 3)."""
    return np.asarray(v - axis * dot(axis, v))


def seen_in(v: Array, ex: Array, ey: Array) -> Array:
    """Return the coordinates (..., 2) along two directions."""
    return np.concatenate([dot(v, ex), dot(v, ey)], axis=-1)


def across_of(axis: Array) -> Array:
    """Return a unit vector at right angles to each axis (..., 3)."""
    side = np.take(np.eye(3), np.argmin(np.abs(axis), axis=-1), axis=0)
    side = flat(axis, side)
    return np.asarray(side / np.linalg.norm(side, axis=-1, keepdims=True))


def times(matrix: Array, v: Array) -> Array:
    """Return matrices times vectors (..., 3)."""
    return np.asarray((matrix @ v[..., None])[..., 0])


def applied(pose: Array, point: Array) -> Array:
    """Return points (..., 3) carried by poses (..., 4, 4)."""
    return times(pose[..., :3, :3], point) + pose[..., :3, 3]


def circle(angle: Array) -> Array:
    """Return cosine, sine and 1 (..., 3)."""
    return np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)], axis=-1)


def shown(along: Array, axis: Array, v: Array) -> Array:
    """Return what a vector, turned about an axis, shows along a direction: of cosine, of sine, and always (..., 3)."""
    still = dot(axis, v) * dot(axis, along)
    return np.concatenate([dot(along, v) - still, dot(along, cross(axis, v)), still], axis=-1)


def about(axis: Array, point: Array, angle: Array, moved: Array) -> Array:
    """Return a point turned about an axis through another point."""
    return point + times(turning(axis, angle), moved - point)


def between(axis: Array, start: Array, end: Array) -> Array:
    """Return the angle about an axis from one vector to another; 0 where either lies along the axis."""
    start, end = flat(axis, start), flat(axis, end)
    return np.arctan2(dot(axis, cross(start, end))[..., 0], dot(start, end)[..., 0])


def wrapped(q: Array) -> Array:
    """Return angles without whole turns, within half a turn of 0."""
    return np.asarray(q - 2 * np.pi * np.round(q / (2 * np.pi)))
