"""Helps with names in messages: the nearest known one, and patterns with *."""

from __future__ import annotations

import difflib
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from functools import lru_cache


def is_slip(name: str, known: Iterable[str]) -> bool:
    """Tell whether a name looks like a known one misspelt; ``gear_velocity`` is somebody's own."""
    known = list(known)
    return nearest(name, known, 0.75) is not None and not set(name.split("_")) & set(known)


def nearest(name: str, known: Iterable[str], cutoff: float = 0.55) -> str | None:
    """Return the known name most like ``name``, or None when none is."""
    close = difflib.get_close_matches(name[:200], list(known), n=1, cutoff=cutoff)
    return close[0] if close else None


def near(name: str, known: Iterable[str], count: int = 4, cutoff: float = 0.6) -> list[str]:
    """Return the known names most like ``name``, at most ``count``, the most alike first."""
    return difflib.get_close_matches(name[:200], sorted(known), n=count, cutoff=cutoff)


def accepted(name: str, known: Iterable[str], what: str = "") -> str:
    """Say which names are accepted: the nearest first, then the list, cut to 12."""
    names = sorted(set(known))
    if not names:
        return f"none, there is no {what or 'such thing'}"
    listed = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
    near = nearest(name, names)
    return f"{near} (nearest), or one of: {listed}" if near is not None and len(names) > 1 else listed


@lru_cache(maxsize=4096)
def _choices(pattern: str) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(choice.split("*")) for choice in pattern.split("|"))


def matches(pattern: str, name: str) -> bool:
    """Tell whether ``name`` fits ``pattern``: * stands for any run of characters, slashes included, | for or."""
    return any(_fits(parts, name) for parts in _choices(pattern))


def _fits(parts: tuple[str, ...], name: str) -> bool:
    """Tell whether the parts of a pattern between its stars stand in a name one after another.

    Each is taken where it first stands, which leaves most for those behind it; so nothing is tried twice.
    """
    first, *middle, last = parts if len(parts) > 1 else (parts[0], None)
    if last is None:
        return name == first
    if not name.startswith(first):
        return False
    at = len(first)
    for part in middle:
        at = name.find(part, at)
        if at < 0:
            return False
        at += len(part)
    return len(name) - at >= len(last) and name.endswith(last)


def matches_any(pattern: str, names: Iterable[str]) -> bool:
    """Tell whether ``pattern`` fits at least one of ``names``."""
    choices = _choices(pattern)
    return any(_fits(parts, name) for name in names for parts in choices)


class Named:
    """Names in which those that fit a pattern are looked up: only names that begin as the pattern does are read."""

    def __init__(self, names: Sequence[str]) -> None:
        self._rows = sorted(range(len(names)), key=names.__getitem__)
        self._names = [names[row] for row in self._rows]

    def fitting(self, pattern: str) -> set[int]:
        """Return the rows of the names that fit a pattern (see ``matches``)."""
        found: set[int] = set()
        for parts in _choices(pattern):
            begins = parts[0]
            first = bisect_left(self._names, begins)
            while first < len(self._names) and self._names[first].startswith(begins):
                if _fits(parts, self._names[first]):
                    found.add(self._rows[first])
                first += 1
        return found
