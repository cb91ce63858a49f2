"""Logged joint angles: a table of times and joint positions from a CSV or Parquet file, nothing repaired.

The header names each column with its unit: ``time [s]``, ``shoulder_turn [deg]``; ``time_s`` and
``arm/shoulder_turn_rad`` do as well, so that a run folder's ``motion.parquet`` is a log too. A column
``move`` may say in which row a move of the script begins.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import InputError, QuantityError
from armcarry.files.validate import raise_all
from armcarry.files.yaml_text import read_bytes, shorten
from armcarry.geometry.poses import Array
from armcarry.quantities import KINDS, parse

SUFFIXES = (".csv", ".parquet")
MAX_BYTES = 60_000_000
MAX_ROWS = 500_000
MAX_COLUMNS = 200
MAX_CELLS = 10_000_000
#: lines of a CSV, blank ones and comments counted
MAX_LINES = 4 * MAX_ROWS
TIME, MARK = "time", "move"
#: rows nearer in time than this are one: no logger is that quick, and rates between them are without bound, s
CLOSEST_S = 1e-6
#: an interval longer than this many times the median interval is a gap
GAP_TIMES = 5.0

_BRACKETED = re.compile(r"\s*(\S.*?)\s*\[\s*([^\[\]]+?)\s*\]\s*")
_SUFFIXED = re.compile(r"(.+?)_(s|ms|min|rad|deg|m|mm|cm)")
#: columns of a run's own motion.parquet that follow from the joints
_DERIVED = re.compile(r".+_rate_(rad|m)_s|tip_[xyz]_m|tip_q[wxyz]")


@dataclass(frozen=True)
class Column:
    """One column of positions: the joint as written, and its unit."""

    joint: str
    unit: str


@dataclass(frozen=True)
class Gap:
    """Two rows so far apart in time that what happened between them is not known; times from the first row."""

    line: int
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Mark:
    """A row in which moves of the script begin."""

    line: int
    time_s: float
    moves: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class MotionLog:
    """A log as read: T rows, k columns.

    Attributes:
        path, data: the file and its bytes.
        columns: what each column of values is.
        times_s: (T,) seconds from the first row, strictly increasing.
        values: (T, k) in the unit of each column.
        lines: (T,) line of each row in a CSV (the header is line 1), row number of a Parquet file.
        first_s: the first time as logged.
        gaps: intervals too long to know what happened in them.
        marks: rows in which moves begin.
        left_out: one line of text for each row that was left out because the caller asked for it.
    """

    path: Path
    data: bytes
    columns: tuple[Column, ...]
    times_s: Array
    values: Array
    lines: np.ndarray
    first_s: float
    gaps: tuple[Gap, ...]
    marks: tuple[Mark, ...] = ()
    left_out: tuple[str, ...] = ()
    header_line: int = 1

    @property
    def sha256(self) -> str:
        """Digest of the file, hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, eq=False)
class _Table:
    """Cells as text or numbers: header, and rows with their lines."""

    header: list[str]
    rows: list[tuple[int, list[Any]]]
    header_line: int


def read_motion_log(path: Path, *, leave_out: bool = False, gap_s: float | None = None) -> MotionLog:
    """Read logged joint positions.

    Args:
        path: a .csv or .parquet file.
        leave_out: leave out rows that cannot be used, and list them, instead of refusing the file.
        gap_s: an interval longer than this is a gap; default five times the median interval.

    Raises:
        InputError: header or unit missing, or rows out of order, repeated in time, or with cells that are not
            finite numbers: each with its line. InputErrors when there are several.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError("a log of a kind that is not read", file=path, found=suffix, accepted=", ".join(SUFFIXES))
    data = read_bytes(path, MAX_BYTES, "log")
    table = _csv_table(data, path) if suffix == ".csv" else _parquet_table(data, path)
    _small_enough(len(table.rows), len(table.header), path)
    time_at, time_unit, mark_at, places, columns = _header(table, path)
    scale = parse(f"1 {time_unit}", "time")
    problems: list[InputError] = []
    times, values, lines, marks = list[float](), list[list[float]](), list[int](), list[Mark]()
    first_s: float | None = None
    for line, cells in table.rows:
        problem, numbers = _numbers(cells, [time_at, *places], len(table.header), path, line, table.header)
        time = numbers[0] * scale if numbers else 0.0
        if problem is None and times and time < times[-1] + CLOSEST_S:
            word = "is less than a microsecond after the row" if time > times[-1] else "is earlier than the time"
            word = "repeats the time" if time == times[-1] else word
            problem = InputError(
                f"the row {word} of line {lines[-1]}", file=path, line=line, found=f"{numbers[0]:g} {time_unit}",
                accepted="times that grow from row to row",
            )
        if problem is not None:
            problems.append(problem)
            continue
        first_s = time if first_s is None else first_s
        times.append(time)
        values.append(numbers[1:])
        lines.append(line)
        said = str(cells[mark_at] or "").split() if mark_at is not None else []
        if said:
            marks.append(Mark(line, time - first_s, tuple(said)))
    if problems and not leave_out:
        raise_all(problems)
    if len(times) < 2 or first_s is None:
        raise InputError("a log needs at least two rows that can be used", file=path, found=len(times))
    seconds = np.array(times) - first_s
    return MotionLog(
        path, data, columns, seconds, np.array(values), np.array(lines), first_s, _gaps(seconds, lines, gap_s),
        tuple(marks), tuple(str(problem) for problem in problems), table.header_line,
    )


def _small_enough(rows: int, columns: int, path: Path) -> None:
    for what, found, most in (
        ("rows", rows, MAX_ROWS), ("columns", columns, MAX_COLUMNS), ("cells", rows * columns, MAX_CELLS),
    ):
        if found > most:
            raise InputError(f"too many {what}", file=path, found=found, accepted=f"at most {most}")


def _gaps(times_s: Array, lines: list[int], gap_s: float | None) -> tuple[Gap, ...]:
    steps = np.diff(times_s)
    longest = GAP_TIMES * float(np.median(steps)) if gap_s is None else gap_s
    return tuple(
        Gap(lines[k + 1], float(times_s[k]), float(times_s[k + 1])) for k in np.flatnonzero(steps > longest).tolist()
    )


# -- cells -----------------------------------------------------------------------------------------------


def _numbers(
    cells: list[Any], places: list[int], count: int, path: Path, line: int, header: list[str]
) -> tuple[InputError | None, list[float]]:
    """Return the numbers of a row, or what is wrong with it."""
    if len(cells) != count:
        problem = f"the row has {len(cells)} cells, the header {count}"
        return InputError(problem, file=path, line=line), []
    numbers = []
    for place in places:
        cell = cells[place]
        try:
            # underscores are Python's, not a logger's
            number = float(cell) if cell is not None and "_" not in str(cell) else float("nan")
        except (ValueError, TypeError):
            number = float("nan")
        if not abs(number) <= 1e9:
            return InputError(
                f"no finite number in column '{shorten(header[place])}'", file=path, line=line,
                found=shorten(str("" if cell is None else cell)), accepted="a number in every row",
            ), []
        numbers.append(number)
    return None, numbers


def _header(table: _Table, path: Path) -> tuple[int, str, int | None, list[int], tuple[Column, ...]]:
    """Return place and unit of the time, place of the marks, places and meaning of the joint columns."""
    time: tuple[int, str] | None = None
    mark: int | None = None
    places: list[int] = []
    columns: list[Column] = []
    problems: list[InputError] = []
    seen: dict[str, str] = {}
    for place, text in enumerate(table.header):
        plain = text.strip()
        if plain == MARK:
            mark = place
            continue
        if _DERIVED.fullmatch(plain):
            continue
        short = plain[:200]  # a pattern takes long over many blanks
        found = _BRACKETED.fullmatch(short) or _SUFFIXED.fullmatch(short)
        try:
            if found is None or len(plain) > 200:
                raise InputError(f"column '{shorten(plain)}' names no unit")
            name, unit = found.group(1), found.group(2)
            is_time = name == TIME
            _known_unit(unit, ("time",) if is_time else ("angle", "length"))
            if name in seen:
                raise InputError(f"a second column for '{shorten(name)}'")
        except InputError as error:
            accepted = error.accepted or "time [s], shoulder_turn [deg], ...; move for the names of moves"
            problems.append(
                InputError(error.problem, file=path, line=table.header_line, found=shorten(plain), accepted=accepted)
            )
            continue
        seen[name] = unit
        if is_time:
            time = (place, unit)
        else:
            places.append(place)
            columns.append(Column(name, unit))
    if time is None and not problems:
        problems.append(InputError("no column of times", file=path, line=table.header_line, accepted="time [s]"))
    if not columns and not problems:
        problems.append(
            InputError("no column of joint positions", file=path, line=table.header_line, accepted="elbow_bend [deg]")
        )
    raise_all(problems)
    return *(time or (0, "s")), mark, places, tuple(columns)


def _known_unit(unit: str, kinds: tuple[str, ...]) -> None:
    for kind in kinds:
        try:
            parse(f"1 {unit}", kind)
        except QuantityError:
            continue
        return
    accepted = " or ".join(f"{kind} in {KINDS[kind][1]}" for kind in kinds)
    raise InputError(f"'{shorten(unit)}' is no unit for this column", accepted=accepted)


# -- files -----------------------------------------------------------------------------------------------


def _csv_table(data: bytes, path: Path) -> _Table:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError("not UTF-8 text", file=path, line=line, accepted="CSV in UTF-8") from None
    lines = data.count(b"\n")
    if lines > MAX_LINES:
        raise InputError("too many lines", file=path, found=lines, accepted=f"at most {MAX_LINES}")
    if "\0" in text:
        raise InputError("not a text file", file=path, accepted="CSV in UTF-8")
    rows = _csv_rows(text, path)
    line, header = next(rows, (1, []))
    if not header:
        raise InputError("an empty log", file=path, accepted="a header such as: time [s],shoulder_turn [deg]")
    return _Table(header, list(rows), line)


def _csv_rows(text: str, path: Path) -> Iterator[tuple[int, list[Any]]]:
    """Yield line and cells; blank lines and lines that begin with # hold no row."""
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
                yield reader.line_num, list(cells)
    except csv.Error as error:
        raise InputError(f"not CSV: {error}", file=path, line=reader.line_num) from None


def _parquet_table(data: bytes, path: Path) -> _Table:
    """Return the cells of a Parquet file; its columns may say how large they are, see ``parquet.py``."""
    from armcarry.files.parquet import Limits, read_table

    try:
        table = read_table(data, Limits(rows=MAX_ROWS, columns=MAX_COLUMNS, cells=MAX_CELLS))
    except ValueError as error:
        raise InputError(f"not a Parquet file that is read: {error}", file=path) from None
    columns = [column if isinstance(column, list) else column.tolist() for column in table.columns.values()]
    if not columns:
        raise InputError("an empty log", file=path, accepted="columns such as time [s], shoulder_turn [deg]")
    return _Table([*table.columns], [(k, list(row)) for k, row in enumerate(zip(*columns, strict=True), start=1)], 1)
