"""Motion: every joint of a tree as piecewise polynomials of time, valid at every instant."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import FrameError, MotionError
from armcarry.geometry.poses import Array

#: a clock that shows more (300 years) goes in steps of microseconds; a count of milliseconds since 1970 is more
LATEST_S = 1e10
#: times of a run that differ by less are the same, digits of a second
CLOCK_DIGITS = 9


@dataclass(frozen=True, eq=False)
class Motion:
    """Joint positions as polynomials in the time since the start of each piece.

    Attributes:
        joints: full joint names, n of them.
        breaks_s: strictly increasing times (K+1,).
        coefficients: (K, D+1, n), ascending powers of seconds since breaks_s[k]; rad or m.

    A joint may jump only at a break; evaluation there takes the later piece unless ``side='left'``.
    """

    joints: tuple[str, ...]
    breaks_s: Array
    coefficients: Array

    def __post_init__(self) -> None:
        try:
            breaks, coefficients = np.asarray(self.breaks_s, dtype=float), np.asarray(self.coefficients, dtype=float)
        except (TypeError, ValueError, OverflowError):
            raise MotionError("a motion needs numbers: times, and coefficients of every joint") from None
        if breaks.ndim != 1 or len(breaks) < 2 or np.any(np.diff(breaks) <= 0):
            raise MotionError("a motion needs at least two strictly increasing times")
        if coefficients.ndim != 3 or coefficients.shape[::2] != (len(breaks) - 1, len(self.joints)):
            raise MotionError(
                f"coefficients of shape {coefficients.shape} do not fit "
                f"{len(breaks) - 1} pieces of {len(self.joints)} joints"
            )
        with np.errstate(over="ignore", invalid="ignore"):  # in shares of a piece: what a joint goes in it
            goes = coefficients * np.diff(breaks)[:, None, None] ** np.arange(coefficients.shape[1])[:, None]
        if not (np.all(np.isfinite(breaks)) and np.all(np.isfinite(coefficients)) and np.all(np.isfinite(goes))):
            raise MotionError("a motion must be finite")
        if max(-breaks[0], breaks[-1]) > LATEST_S:
            raise MotionError(
                f"a clock at {max(-breaks[0], breaks[-1]):g} s is too coarse to say when something is; at most "
                f"{LATEST_S:g} s, so subtract its start, or give seconds"
            )
        object.__setattr__(self, "breaks_s", breaks)
        object.__setattr__(self, "coefficients", coefficients)

    @property
    def start_s(self) -> float:
        """First instant."""
        return float(self.breaks_s[0])

    @property
    def end_s(self) -> float:
        """Last instant."""
        return float(self.breaks_s[-1])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    @property
    def moving(self) -> np.ndarray:
        """Which joints (n,) are not constant over the whole motion."""
        table = self.coefficients
        return np.asarray(np.any(table[:, 1:] != 0.0, axis=(0, 1)) | np.any(table[:, 0] != table[0, 0], axis=0))

    @staticmethod
    def hold(joints: Sequence[str], position: ArrayLike, start_s: float, end_s: float) -> Motion:
        """Return a motion that stands still at position (n,) from start_s to end_s."""
        position = np.asarray(position, dtype=float)
        return Motion(tuple(joints), np.array([start_s, end_s], dtype=float), position[None, None, :])

    def at(self, time_s: ArrayLike, order: int = 0, side: str = "right") -> Array:
        """Return position (order 0), rate (1), acceleration (2) ... at time_s (...): shape (..., n).

        Times outside the motion are clamped to its ends (position is held).
        """
        local, piece = self._found(np.asarray(time_s, dtype=float), side)
        # gathered power by power: all coefficients of all instants are several times what comes of them
        return self._derivative(local, lambda power: self.coefficients[piece, power], order)

    def derivatives(self, time_s: ArrayLike) -> list[Array]:
        """Return position, rate, acceleration and so on at time_s, as many as there are powers; see ``at``."""
        local, piece = self._found(np.asarray(time_s, dtype=float), "right")
        table = self.coefficients[piece]
        return [self._derivative(local, lambda power: table[..., power, :], order) for order in range(table.shape[-2])]

    def _found(self, time: Array, side: str) -> tuple[Array, np.ndarray]:
        """Return times since their pieces begin (...,), and which pieces these are (...,)."""
        piece = np.searchsorted(self.breaks_s[1:-1], time, side="left" if side == "left" else "right")
        return np.clip(time, self.start_s, self.end_s) - self.breaks_s[piece], piece

    def _derivative(self, local_s: Array, of: Callable[[int], Array], order: int) -> Array:
        """Return a derivative (..., n) at times (...,) in pieces, whose coefficients (..., n) are told by power."""
        _, powers, joints = self.coefficients.shape
        result = np.zeros((*local_s.shape, joints))
        for power in range(powers - 1, order - 1, -1):
            result = result * local_s[..., None] + math.perm(power, order) * of(power)
        return result

    def then(self, other: Motion) -> Motion:
        """Return this motion followed at once by another of the same joints, shifted in time to fit."""
        if other.joints != self.joints:
            raise MotionError("only motions of the same joints can follow one another")
        degree = max(self.coefficients.shape[1], other.coefficients.shape[1])
        shift = self.end_s - other.start_s
        return Motion(
            self.joints,
            np.concatenate([self.breaks_s, other.breaks_s[1:] + shift]),
            np.concatenate([_raise(self.coefficients, degree), _raise(other.coefficients, degree)]),
        )

    def shifted(self, by_s: float) -> Motion:
        """Return the same motion by_s seconds later."""
        return Motion(self.joints, self.breaks_s + by_s, self.coefficients)

    def from_zero(self) -> Motion:
        """Return the same motion as it is whenever it begins: from 0 s, without powers that nothing has."""
        used = np.flatnonzero(np.any(self.coefficients != 0.0, axis=(0, 2)))
        return Motion(self.joints, self.breaks_s - self.start_s, self.coefficients[:, : int(used.max(initial=0)) + 1])

    @property
    def known_by(self) -> tuple[bytes, bytes]:
        """What two motions share that are the same, their clocks to ``CLOCK_DIGITS``."""
        return np.round(self.breaks_s, CLOCK_DIGITS).tobytes(), self.coefficients.tobytes()

    def between(self, start_s: float, end_s: float) -> Motion:
        """Return the part from start_s to end_s, exactly (pieces are re-expanded, not sampled).

        Raises:
            MotionError: the interval is empty or outside the motion.
        """
        if not self.start_s <= start_s < end_s <= self.end_s:
            raise MotionError(
                f"{start_s:g} to {end_s:g} s is not inside {self.start_s:g} to {self.end_s:g} s"
            )
        first = int(np.searchsorted(self.breaks_s, start_s, side="right")) - 1
        last = int(np.searchsorted(self.breaks_s, end_s, side="left"))
        breaks = np.concatenate([[start_s], self.breaks_s[first + 1 : last], [end_s]])
        table = self.coefficients[first:last].copy()
        table[0] = _reexpand(table[0], start_s - float(self.breaks_s[first]))
        return Motion(self.joints, breaks, table)

    def cut_at(self, times_s: Array) -> Motion:
        """Return the same motion with a piece between each two of times (C+1,), which hold all its own breaks."""
        piece = np.searchsorted(self.breaks_s[1:-1], times_s[:-1], side="right")
        table = np.moveaxis(self.coefficients[piece], 0, 1)
        later = _reexpand(table, (times_s[:-1] - self.breaks_s[piece])[:, None])
        return Motion(self.joints, times_s, np.moveaxis(later, 1, 0))

    def extremes(self, order: int = 0) -> tuple[Array, Array]:
        """Return the exact least and greatest value (n,), (n,) of the order-th derivative over the motion."""
        low, high = self.extremes_of_pieces(order)
        return low.min(axis=0), high.max(axis=0)

    def extremes_of_pieces(self, order: int = 0) -> tuple[Array, Array]:
        """Return the exact least and greatest value (K, n), (K, n) of the order-th derivative over each piece.

        Found at the ends of pieces and at the roots of the next derivative, not by sampling.
        """
        # in shares of each piece, so that the size of a coefficient is its size on the piece
        count = self.coefficients.shape[1]
        scale = np.diff(self.breaks_s)[:, None] ** np.arange(count)
        table = self.coefficients * scale[:, :, None]
        for _ in range(order):
            table = _slope(table)
        table = np.moveaxis(table, 1, 2).reshape(-1, table.shape[1])  # (K n, powers)
        values = np.stack([table[:, 0], table.sum(axis=1)])
        low, high = values.min(axis=0), values.max(axis=0)
        rows, places = _stationary(np.moveaxis(_slope(table[:, :, None]), 2, 1)[:, 0])
        inner = np.zeros(len(rows))
        for column in table[rows].T[::-1]:
            inner = inner * places + column
        np.minimum.at(low, rows, inner)
        np.maximum.at(high, rows, inner)
        length = np.diff(self.breaks_s)[:, None] ** order
        shape = (-1, len(self.joints))
        return low.reshape(shape) / length, high.reshape(shape) / length

    def extremes_during(self, starts_s: Array, ends_s: Array, order: int = 0) -> tuple[Array, Array]:
        """Return the exact least and greatest value (R, n), (R, n) of a derivative over many stretches of the motion.

        The motion is cut once wherever a stretch begins or ends; what stretches share is looked at once.
        """
        if not len(starts_s):
            return np.zeros((0, len(self.joints))), np.zeros((0, len(self.joints)))
        inner = self.breaks_s[(self.breaks_s > starts_s.min()) & (self.breaks_s < ends_s.max())]
        edges = np.unique(np.concatenate([inner, starts_s, ends_s]))
        low, high = self.cut_at(edges).extremes_of_pieces(order)
        at = np.stack([np.searchsorted(edges, starts_s), np.searchsorted(edges, ends_s)], axis=1).ravel()
        low, high = np.append(low, low[-1:], axis=0), np.append(high, high[-1:], axis=0)
        return np.minimum.reduceat(low, at)[::2], np.maximum.reduceat(high, at)[::2]

    def columns_of(self, joints: Sequence[str]) -> np.ndarray:
        """Return the column numbers of the named joints. Raises FrameError with the nearest name."""
        where = {name: k for k, name in enumerate(self.joints)}
        for name in joints:
            if name not in where:
                raise FrameError("joint", name, self.joints)
        return np.array([where[name] for name in joints], dtype=np.int64)


def _raise(coefficients: Array, count: int) -> Array:
    missing = count - coefficients.shape[1]
    return np.pad(coefficients, ((0, 0), (0, missing), (0, 0)))


def _slope(table: Array) -> Array:
    """Return the derivative of ascending coefficients (K, D+1, n); one zero row is left of a constant."""
    if table.shape[1] < 2:
        return np.zeros_like(table)
    return np.asarray(table[:, 1:] * np.arange(1, table.shape[1])[:, None])


def _stationary(slopes: Array) -> tuple[np.ndarray, Array]:
    """Return row and place of the roots in [0, 1] of polynomials (M, P), ascending coefficients.

    Roots a little off the real axis are taken at their real part: looking at one place more is harmless.
    """
    size = np.abs(slopes)
    # leading coefficients that rounding would lose against the largest are no part of the polynomial
    counts = (size > 1e-15 * size.max(axis=1, keepdims=True)) * np.arange(1, slopes.shape[1] + 1)
    degrees = counts.max(axis=1) - 1
    rows, places = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for degree in range(1, slopes.shape[1]):
        chosen = np.flatnonzero(degrees == degree)
        if not len(chosen):
            continue
        companion = np.zeros((len(chosen), degree, degree))
        companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1.0
        companion[:, :, -1] = -slopes[chosen, :degree] / slopes[chosen, degree, None]
        roots = np.linalg.eigvals(companion)
        near = (np.abs(roots.imag) < 1e-2) & (roots.real >= 0) & (roots.real <= 1)
        rows.append(np.repeat(chosen[:, None], degree, axis=1)[near])
        places.append(roots.real[near])
    return np.concatenate(rows), np.concatenate(places)


def _reexpand(table: Array, by_s: float | Array) -> Array:
    """Taylor shift of ascending coefficients (D+1, ...) to a new origin by_s later."""
    result = table.copy()
    for start in range(len(table) - 1):
        for power in range(len(table) - 2, start - 1, -1):
            result[power] = result[power] + by_s * result[power + 1]
    return result
