"""Ways on that were found for a run, kept beside what is made of it: its page and report carry them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import RecordError
from armcarry.record.folder import read_small
from armcarry.views.table import Table

#: the folder within that of what is made of a run, the file in it, and the page of all side by side
FOLDER, FILE, PAGE = "ways", "ways.json", "ways.html"
FORMAT = "armcarry ways on 1"
Titled = tuple[str, Sequence[str], Sequence[tuple[str, ...]]]


@dataclass(frozen=True)
class WaysKept:
    """What is told of ways on.

    Attributes:
        title: of which day, from when.
        tables: (title, table): all ways, then what is otherwise and what was found of each.
        page: where all are shown side by side, from what is made of the run.
    """

    title: str
    tables: tuple[tuple[str, Table], ...]
    page: str = f"{FOLDER}/{PAGE}"


def ways_text(title: str, tables: Iterable[Titled]) -> str:
    """Return what a folder of ways keeps of them."""
    listed = [{"title": name, "columns": list(columns), "rows": [list(row) for row in rows]}
              for name, columns, rows in tables]  # fmt: skip
    return json.dumps({"format": FORMAT, "title": title, "tables": listed}, indent=1, ensure_ascii=False) + "\n"


def read_ways(folder: Path) -> WaysKept | None:
    """Return the ways on kept in a folder of what is made of a run; None where there are none.

    Raises:
        RecordError: the file cannot be read, or is not of that form.
    """
    path = folder / FOLDER / FILE
    if not path.exists() and not path.is_symlink():
        return None
    found = read_small(path, folder)
    right = isinstance(found, dict) and found.get("format") == FORMAT and isinstance(found.get("title"), str)
    tables = [_table(one) for one in found["tables"]] if right and isinstance(found.get("tables"), list) else [None]
    if any(one is None for one in tables):
        raise RecordError(
            f"{path} holds no ways on; accepted: '{FORMAT}' under format, a title, and tables of texts, as 'armcarry "
            "replan' writes them"
        )
    return WaysKept(found["title"], tuple(one for one in tables if one is not None))


def _table(one: Any) -> tuple[str, Table] | None:
    entry: dict[str, Any] = one if isinstance(one, dict) else {}
    title, columns, rows = entry.get("title"), entry.get("columns"), entry.get("rows")
    if not isinstance(title, str) or not _texts(columns) or not isinstance(rows, list):
        return None
    if columns is None or not all(_texts(row) and len(row) == len(columns) for row in rows):
        return None
    return title, Table(tuple(columns), tuple(tuple(row) for row in rows))


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)
