"""Tables of what was worked out before."""

from __future__ import annotations

from typing import TypeVar

V = TypeVar("V")


def remember(table: dict[tuple[object, ...], V], key: tuple[object, ...], value: V, most: int) -> None:
    """Keep a value in a table that forgets the oldest beyond so many."""
    table[key] = value
    while len(table) > most:
        del table[next(iter(table))]
