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

#: of the spare joint in a straight line, where nothing else is asked
NEAR_START = "kept near where the line began"


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
        spare: what the joints did with the freedom that the line leaves them, in words; empty without any.
    """

    curve: Motion
    chain: Chain | None = None
    tool: Array | None = None
    length_m: float | None = None
    turn_rad: float | None = None
    deviation_m: float = 0.0
    deviation_rad: float = 0.0
    spare: str = ""

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


def rounded(joints: Sequence[str], points: ArrayLike) -> Path:
    """Return the way from the first of W points (W, n) to the last, past the others without stopping.

    Straight in joint space, each corner a parabola: see ``rounded_pieces``. A point that repeats the one before it
    is left out.

    Raises:
        MotionError: fewer than two points that differ, or rows without one value a joint.
    """
    corners = np.stack([joint_vectors(point, len(joints)) for point in np.asarray(points, dtype=float)])
    corners = corners[np.append(True, np.any(np.diff(corners, axis=0) != 0, axis=1))]
    if len(corners) == 2:
        return joint_segment(joints, corners[0], corners[1])
    table, length = rounded_pieces(corners)
    breaks = np.append(0.0, np.cumsum(length))
    total = breaks[-1]
    return Path(Motion(tuple(joints), breaks / total, table * (total ** np.arange(3.0))[:, None]))


def rounded_pieces(points: Array) -> tuple[Array, Array]:
    """Return the lines and parabolas past points (W, n) as quadratics (M, 3, n) and how long each is (M,).

    The parameter is the travel of the joint that travels most, from 0 on each piece. A corner is left and
    joined again at half the shorter of the two segments that meet there: so the way stays in the triangle of
    the corner and its direction never jumps.

    Source: linear function with parabolic blends, J. Craig, Introduction to Robotics (3rd ed. 2005), ch. 7.

    Raises:
        MotionError: fewer than two points, or two in a row that are the same.
    """
    steps = np.diff(points, axis=0)
    travel = np.abs(steps).max(axis=1)
    if len(points) < 2 or not np.all(travel > 0):
        raise MotionError("the path does not move: two points in a row are the same")
    along = steps / travel[:, None]
    cut = np.zeros(len(points))
    cut[1:-1] = np.minimum(travel[:-1], travel[1:]) / 2
    none = np.zeros(points.shape[1])
    table, length = [], []
    for k in range(len(steps)):
        straight = travel[k] - cut[k] - cut[k + 1]
        if straight > 1e-9 * travel[k]:
            table.append([points[k] + cut[k] * along[k], along[k], none])
            length.append(straight)
        if k + 1 < len(steps):
            bend = (along[k + 1] - along[k]) / (4 * cut[k + 1])
            table.append([points[k + 1] - cut[k + 1] * along[k], along[k], bend])
            length.append(2 * cut[k + 1])
    return np.array(table), np.array(length)


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
