"""Merging: motions of some joints at some times become one motion of all joints over the whole run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion

#: breaks closer than this are one, seconds
TOGETHER_S = 1e-6


@dataclass(frozen=True, eq=False)
class Part:
    """A motion of some joints; when it ends they stay where it left them."""

    motion: Motion
    columns: np.ndarray


@dataclass(frozen=True, eq=False)
class Jump:
    """Some joints take new values at an instant, as when a thing is hung from another link."""

    time_s: float
    columns: np.ndarray
    values: Array


def merge(
    joints: Sequence[str], position: ArrayLike, parts: Sequence[Part], jumps: Sequence[Jump], end_s: float
) -> Motion:
    """Return one Motion of all joints from 0 to end_s.

    Args:
        joints: names of the joint vector, n.
        position: joint vector (n,) at 0.
        parts: motions; those of one joint must not overlap in time.
        jumps: set before anything that begins at the same instant.

    Raises:
        MotionError: two parts move one joint at the same time, or one leaves the interval.
    """
    here = np.asarray(position, dtype=float).copy()
    breaks = _breaks(parts, jumps, end_s)
    degree = max([1, *(part.motion.coefficients.shape[1] for part in parts)])
    table = np.zeros((len(breaks) - 1, degree, len(here)))
    events = sorted(
        [(jump.time_s, 0, k) for k, jump in enumerate(jumps)]
        + [(part.motion.start_s, 1, k) for k, part in enumerate(parts)]
    )
    free_from = np.zeros(len(here))
    done = np.zeros(len(here), dtype=np.int64)  # pieces of each joint that are written
    for time_s, kind, k in events:
        columns = jumps[k].columns if kind == 0 else parts[k].columns
        if np.any(time_s < free_from[columns] - TOGETHER_S) or time_s > end_s + TOGETHER_S:
            name = joints[int(columns[np.argmax(free_from[columns])])]
            raise MotionError(f"joint '{name}' is to do two things at {time_s:g} s, or one after the end")
        first = int(np.searchsorted(breaks, time_s - TOGETHER_S))
        for column in columns:
            table[done[column] : first, 0, column] = here[column]
        done[columns] = first
        if kind == 0:
            here[columns] = jumps[k].values
            continue
        motion = parts[k].motion
        last = int(np.searchsorted(breaks, motion.end_s - TOGETHER_S))
        _write(table, breaks, first, last, parts[k])
        here[columns] = motion.at(motion.end_s, side="left")
        done[columns], free_from[columns] = last, motion.end_s
    for column in range(len(here)):
        table[done[column] :, 0, column] = here[column]
    return Motion(tuple(joints), breaks, table)


def _breaks(parts: Sequence[Part], jumps: Sequence[Jump], end_s: float) -> Array:
    times = np.unique(np.concatenate([[0.0, end_s], *(p.motion.breaks_s for p in parts), [j.time_s for j in jumps]]))
    times = times[(times >= 0.0) & (times <= end_s)]
    kept = np.concatenate([[True], np.diff(times) > TOGETHER_S])
    breaks = np.asarray(times[kept], dtype=float)
    breaks[-1] = end_s
    return breaks


def _write(table: Array, breaks: Array, first: int, last: int, part: Part) -> None:
    """Write a part's polynomials over pieces first to last, re-expanded about each piece's own start."""
    starts = breaks[first:last]
    middle = (starts + breaks[first + 1 : last + 1]) / 2
    motion = part.motion
    piece = np.searchsorted(motion.breaks_s[1:-1], middle, side="right")
    local = motion.coefficients[piece].copy()
    by = (starts - motion.breaks_s[piece])[:, None]
    count = local.shape[1]
    for begin in range(count - 1):
        for power in range(count - 2, begin - 1, -1):
            local[:, power] += by * local[:, power + 1]
    table[first:last, :count, part.columns] = local.transpose(0, 1, 2)


def stretched(motion: Motion, start_s: float, longest_s: float) -> Motion:
    """Return a motion from start_s, at its own pace if it fits into longest_s, else quicker so that it does.

    Raises:
        MotionError: there is no time for it at all.
    """
    if longest_s <= 0.0:
        raise MotionError("a motion needs some time")
    factor = max(motion.duration_s / longest_s, 1.0)
    powers = factor ** np.arange(motion.coefficients.shape[1])
    breaks = start_s + (motion.breaks_s - motion.start_s) / factor
    return Motion(motion.joints, breaks, motion.coefficients * powers[None, :, None])
