"""Paths: joint positions as piecewise polynomials of a path parameter s, before any time is given to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.sweep import joint_vectors


@dataclass(frozen=True, eq=False)
class Path:
    """The way joints take, without time.

    Attributes:
        curve: joint positions as polynomials of s; its "seconds" are s, from 0 to 1.
        chain, tool: whose tool point follows a straight line, if one does.
        length_m: length of that line.
        turn_rad: angle turned along it.
        deviation_m, deviation_rad: proven bounds of how far the tool leaves the line, in position and
            angle, at equal s.
    """

    curve: Motion
    chain: Chain | None = None
    tool: Array | None = None
    length_m: float | None = None
    turn_rad: float | None = None
    deviation_m: float = 0.0
    deviation_rad: float = 0.0

    @property
    def joints(self) -> tuple[str, ...]:
        """Full joint names."""
        return self.curve.joints

    @property
    def start(self) -> Array:
        """Joint positions (n,) at s = 0."""
        return self.curve.at(self.curve.start_s)

    @property
    def end(self) -> Array:
        """Joint positions (n,) at s = 1."""
        return self.curve.at(self.curve.end_s, side="left")

    def at(self, s: ArrayLike, order: int = 0) -> Array:
        """Return joint positions (..., n) at s (...), or their derivative by s."""
        return self.curve.at(s, order)


def joint_segment(joints: Sequence[str], start: ArrayLike, end: ArrayLike) -> Path:
    """Return the straight segment in joint space from start (n,) to end (n,): all joints in proportion.

    Raises:
        MotionError: the ends do not hold one value a joint, or are the same.
    """
    first, last = joint_vectors(start, len(joints)), joint_vectors(end, len(joints))
    if np.array_equal(first, last):
        raise MotionError("the path does not move: both ends are the same")
    return Path(Motion(tuple(joints), np.array([0.0, 1.0]), np.stack([first, last - first])[None]))


def clamped_spline(breaks: Array, values: Array, first_slope: Array, last_slope: Array) -> Array:
    """Return cubic coefficients (K, 4, n) of the C2 spline through values (K+1, n) with given end slopes (n,).

    Source: C. de Boor, A Practical Guide to Splines, ch. IV (complete cubic spline).
    """
    h = np.diff(breaks)
    chords = np.diff(values, axis=0) / h[:, None]
    slopes = np.stack([first_slope, *np.zeros((len(h) - 1, values.shape[1])), last_slope])
    if len(h) > 1:
        inner = len(h) - 1
        matrix = np.diag(2 * (h[:-1] + h[1:]))
        matrix[np.arange(inner - 1), np.arange(1, inner)] = h[:-2]
        matrix[np.arange(1, inner), np.arange(inner - 1)] = h[2:]
        right = 3 * (h[1:, None] * chords[:-1] + h[:-1, None] * chords[1:])
        right[0] -= h[1] * first_slope
        right[-1] -= h[-2] * last_slope
        slopes[1:-1] = np.linalg.solve(matrix, right)
    step = h[:, None]
    bend = (3 * chords - 2 * slopes[:-1] - slopes[1:]) / step
    twist = (slopes[:-1] + slopes[1:] - 2 * chords) / step**2
    return np.stack([values[:-1], slopes[:-1], bend, twist], axis=1)
