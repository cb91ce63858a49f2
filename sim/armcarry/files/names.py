"""Helps with names in messages: the nearest known one, and patterns with *."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from functools import lru_cache


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like ``name``, or None when none is."""
    close = difflib.get_close_matches(name[:200], list(known), n=1, cutoff=0.55)
    return close[0] if close else None


def accepted(name: str, known: Iterable[str], what: str = "") -> str:
    """Say which names are accepted: the nearest first, then the list, cut to 12."""
    names = sorted(set(known))
    if not names:
        return f"none, there is no {what or 'such thing'}"
    listed = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
    near = nearest(name, names)
    return f"{near} (nearest), or one of: {listed}" if near is not None and len(names) > 1 else listed


@lru_cache(maxsize=4096)
def _compiled(pattern: str) -> re.Pattern[str]:
    choices = (".*".join(re.escape(part) for part in choice.split("*")) for choice in pattern.split("|"))
    return re.compile("|".join(choices))


def matches(pattern: str, name: str) -> bool:
    """Tell whether ``name`` fits ``pattern``: * stands for any run of characters, slashes included, | for or."""
    return _compiled(pattern).fullmatch(name) is not None


def matches_any(pattern: str, names: Iterable[str]) -> bool:
    """Tell whether ``pattern`` fits at least one of ``names``."""
    return any(matches(pattern, name) for name in names)
