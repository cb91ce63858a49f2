"""Pairs of names against pairs of patterns, in either order."""

from __future__ import annotations

from collections.abc import Iterable

from armcarry.files.names import matches


def pair_matches(patterns: tuple[str, str], names: tuple[str, str]) -> bool:
    """Tell whether the two names fit the two patterns, in either order."""
    (p, q), (a, b) = patterns, names
    return (matches(p, a) and matches(q, b)) or (matches(p, b) and matches(q, a))


def any_pair_matches(patterns: Iterable[tuple[str, str]], names: tuple[str, str]) -> bool:
    """Tell whether any of the pairs of patterns fits the two names."""
    return any(pair_matches(pair, names) for pair in patterns)
