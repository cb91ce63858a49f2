"""What the plots and their tables show: clearance, joints and rates against time, as plain arrays; no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.quantities import rounded_down
from armcarry.record.figures import at_least
from armcarry.record.record import Curve, Record
from armcarry.scene.words import plain_joint
from armcarry.views.plots import rate_limits

#: instants of a drawn joint; breaks of the motion are added
_STEPS = 1500


@dataclass(frozen=True, eq=False)
class Series:
    """One line of a plot with its row in the table.

    Attributes:
        name: for people.
        unit: of every number here.
        times_s, values: (n,) the line; the lower bound for clearance.
        upper: (n,) upper bound of a band, None for a line.
        limits: (times_s, values) of limit lines, drawn as such.
        now: value at an instant, in words.
        summary: what matters over the run, in words.
        bad: (n,) where the limit is not kept.
    """

    name: str
    unit: str
    times_s: Array
    values: Array
    upper: Array | None
    limits: tuple[tuple[Array, Array], ...]
    now: Callable[[float], str]
    summary: str
    bad: np.ndarray
    top: float | None = None


def clearance_series(record: Record) -> tuple[Series, ...]:
    """Return the clearance of each group of classes, the one with least to spare first."""
    ordered = sorted(record.curves, key=lambda curve: float(np.min(curve.lower_m, initial=np.inf)) - curve.required_m)
    report = record.scene.loaded.rules.report_distance
    return tuple(_clearance(record, curve, report) for curve in ordered)


def _clearance(record: Record, curve: Curve, report_m: float) -> Series:
    top = max(report_m, 1.6 * curve.required_m)
    times = np.repeat(curve.times_s, 2)[1:-1]
    nobody = np.isposinf(curve.lower_m)  # no pair of the group is there: no line, not a far one
    low, high = (
        np.repeat(np.where(nobody, np.nan, np.clip(np.nan_to_num(b, neginf=0.0, posinf=top), 0.0, top)), 2)
        for b in (curve.lower_m, curve.upper_m)
    )
    row = record.least_of(curve)
    least = float(np.min(curve.lower_m, initial=np.inf)) if row is None else row.lower_m
    found = at_least(least, curve.required_m, "m")
    word = "contact" if least == -np.inf else f"> {top:g}" if least > top else found.said

    def now(time_s: float) -> str:
        if not curve.times_s[0] <= time_s <= curve.times_s[-1]:
            return "not there"  # no pair of the group is, before its curve begins and after it ends
        k = int(np.clip(np.searchsorted(curve.times_s, time_s, side="right") - 1, 0, len(curve.lower_m) - 1))
        lower, upper = float(curve.lower_m[k]), float(curve.upper_m[k])
        if lower == -np.inf:
            return "contact"
        if lower == np.inf:
            return "not there"
        if lower >= top:
            return f"> {top:g}"
        low = f"{rounded_down(lower, 2):.2f}"
        return f"{low} … {-rounded_down(-upper, 2):.2f}" if np.isfinite(upper) else f"≥ {low}"

    ends = np.array([curve.times_s[0], curve.times_s[-1]])
    return Series(
        curve.group, "m", times, low, high, ((ends, np.full(2, curve.required_m)),), now,
        f"{word} (≥ {found.asked})", np.repeat(curve.lower_m < curve.required_m, 2), top,
    )


def joint_series(record: Record) -> tuple[Series, ...]:
    """Return the position of each arm joint, degrees or metres, with its travel and the margin asked for."""
    times = _times(record)
    scene, margins = record.scene, record.scene.loaded.rules.margins
    result = []
    for name, column in zip(scene.arm_joints, scene.arm_columns, strict=True):
        turns = bool(scene.tree.revolute[column])
        factor, unit = (180 / np.pi, "deg") if turns else (1.0, "m")
        margin = (margins.joint_position if turns else margins.joint_travel) * factor
        values = record.motion.at(times)[:, column] * factor
        lower, upper = scene.tree.joint_limits[column] * factor
        left = np.minimum(values - lower, upper - values)
        ends = times[[0, -1]]
        limits = tuple((ends, np.full(2, end)) for end in (lower, upper) if np.isfinite(end))
        summary = f"{left.min():.0f} left (≥ {margin:.0f})" if np.isfinite(upper - lower) else "no end"
        result.append(
            Series(plain_joint(name), unit, times, values, None, limits, _joint_now(record, column, factor, 0), summary,
                   left < margin)
        )
    return tuple(result)


def rate_series(record: Record) -> tuple[Series, ...]:
    """Return the rate of each arm joint with the limits of the load that it moves."""
    times = _times(record)
    steps, allowed = rate_limits(record)
    result = []
    for k, (name, column) in enumerate(zip(record.scene.arm_joints, record.scene.arm_columns, strict=True)):
        turns = bool(record.scene.tree.revolute[column])
        factor, unit = (180 / np.pi, "deg/s") if turns else (1.0, "m/s")
        values = record.motion.at(times, order=1)[:, column] * factor
        stairs, limit = np.repeat(steps, 2)[1:-1], np.repeat(allowed[:, k] * factor, 2)
        cell = np.clip(np.searchsorted(steps, times, side="right") - 1, 0, len(allowed) - 1)
        # the same tolerance for rounding as a rate that touches its limit needs
        bad = np.abs(values) > allowed[cell, k] * factor * (1 + 1e-6)
        largest = float(np.abs(values).max())
        result.append(
            Series(plain_joint(name), unit, times, values, None, ((stairs, limit), (stairs, -limit)),
                   _joint_now(record, column, factor, 1), f"most {largest:.2f}", bad)
        )
    return tuple(result)


def _joint_now(record: Record, column: int, factor: float, order: int) -> Callable[[float], str]:
    digits = 1 if order == 0 else 3
    return lambda time_s: f"{float(record.motion.at(time_s, order=order)[column]) * factor:.{digits}f}"


def _times(record: Record) -> Array:
    return np.union1d(np.linspace(record.motion.start_s, record.motion.end_s, _STEPS), record.motion.breaks_s)


