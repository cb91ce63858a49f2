"""Smooth edges of a picture that was drawn with one sample a point.

A leaning edge is drawn as stairs. Where brightness jumps between two points, the step of the stair is followed to both
its ends: how near the point is to one of them tells which share of it lies beyond the true edge, and so much of its
neighbour's colour it gets. What has no edge stays to the bit.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Row = NDArray[np.float32]

#: brightness, of 255, that makes an edge: so much, or this share of the brightest about it
_JUMP, _SHARE = 12.0, 0.125
#: a step is followed so far, pixels; a rim as wide stays as it is
_REACH = 10


def smoothed(picture: Bytes) -> Bytes:
    """Return a picture (h, w, 3) with its edges smoothed."""
    return np.asarray(_smoothed(picture, _bright(picture)))


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _bright(picture: Bytes) -> NDArray[np.float32]:
    h, w = picture.shape[:2]
    found = np.empty((h, w), dtype=np.float32)
    for i in range(h):
        for j in range(w):
            found[i, j] = 0.3 * picture[i, j, 0] + 0.59 * picture[i, j, 1] + 0.11 * picture[i, j, 2]
    return found


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _around(up: Row, down: Row, left: Row, right: Row, here: Row, low: Row, high: Row) -> None:
    """Write the least and the most about each point of a row: without branches, so many points at once."""
    for j in range(len(here)):
        a, b = (up[j] if up[j] < down[j] else down[j]), (left[j] if left[j] < right[j] else right[j])
        c = a if a < b else b
        low[j] = c if c < here[j] else here[j]
        a, b = (up[j] if up[j] > down[j] else down[j]), (left[j] if left[j] > right[j] else right[j])
        c = a if a > b else b
        high[j] = c if c > here[j] else here[j]


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _along(flat: Row, at: int, side: int, step: int, middle: float, jump: float) -> tuple[int, float]:
    """Return after how many steps the stair between a point and the one beside it ends, and how bright it is there."""
    off = np.float32(0.0)
    for k in range(1, _REACH + 1):
        off = (flat[at + k * step] + flat[at + k * step + side]) / 2 - middle
        if abs(off) >= jump:
            return k, float(off)
    return _REACH, float(off)


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _smoothed(picture: Bytes, bright: NDArray[np.float32]) -> Bytes:
    h, w = bright.shape
    out, flat, colours = picture.copy(), bright.reshape(-1), picture.reshape(-1, 3)
    low, high = np.empty(w - 2, dtype=np.float32), np.empty(w - 2, dtype=np.float32)
    for i in range(_REACH + 1, h - _REACH - 1):
        up, down, row = bright[i - 1], bright[i + 1], bright[i]
        _around(up[1:-1], down[1:-1], row[:-2], row[2:], row[1:-1], low, high)
        for j in range(_REACH + 1, w - _REACH - 1):
            if high[j - 1] - low[j - 1] < _JUMP or high[j - 1] - low[j - 1] < _SHARE * high[j - 1]:
                continue
            here, n, s, e, t = row[j], up[j], down[j], row[j + 1], row[j - 1]
            a, b, c, d = up[j - 1], up[j + 1], down[j - 1], down[j + 1]
            lying = abs(a - 2 * t + c) + 2 * abs(n - 2 * here + s) + abs(b - 2 * e + d)
            standing = abs(a - 2 * n + b) + 2 * abs(t - 2 * here + e) + abs(c - 2 * s + d)
            step, side, before, beside = (1, w, n, s) if lying >= standing else (w, 1, t, e)
            if abs(before - here) >= abs(beside - here):
                side, beside = -side, before
            at, middle, jump = i * w + j, (here + beside) / 2, abs(beside - here) / 4
            back, end_back = _along(flat, at, side, -step, middle, jump)
            on, end_on = _along(flat, at, side, step, middle, jump)
            end = end_back if back < on else end_on
            if (here < middle) == (end < 0):  # the nearer end is one of the stair's other step
                continue
            share = 0.5 - min(back, on) / (back + on)
            for k in range(3):
                mixed = (1 - share) * colours[at, k] + share * colours[at + side, k]
                out[i, j, k] = int(mixed + 0.5)
    return out
