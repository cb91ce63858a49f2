"""Compile the kernels of this room with numba, kept on disk so that only the first start ever is slow."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba

Function = TypeVar("Function", bound=Callable[..., Any])

#: numpy rules for division (no raise inside kernels); a*b+c may be fused, which only loses less rounding
_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def source_digest() -> int:
    """Return a number that changes when any file of this room changes.

    numba keys its cache on the file of the outermost function only. Entry points close over this number,
    so that a changed inner kernel is never served from an old cache.
    """
    text = b"".join(path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py")))
    return int.from_bytes(hashlib.blake2b(text, digest_size=6).digest(), "big")


def kernel(function: Function) -> Function:
    """Compile an inner function; it is cached as part of the entry points that call it.

    Inner functions allocate nothing, so reference counting of their arrays is switched off: it costs
    two atomic operations an array and halves the speed of GJK.
    """
    return numba.njit(_nrt=False, **_OPTIONS)(function)  # type: ignore[no-any-return]


def inlined(function: Function) -> Function:
    """Compile a small inner function that must not cost a call."""
    return numba.njit(forceinline=True, _nrt=False, **_OPTIONS)(function)  # type: ignore[no-any-return]


def entry(function: Function) -> Function:
    """Compile a function that Python calls, cached on disk where any place can be written.

    numba tries NUMBA_CACHE_DIR, then __pycache__ beside the file, then the user's cache directory. Where
    none can be written (a read-only container) the function is compiled once per process instead.
    """
    try:
        return numba.njit(cache=True, **_OPTIONS)(function)  # type: ignore[no-any-return]
    except RuntimeError:  # "cannot cache function: no locator available"
        return numba.njit(**_OPTIONS)(function)  # type: ignore[no-any-return]
