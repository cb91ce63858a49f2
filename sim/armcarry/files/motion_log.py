"""Logged joint angles: a table of times and joint positions from a CSV or Parquet file, nothing repaired.

What the columns hold, their headings say or a small file: see ``log_header.py``. A column ``move`` may say in which row
a move of the script begins.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import InputError
from armcarry.files.documents.log import LogColumnsDocument
from armcarry.files.log_cells import Cells
from armcarry.files.log_header import Column, read_header
from armcarry.files.validate import Source, raise_all, read_source
from armcarry.files.yaml_text import read_bytes
from armcarry.geometry.poses import Array
from armcarry.quantities import parse

SUFFIXES = (".csv", ".parquet")
MAX_BYTES = 60_000_000
MAX_ROWS = 500_000
MAX_COLUMNS = 200
MAX_CELLS = 10_000_000
#: lines of a CSV, blank ones and comments counted
MAX_LINES = 4 * MAX_ROWS
#: rows nearer in time than this are one: no logger is that quick, and rates between them are without bound, s
CLOSEST_S = 1e-6
#: an interval longer than this many times the median interval is a gap
GAP_TIMES = 5.0


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
        meanings: the file that says what its columns hold, as bytes; empty when their headings do.
        columns: what each column of values is.
        times_s: (T,) seconds from the first row, strictly increasing.
        values: (T, k) in the unit of each column.
        lines: (T,) line of each row in a CSV (the header is line 1), row number of a Parquet file.
        first: the first time as logged.
        gaps: intervals too long to know what happened in them.
        marks: rows in which moves begin.
        left_out: one line of text for each row that was left out because the caller asked for it.
        passed_over: headings of columns that mean nothing here.
    """

    path: Path
    data: bytes
    columns: tuple[Column, ...]
    times_s: Array
    values: Array
    lines: np.ndarray
    first: str
    gaps: tuple[Gap, ...]
    marks: tuple[Mark, ...] = ()
    left_out: tuple[str, ...] = ()
    header_line: int = 1
    passed_over: tuple[str, ...] = ()
    meanings: bytes = b""

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
    #: what parts the cells of a line of text
    separator: str = ""


def read_motion_log(
    path: Path, *, columns: Path | None = None, leave_out: bool = False, gap_s: float | None = None
) -> MotionLog:
    """Read logged joint positions.

    Args:
        path: a .csv or .parquet file.
        columns: a file of format ``armcarry columns 1`` that says what the columns hold; default their headings.
        leave_out: leave out rows that cannot be used, and list them, instead of refusing the file.
        gap_s: an interval longer than this is a gap; default five times the median interval.

    Raises:
        InputError: header or unit missing, or rows out of order, repeated in time, or with cells that are not
            finite numbers: each with its line. InputErrors when there are several.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError("a log of a kind that is not read", file=path, found=suffix, accepted=", ".join(SUFFIXES))
    said: Source[LogColumnsDocument] | None = None if columns is None else read_source(columns, LogColumnsDocument)
    data = read_bytes(path, MAX_BYTES, "log")
    table = _csv_table(data, path) if suffix == ".csv" else _parquet_table(data, path)
    _small_enough(len(table.rows), len(table.header), path)
    header = read_header(table.header, path, table.header_line, said)
    reader = Cells(table.header, header, path, comma=table.separator not in ("", ","))
    problems: list[InputError] = []
    times, values, lines, marks = list[float](), list[list[float]](), list[int](), list[Mark]()
    first = ""
    for line, cells in table.rows:
        try:
            time, as_logged, numbers = reader.row(line, cells)
            if times and time < times[-1] + CLOSEST_S:
                raise _too_soon(time, times[-1], lines[-1], path, line, as_logged)
        except InputError as error:
            problems.append(error)
            continue
        first = first or as_logged
        times.append(time)
        values.append(numbers)
        lines.append(line)
        names = str(cells[header.mark_at] or "").split() if header.mark_at is not None else []
        if names:
            marks.append(Mark(line, time - times[0], tuple(names)))
    if problems and not leave_out:
        raise_all(problems)
    if len(times) < 2:
        raise InputError("a log needs at least two rows that can be used", file=path, found=len(times))
    seconds = np.array(times) - times[0]
    return MotionLog(
        path, data, header.columns, seconds, _unwrapped(np.array(values), header.columns), np.array(lines), first,
        _gaps(seconds, lines, gap_s), tuple(marks), tuple(str(problem) for problem in problems), table.header_line,
        header.passed_over, b"" if columns is None else read_bytes(columns, MAX_BYTES, "file"),
    )


def _too_soon(time: float, before: float, line_before: int, path: Path, line: int, as_logged: str) -> InputError:
    word = "is less than a microsecond after the row" if time > before else "is earlier than the time"
    word = "repeats the time" if time == before else word
    return InputError(
        f"the row {word} of line {line_before}", file=path, line=line, found=as_logged,
        accepted="times that grow from row to row",
    )


def _unwrapped(values: Array, columns: tuple[Column, ...]) -> Array:
    """Return positions with whole turns put back where a column is said to start anew after one."""
    for k, column in enumerate(columns):
        if column.wraps:
            values[:, k] = np.unwrap(values[:, k], period=2 * np.pi / parse(f"1 {column.unit}", "angle"))
    return values


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
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    separator = max(",;\t", key=first.count)
    rows = _csv_rows(text, path, separator)
    line, header = next(rows, (1, []))
    if not header:
        raise InputError("an empty log", file=path, accepted="a header such as: time [s],shoulder_turn [deg]")
    return _Table(header, list(rows), line, separator)


def _csv_rows(text: str, path: Path, separator: str) -> Iterator[tuple[int, list[Any]]]:
    """Yield line and cells; blank lines and lines that begin with # hold no row."""
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
    columns = [column.tolist() for column in table.columns.values()]
    if not columns:
        raise InputError("an empty log", file=path, accepted="columns such as time [s], shoulder_turn [deg]")
    return _Table([*table.columns], [(k, list(row)) for k, row in enumerate(zip(*columns, strict=True), start=1)], 1)
