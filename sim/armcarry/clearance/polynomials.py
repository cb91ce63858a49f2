"""Joint motion as the kernels read it: one polynomial a frame and piece, and what is known of each."""

from __future__ import annotations

from math import comb
from typing import NamedTuple

import numpy as np

from armcarry.clearance.frames import Layout
from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion

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


def load(layout: Layout, motion: Motion) -> Curves:
    """Arrange a motion for the kernels.

    Raises:
        MotionError: a joint between some pair is missing from the motion, or jumps at a break.
    """
    where = {name: k for k, name in enumerate(motion.joints)}
    missing = [
        name for name, need in zip(layout.joints, layout.needed, strict=True) if need and name not in where
    ]
    if missing:
        raise MotionError(f"the motion does not move joint '{missing[0]}', which lies between some pair")
    column = [where[name] if need else -1 for name, need in zip(layout.joints, layout.needed, strict=True)]
    table = np.asarray(motion.coefficients, dtype=float)
    picked = np.where(np.array(column) >= 0, table[:, :, column], 0.0) if column else table[:, :, :0]
    return arrange(layout, np.asarray(motion.breaks_s, dtype=float), np.ascontiguousarray(picked.transpose(0, 2, 1)))


def arrange(layout: Layout, breaks: Array, poly: Array) -> Curves:
    """Work out what the kernels need of polynomials (K, F, D+1) in frame order. Raises MotionError on a jump."""
    span = np.diff(breaks)
    powers = span[:, None] ** np.arange(poly.shape[2])
    scaled = poly * powers[:, None, :]
    if len(span) > 1:
        jump = np.abs(scaled[:-1].sum(axis=2) - poly[1:, :, 0])
        scale = np.abs(scaled[:-1]).sum(axis=2)
        if np.any(jump > JUMP + 1e-13 * scale):
            piece, frame = np.unravel_index(np.argmax(jump), jump.shape)
            raise MotionError(
                f"joint '{layout.joints[frame]}' jumps by {jump[piece, frame]:.3g} at {breaks[piece + 1]:g} s; "
                "prove the parts before and after on their own"
            )
    varies = np.any(poly[:, :, 1:] != 0.0, axis=2).astype(np.int64)
    matrix = bernstein_matrix(poly.shape[2] - 1)
    control = scaled @ matrix.T
    travel = np.abs(np.diff(control, axis=2)).sum(axis=2) @ layout.frames.lever_m
    return Curves(breaks, poly, varies, np.abs(scaled).sum(axis=2), travel, matrix)
