"""A motion through rows of times and joint positions, such as a log or a planner gives."""

from __future__ import annotations

from typing import Literal

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion

Pieces = Literal["linear", "cubic"]
PIECES: tuple[Pieces, ...] = ("linear", "cubic")


def interpolated(joints: tuple[str, ...], times_s: Array, table: Array, pieces: Pieces) -> Motion:
    """Return the motion through positions (T, k) at times (T,).

    Args:
        joints: k full names.
        times_s: strictly increasing.
        table: rad or m.
        pieces: straight, or a monotone cubic (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980, as scipy's
            PchipInterpolator).

    Raises:
        MotionError: the times do not increase, or a number is not finite.
    """
    if pieces == "linear":
        with np.errstate(over="ignore"):  # rows too near in time for a rate: refused as not finite
            slopes = np.diff(table, axis=0) / np.diff(times_s)[:, None]
        return Motion(joints, times_s, np.stack([table[:-1], slopes], axis=1))
    from scipy.interpolate import PchipInterpolator

    with np.errstate(over="ignore", invalid="ignore"):
        curve = PchipInterpolator(times_s, table, axis=0)
    return Motion(joints, times_s, np.ascontiguousarray(np.moveaxis(curve.c[::-1], 0, 1)))
