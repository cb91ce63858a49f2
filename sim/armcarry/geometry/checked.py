"""What is asked of a number, a vector or a pose where a shape, joint or body is made, in words for the user."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from armcarry.errors import InputError
from armcarry.geometry.poses import Array

#: larger than any platform, metres; a value beyond is a slip of units
LARGEST_M = 1e6
#: how far the columns of a rotation may be from length 1 and right angles: over 10 m no more than what covers rounding
SQUARE = 1e-7


def size_m(what: str, value: object, *, zero: bool = False) -> float:
    """Return a size in metres. Raises InputError unless it is a number more than 0, or 0 where that is a size too."""
    number = real(value)
    if not (number >= 0.0 if zero else number > 0.0) or not number <= LARGEST_M:
        least = "0 or more" if zero else "more than 0"
        raise InputError(f"{what}: no size", found=told(value), accepted=f"metres, {least}, at most {LARGEST_M:g}")
    return number


def name(what: str, value: object) -> str:
    """Return a name. Raises InputError unless it is text that is not empty."""
    if not isinstance(value, str) or not value:
        raise InputError(f"{what}: not a name", found=told(value), accepted="text that is not empty")
    return value


def listed(what: str, value: object, accepted: str) -> tuple[Any, ...]:
    """Return what is in a list. Raises InputError for what has nothing in it to go through, and for text."""
    if isinstance(value, str | bytes) or not isinstance(value, Iterable):
        raise InputError(f"{what}: not a list", found=told(value), accepted=accepted)
    return tuple(value)


def vectors(what: str, value: object, shape: tuple[int | None, ...]) -> Array:
    """Return finite numbers of a shape, None for any length; none larger than a platform. Raises InputError."""
    try:
        given = np.asarray(value)
        array = np.full(0, np.nan) if given.dtype.kind in "USbc" else np.asarray(given, dtype=float)
    except (TypeError, ValueError, OverflowError):
        array = np.full(0, np.nan)
    fits = array.ndim == len(shape) and all(
        wanted in (None, found) for wanted, found in zip(shape, array.shape, strict=True)
    )
    if not fits or not np.all(np.abs(array) <= LARGEST_M):  # nan compares false
        spelled = " by ".join("any number" if length is None else str(length) for length in shape)
        raise InputError(
            f"{what}: not what is accepted", found=told(value), accepted=f"{spelled} numbers of at most {LARGEST_M:g} m"
        )
    return array


def pose(what: str, value: object) -> Array:
    """Return a pose (4, 4). Raises InputError unless it turns and moves, and does not stretch or mirror."""
    array = vectors(what, value, (4, 4))
    (a, b, c, _), (d, e, f, _), (g, h, i, _), last = array.tolist()
    square = (
        max(abs(a * a + d * d + g * g - 1.0), abs(b * b + e * e + h * h - 1.0), abs(c * c + f * f + i * i - 1.0),
            abs(a * b + d * e + g * h), abs(a * c + d * f + g * i), abs(b * c + e * f + h * i)) <= SQUARE
    )  # fmt: skip
    turns = square and a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g) > 0.0
    if not turns or last != [0.0, 0.0, 0.0, 1.0]:
        raise InputError(
            f"{what}: it stretches, mirrors or skews", found=told(value),
            accepted="a pose (4, 4): columns of a rotation of length 1 at right angles, right-handed, last row 0 0 0 1",
        )
    return array


def axis(what: str, value: object) -> Array:
    """Return a unit axis (3,). Raises InputError unless its length is 1."""
    array = vectors(what, value, (3,))
    length = math.sqrt(float(array @ array))
    if not abs(length - 1.0) <= 1e-6:
        raise InputError(f"{what}: its length is not 1", found=told(value), accepted="a unit vector (3,)")
    return array if abs(length - 1.0) <= 1e-15 else np.asarray(array / length)


def told(value: object) -> object:
    """Return what a message shows of a value: no more than a line."""
    if isinstance(value, np.ndarray):
        value = value.tolist() if value.size <= 4 else f"an array of shape {value.shape}"
    if value is None:
        return "nothing"
    words = repr(value) if not isinstance(value, str) else value
    return value if len(words) <= 80 else f"{words[:77]}..."


def real(value: object) -> float:
    """Return a number as float, nan for what is none; text and yes or no are none."""
    if isinstance(value, str | bytes | bool | np.bool_):
        return math.nan
    try:
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return math.nan
