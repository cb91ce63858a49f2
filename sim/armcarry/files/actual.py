"""Times of steps as they were flown, from a table that people fill in: CSV with step, start, end and a remark."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import InputError, QuantityError
from armcarry.files import names
from armcarry.files.validate import raise_all
from armcarry.quantities import parse
from armcarry.texts import shown

#: header of a table: times from the start of the run, or by the clock of the day
COLUMNS = ("step", "start", "end", "remark")
CLOCK = ("step", "start (clock)", "end (clock)", "remark")
_MOST_BYTES, _MOST_ROWS = 2_000_000, 10_000


@dataclass(frozen=True)
class Actual:
    """When a step was really done, s from the start of the run; ``end_s`` is None where nobody wrote it down."""

    start_s: float
    end_s: float | None
    remark: str = ""


def read_actual(path: Path, steps: tuple[str, ...], day_start_s: float | None) -> dict[str, Actual]:
    """Read the times of steps.

    Args:
        path: CSV, UTF-8; the remark may be left out, and the end of a step that went on.
        steps: names that the run has.
        day_start_s: time of day at which it began, for times by the clock.

    Raises:
        InputError: not such a table, with file and line; InputErrors for several problems.
    """
    rows = _rows(path)
    clock = tuple(rows[0][1][:3]) == CLOCK[:3]
    if not clock and tuple(rows[0][1][:3]) != COLUMNS[:3]:
        raise InputError("not a table of times", file=path, line=1, found=", ".join(rows[0][1])[:80],
                         accepted=f"{', '.join(COLUMNS)}; or {', '.join(CLOCK)}")  # fmt: skip
    if clock and day_start_s is None:
        raise InputError("this run belongs to no day, so the clock says nothing of it", file=path, line=1,
                         accepted=", ".join(COLUMNS))  # fmt: skip
    problems: list[InputError] = []
    found: dict[str, Actual] = {}
    for line, cells in rows[1:]:
        try:
            name, made = _row(path, line, cells, steps, day_start_s if clock and day_start_s else 0.0)
        except InputError as error:
            problems.append(error)
            continue
        if name in found:
            problems.append(InputError(f"step '{name}' is told twice", file=path, line=line, accepted="once"))
        found[name] = made
    raise_all(problems)
    return found


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    """Return the lines of a table that are not empty, each with its number. Raises InputError."""
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from error
    except UnicodeDecodeError:
        raise InputError("not text in UTF-8", file=path) from None
    if len(content) > _MOST_BYTES:
        raise InputError("too large for a table of times", file=path, accepted=f"at most {_MOST_BYTES} bytes")
    try:
        reader = csv.reader(text.splitlines(), strict=True)
        rows = [(reader.line_num, [shown(cell).strip() for cell in row]) for row in reader if any(map(str.strip, row))]
    except csv.Error as error:
        raise InputError(f"not a table: {error}", file=path, accepted="CSV") from None
    if not rows or len(rows) > _MOST_ROWS:
        raise InputError("not a table of times", file=path, found=f"{len(rows)} lines", accepted=", ".join(COLUMNS))
    return rows


def _row(path: Path, line: int, cells: list[str], steps: tuple[str, ...], clock_s: float) -> tuple[str, Actual]:
    if not 2 <= len(cells) <= len(COLUMNS):
        raise InputError("not a line of the table", file=path, line=line, found=f"{len(cells)} cells",
                         accepted=", ".join(COLUMNS))  # fmt: skip
    name, start, end, remark = (*cells, "", "")[:4]
    if name not in steps:
        raise InputError(f"no step named '{name[:80]}' in this run", file=path, line=line,
                         accepted=names.accepted(name, steps, "step"))  # fmt: skip
    start_s = _time(path, line, start) - clock_s
    end_s = _time(path, line, end) - clock_s if end else None
    if start_s < 0 or (end_s is not None and end_s < start_s):
        raise InputError("a step that ends before it begins, or begins before the run", file=path, line=line,
                         found=f"{start} to {end}", accepted="start before end")  # fmt: skip
    return name, Actual(start_s, end_s, remark)


def _time(path: Path, line: int, text: str) -> float:
    try:
        return parse(text, "time")
    except QuantityError as error:
        raise InputError(error.problem, file=path, line=line, found=text[:80], accepted="0:12:30, or 750 s") from None
