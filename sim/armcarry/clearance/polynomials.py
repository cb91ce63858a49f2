"""Joint motion as the kernels read it: one polynomial a frame and piece, and what is known of each."""

from __future__ import annotations

from math import comb
from typing import NamedTuple

import numpy as np

from armcarry.clearance.frames import Layout
from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion

#: farther than this from 0 (rad or m) the position of a joint is no longer known to what rounding is said to cover
FARTHEST = 1e7
#: a joint that jumps by more than this at a break (rad or m) must be split into phases there
JUMP = 1e-9


class Curves(NamedTuple):
    """Piecewise polynomials of F frames over K pieces of degree D.

    Attributes:
        breaks: (K+1,) seconds.
        poly: (K, F, D+1) ascending, in time since the start of the piece.
        varies: (K, F) 1 where the joint moves in the piece.
        scale: (K, F) sum of |coefficient| T^power: the rounding error of evaluation goes with it.
        travel: (K,) lever-weighted length of all joint paths, metres; it steers, it proves nothing.
        bernstein: (D+1, D+1) from monomial coefficients on [0, 1] to Bernstein coefficients.
    """

    breaks: Array
    poly: Array
    varies: np.ndarray
    scale: Array
    travel: Array
    bernstein: Array


def bernstein_matrix(degree: int) -> Array:
    """Return B (D+1, D+1) with B @ monomial = Bernstein coefficients on [0, 1]."""
    return np.array(
        [[comb(row, col) / comb(degree, col) if col <= row else 0.0 for col in range(degree + 1)]
         for row in range(degree + 1)]
    )  # fmt: skip


def load(layout: Layout, motion: Motion, start_s: float, end_s: float) -> Curves:
    """Arrange the pieces of a motion that touch an interval for the kernels.

    Raises:
        MotionError: a joint between some pair is missing from the motion, or jumps at a break inside.
    """
    where = {name: k for k, name in enumerate(motion.joints)}
    column = [where.get(name, -1) for name in layout.joints]
    for name, need, found in zip(layout.joints, layout.needed.tolist(), column, strict=True):
        if need and found < 0:
            raise MotionError(f"the motion does not move joint '{name}', which lies between some pair")
    breaks = np.asarray(motion.breaks_s, dtype=float)
    first = int(np.searchsorted(breaks, start_s, side="right")) - 1
    last = int(np.searchsorted(breaks, end_s, side="left"))
    table = np.asarray(motion.coefficients, dtype=float)[first:last]
    picked = np.zeros((last - first, len(column), table.shape[1]))
    for frame, (need, found) in enumerate(zip(layout.needed.tolist(), column, strict=True)):
        if need:
            picked[:, frame] = table[:, :, found]
    return arrange(layout, breaks[first : last + 1].copy(), picked)


def arrange(layout: Layout, breaks: Array, poly: Array) -> Curves:
    """Enter continuous polynomials (K, F, D+1) in frame order. Raises MotionError on a jump."""
    curves = describe(layout, breaks, poly)
    if np.any(curves.scale > FARTHEST):
        piece, frame = np.unravel_index(np.argmax(curves.scale), curves.scale.shape)
        raise MotionError(
            f"joint '{layout.joints[frame]}' goes to {curves.scale[piece, frame]:.3g} rad or m at {breaks[piece]:g} s; "
            f"at most {FARTHEST:g} can be told apart"
        )
    if len(poly) > 1:
        powers = np.diff(breaks)[:-1, None] ** np.arange(poly.shape[2])
        ends = np.einsum("kfd,kd->kf", poly[:-1], powers)
        jump = np.abs(ends - poly[1:, :, 0])
        if np.any(jump > JUMP + 1e-13 * curves.scale[:-1]):
            piece, frame = np.unravel_index(np.argmax(jump), jump.shape)
            raise MotionError(
                f"joint '{layout.joints[frame]}' jumps by {jump[piece, frame]:.3g} at {breaks[piece + 1]:g} s; "
                "prove the parts before and after on their own"
            )
    return curves


def describe(layout: Layout, breaks: Array, poly: Array) -> Curves:
    """Work out what the kernels need of polynomials (K, F, D+1) in frame order."""
    powers = np.diff(breaks)[:, None] ** np.arange(poly.shape[2])
    scaled = poly * powers[:, None, :]
    matrix = bernstein_matrix(poly.shape[2] - 1)
    control = scaled @ matrix.T
    travel = np.abs(np.diff(control, axis=2)).sum(axis=2) @ layout.frames.lever_m
    varies = np.any(poly[:, :, 1:] != 0.0, axis=2).astype(np.int64)
    return Curves(breaks, poly, varies, np.abs(scaled).sum(axis=2), travel, matrix)
