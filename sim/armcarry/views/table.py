"""A table as every document of a briefing holds it."""

from __future__ import annotations

from typing import NamedTuple


class Table(NamedTuple):
    """A table: column titles, and rows of as many texts."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
