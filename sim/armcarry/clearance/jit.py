"""Compile the kernels of this room with numba, kept on disk so that only the first start ever is slow."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar, TypeVar

import numba
from llvmlite.binding import get_host_cpu_name  # type: ignore[import-untyped]
from numba.core import ccallback, dispatcher
from numba.core.caching import FunctionCache

Function = TypeVar("Function", bound=Callable[..., Any])

#: numpy rules for division (no raise inside kernels); a*b+c may be fused, which only loses less rounding
_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"}}
#: inner functions allocate nothing, so counting references to their arrays is switched off (it halves the
#: speed of GJK), and Python never calls them, so they need no wrappers (a third of the compile time)
_INNER: dict[str, Any] = {"_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}


class KernelCache(FunctionCache):  # type: ignore[misc]
    """numba's cache of a function, which goes on where numba would end: with a damaged file, or on a full disk."""

    #: what was said already; each thing once a process
    _told: ClassVar[set[str]] = set()

    def _load_overload(self, sig: Any, target_context: Any) -> Any:
        try:
            return super()._load_overload(sig, target_context)
        except Exception:  # cut short, or not numba's at all: it may break in whatever way
            self._say("a compiled kernel in the cache is damaged and is compiled again")
            for path in Path(self._cache_path).glob(f"{self._impl.filename_base}.*"):
                with suppress(OSError):
                    path.unlink()
            return None

    def _save_overload(self, sig: Any, data: Any) -> None:
        try:
            super()._save_overload(sig, data)
        except OSError as error:
            self._say(f"compiled kernels cannot be kept in {self._cache_path} ({error.strerror}): every start compiles")
            self._enabled = False

    def _say(self, words: str) -> None:
        if words not in self._told:
            self._told.add(words)
            sys.stderr.write(f"{words}\n")


@contextmanager
def _whole_cache() -> Iterator[None]:
    """Have numba take our cache in the place of its own while a function is declared."""
    users: tuple[Any, ...] = (dispatcher, ccallback)
    before = [user.FunctionCache for user in users]
    for user in users:
        user.FunctionCache = KernelCache
    try:
        yield
    finally:
        for user, own in zip(users, before, strict=True):
            user.FunctionCache = own


#: the files that hold inner kernels
_KERNELS = (
    "jit", "book", "support", "simplex", "gjk", "timetree", "bend", "search", "contact", "pool", "prove", "rest",
    "along", "grouped", "paint", "distance", "planes", "measure",
)  # fmt: skip


def source_digest() -> int:
    """Return a number that changes when any file with inner kernels changes.

    numba keys its cache on the file of the outermost function only. Entry points close over this number,
    so that a changed inner kernel is never served from an old cache.
    """
    text = b"".join(Path(__file__).with_name(f"{name}.py").read_bytes() for name in _KERNELS)
    return int.from_bytes(hashlib.blake2b(text, digest_size=6).digest(), "big")


def kernel(function: Function) -> Function:
    """Compile an inner function; it is cached as part of the entry points that call it."""
    return numba.njit(**_INNER, **_OPTIONS)(function)  # type: ignore[no-any-return]


def inlined(function: Function) -> Function:
    """Compile a small inner function that must not cost a call."""
    return numba.njit(forceinline=True, **_INNER, **_OPTIONS)(function)  # type: ignore[no-any-return]


def by_address(result: str, wholes: int, reals: int) -> Callable[[Function], Any]:
    """Compile (book, wholes..., reals...) -> result on its own, to be called by address; see book.py."""
    signature = f"{result}({', '.join(['int64'] * (1 + wholes) + ['float64'] * reals)})"

    def compile_it(function: Function) -> Any:
        try:
            with _whole_cache():
                return numba.cfunc(signature, cache=True, **_OPTIONS)(function)
        except RuntimeError:
            return numba.cfunc(signature, **_OPTIONS)(function)

    return compile_it


def entry(function: Function) -> Function:
    """Compile a function that Python calls, cached on disk where any place can be written.

    numba tries NUMBA_CACHE_DIR, then __pycache__ beside the file, then the user's cache directory. Where
    none can be written (a read-only container) the function is compiled once per process instead.
    """
    try:
        with _whole_cache():
            return numba.njit(cache=True, **_OPTIONS)(function)  # type: ignore[no-any-return]
    except RuntimeError:  # "cannot cache function: no locator available"
        return numba.njit(**_OPTIONS)(function)  # type: ignore[no-any-return]


@entry
def _probe() -> int:
    return 0


def compiled_marker() -> Path | None:
    """Return the file that stands beside the cache once the kernels of this version are compiled for this machine.

    None where no place can be written: then kernels are compiled in every process.
    """
    folder = getattr(_probe.stats, "cache_path", None)  # type: ignore[attr-defined]
    if folder is None:
        return None
    machine = f"{numba.__version__} {get_host_cpu_name()} {source_digest()}"
    return Path(folder) / f"compiled-{hashlib.blake2b(machine.encode(), digest_size=6).hexdigest()}"
