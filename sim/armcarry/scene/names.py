"""Name patterns: ``*`` stands for any run of characters, slashes included."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache


@lru_cache(maxsize=4096)
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile("".join(".*" if part == "*" else re.escape(part) for part in re.split(r"(\*)", pattern)))


def matches(pattern: str, name: str) -> bool:
    """Tell whether the whole name fits the pattern."""
    return _compiled(pattern).fullmatch(name) is not None


def pair_matches(patterns: tuple[str, str], names: tuple[str, str]) -> bool:
    """Tell whether the two names fit the two patterns, in either order."""
    (p, q), (a, b) = patterns, names
    return (matches(p, a) and matches(q, b)) or (matches(p, b) and matches(q, a))


def any_pair_matches(patterns: Iterable[tuple[str, str]], names: tuple[str, str]) -> bool:
    """Tell whether any of the pairs of patterns fits the two names."""
    return any(pair_matches(pair, names) for pair in patterns)
