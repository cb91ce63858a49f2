"""What is asked of the arguments of a proof, in words for the user."""

from __future__ import annotations

import numpy as np

from armcarry.clearance.solids import PAD_M
from armcarry.errors import InputError, MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion


def asked_pairs(pairs: object) -> np.ndarray:
    """Return pairs (P, 2) of rows, checked. Raises InputError unless each is two different whole numbers."""
    accepted = "(P, 2) whole numbers, two different ones a pair"
    try:
        given = np.asarray(pairs)
        given = given.reshape(-1, 2) if given.size == 0 else given
        rows = np.where(np.abs(given) < 2**31, given, -1).astype(np.int64)  # nan compares false
    except (TypeError, ValueError, OverflowError):
        raise InputError("pairs that are not rows of bodies", accepted=accepted) from None
    if given.dtype.kind not in "iuf" or rows.ndim != 2 or rows.shape[1] != 2 or not np.array_equal(rows, given):
        found = f"an array of shape {given.shape} of {given.dtype}"
        raise InputError("pairs that are not rows of bodies", found=found, accepted=accepted)
    same = rows[:, 0] == rows[:, 1]
    if np.any(same):
        raise InputError("a pair of a body with itself", found=rows[np.argmax(same)].tolist(), accepted=accepted)
    return rows


def asked_tolerance(tolerance_m: float) -> float:
    """Return a tolerance in metres, checked. Raises InputError where no proof can keep it, or it asks for none."""
    try:
        tolerance = float(tolerance_m)
    except (TypeError, ValueError):
        tolerance = np.nan
    if not 10 * PAD_M <= tolerance < np.inf:
        accepted = f"a finite number of metres, {10 * PAD_M:g} or more, which rounding allows"
        raise InputError("a tolerance that cannot be kept", found=tolerance_m, accepted=accepted)
    return tolerance


def asked_report(report_distance_m: float | Array, pairs: int) -> Array:
    """Return the report distance of every pair (P,), checked. Raises InputError for nan, below 0 or another shape."""
    accepted = f"metres from 0 up, one number or one a pair, of which there are {pairs}"
    try:
        report = np.asarray(report_distance_m, dtype=float)
    except (TypeError, ValueError):
        raise InputError("report distances that are not numbers", accepted=accepted) from None
    if report.shape not in ((), (pairs,)) or not np.all(report >= 0.0):
        found = report_distance_m if report.shape == () else f"an array of shape {report.shape}"
        raise InputError("report distances that mean nothing", found=found, accepted=accepted)
    return np.broadcast_to(report, pairs)


def interval(motion: Motion, start_s: float | None, end_s: float | None) -> tuple[float, float]:
    """Return the asked interval, the whole motion by default. Raises MotionError where it is not inside."""
    try:
        start = motion.start_s if start_s is None else float(start_s)
        end = motion.end_s if end_s is None else float(end_s)
    except (TypeError, ValueError):
        raise MotionError(f"{start_s!r} to {end_s!r} is not an interval in seconds") from None
    if not motion.start_s <= start < end <= motion.end_s:
        raise MotionError(
            f"{start:g} to {end:g} s is not an interval inside {motion.start_s:g} to {motion.end_s:g} s"
        )
    return start, end
