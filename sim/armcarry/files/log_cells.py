"""Cells of a log: numbers with a decimal point or a decimal comma, and dates and times of ISO 8601."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.log_header import Header
from armcarry.files.yaml_text import shorten
from armcarry.quantities import parse

_LARGEST = 1e9


@dataclass
class Cells:
    """Reads the rows of one log; a log holds one kind of decimal sign, and times with an offset from UTC or without.

    Attributes:
        headings, header, path: what the columns are, and where.
        comma: whether a comma may be a decimal sign: it may not where it parts the cells.
    """

    headings: list[str]
    header: Header
    path: Path
    comma: bool
    _sign: str = ""
    _first: datetime | None = None

    def __post_init__(self) -> None:
        self._scale = parse(f"1 {self.header.time_unit}", "time") if self.header.time_unit else 1.0

    def row(self, line: int, cells: list[Any]) -> tuple[float, str, list[float]]:
        """Return the time of a row in s, that time as it stands in the log, and its positions.

        Times of ISO 8601 are counted from the first of them.

        Raises:
            InputError: a row that cannot be used.
        """
        if len(cells) != len(self.headings):
            problem = f"the row has {len(cells)} cells, the header {len(self.headings)}"
            raise InputError(problem, file=self.path, line=line)
        time_s, as_logged = self._time(line, cells[self.header.time_at])
        return time_s, as_logged, [self._number(line, place, cells[place]) for place in self.header.places]

    def _time(self, line: int, cell: Any) -> tuple[float, str]:
        if self.header.time_unit:
            number = self._number(line, self.header.time_at, cell)
            return number * self._scale, f"{number:g} {self.header.time_unit}"
        text = "" if cell is None else str(cell).strip()
        try:
            time = datetime.fromisoformat(text)
            if len(text) <= len("2031-05-01"):
                raise ValueError("a date alone")
        except ValueError:
            raise self._odd(
                line, self.header.time_at, "no date and time", cell,
                "2031-05-01T08:00:00.25Z in every row, or numbers under a heading with a unit such as time [s]",
            ) from None
        first = self._first = self._first or time
        if (time.tzinfo is None) != (first.tzinfo is None):
            words = "another kind of time than in the rows before"
            accepted = "an offset from UTC, such as Z, in every row or in none"
            raise self._odd(line, self.header.time_at, words, cell, accepted)
        return (time - first).total_seconds(), text

    def _number(self, line: int, place: int, cell: Any) -> float:
        text = "" if cell is None else str(cell)
        try:
            # underscores are Python's, not a logger's
            number = float(text.replace(",", ".") if self.comma else text) if "_" not in text else float("nan")
        except ValueError:
            number = float("nan")
        if not abs(number) <= _LARGEST:
            raise self._odd(line, place, "no finite number", cell, "a number in every row")
        sign = "," if "," in text else "." if "." in text and isinstance(cell, str) else ""
        if sign and self._sign not in ("", sign):
            raise self._odd(line, place, "another decimal sign than before", cell, f"'{self._sign}' in the whole log")
        self._sign = sign or self._sign
        return number

    def _odd(self, line: int, place: int, problem: str, cell: Any, accepted: str) -> InputError:
        return InputError(
            f"{problem} in column '{shorten(self.headings[place])}'", file=self.path, line=line,
            found=shorten("" if cell is None else str(cell)), accepted=accepted,
        )  # fmt: skip
