"""The table of pairs: what is proven of every pair of bodies, in columns, and rows as objects where somebody looks.

Most rows are of pairs far apart, at which nobody ever looks one by one, so a row becomes an object only when it is
asked for, and then stays the same object. A run of ten thousand bodies has a million rows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, overload

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.matters import own

#: what can be said of a pair, the worst first
STATUS = ("contact", "unresolved", "proven", "farther", "intended")
_FARTHER, _MEANT = STATUS.index("farther"), STATUS.index("intended")
_WORDS, _ENDS = ("class_a", "class_b", "why"), ("body_a", "body_b")
_NUMBERS = ("start_s", "end_s", "required_m", "lower_m", "upper_m", "time_s")


@dataclass(frozen=True)
class PairRow:
    """Proven bounds of one pair's least distance over one window of time; they hold at every instant of it.

    Where something is attached or let go of at an end of the window, it holds on this side of it.
    ``status``: ``proven`` (upper - lower within the tolerance), ``farther`` (proven farther than the report
    distance; upper may be inf), ``contact`` (they overlap: lower is -inf and upper 0), ``intended`` (declared
    contact, not measured), ``unresolved`` (the proof was given up: lower is -inf, contact is not ruled out, never a
    pass).
    ``required_m`` is None when no rule covers the two classes.
    """

    body_a: str
    body_b: str
    class_a: str
    class_b: str
    start_s: float
    end_s: float
    required_m: float | None
    why: str
    status: str
    lower_m: float
    upper_m: float
    time_s: float
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]

    @property
    def margin_m(self) -> float:
        """Proven distance beyond what is required; -inf in contact or unresolved, +inf without a rule."""
        return float("inf") if self.required_m is None else self.lower_m - self.required_m

    @property
    def own(self) -> bool:
        """Whether both bodies are the arm's."""
        return own(self.class_a, self.class_b)


@dataclass(frozen=True, eq=False)
class PairTable(Sequence[PairRow]):
    """Rows of pairs as columns of R rows.

    Attributes:
        names: bodies, to which ``body_a`` and ``body_b`` are rows.
        words: texts, to which ``class_a``, ``class_b`` and ``why`` are rows.
        columns: the fields of a ``PairRow`` by name, (R,) each; ``status`` a row in ``STATUS``, ``required_m`` nan
            without a rule, ``points`` (R, 6) nearest points on both.
    """

    names: tuple[str, ...]
    words: tuple[str, ...]
    columns: Mapping[str, np.ndarray]

    def __getattr__(self, name: str) -> np.ndarray:
        """Return a column by name."""
        try:
            return self.__dict__["columns"][name]  # type: ignore[no-any-return]
        except KeyError:
            raise AttributeError(name) from None

    @staticmethod
    def of(rows: Iterable[PairRow]) -> PairTable:
        """Return a table of rows, or the table that they are."""
        if isinstance(rows, PairTable):
            return rows
        given = tuple(rows)
        names, words = dict[str, int](), dict[str, int]()
        columns: dict[str, np.ndarray] = {
            name: np.array([known.setdefault(getattr(row, name), len(known)) for row in given], dtype=np.int32)
            for known, some in ((names, _ENDS), (words, _WORDS)) for name in some
        }
        columns["status"] = np.array([STATUS.index(row.status) for row in given], dtype=np.int8)
        columns |= {name: np.array([getattr(row, name) for row in given], dtype=float) for name in _NUMBERS}
        columns["points"] = np.array([(*row.point_a, *row.point_b) for row in given], dtype=float).reshape(-1, 6)
        table = PairTable(tuple(names), tuple(words), columns)
        table._made.update(enumerate(given))
        return table

    def __len__(self) -> int:
        return len(self.columns["status"])

    @overload
    def __getitem__(self, key: int) -> PairRow: ...

    @overload
    def __getitem__(self, key: slice) -> tuple[PairRow, ...]: ...

    def __getitem__(self, key: int | slice) -> PairRow | tuple[PairRow, ...]:
        """Return a row, always the same object, or a tuple of some."""
        if isinstance(key, slice):
            return self.rows(np.arange(len(self))[key])
        at = int(key) + (len(self) if key < 0 else 0)
        if not 0 <= at < len(self):
            raise IndexError(f"row {key} of {len(self)}")
        return self.rows(np.array([at]))[0]

    def __iter__(self) -> Iterator[PairRow]:
        return iter(self.rows(np.arange(len(self))))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, PairTable | tuple):
            return NotImplemented
        return len(self) == len(other) and self._texts(range(len(self))) == PairTable.of(other)._texts(range(len(self)))

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        """Return how many rows of how many bodies."""
        return f"PairTable({len(self)} rows of {len(self.names)} bodies)"

    def rows(self, which: np.ndarray) -> tuple[PairRow, ...]:
        """Return some rows, by number or by mask, each always the same object."""
        chosen = np.flatnonzero(which) if which.dtype == bool else which
        made = self._made
        new = [k for k in chosen.tolist() if k not in made]
        for k, row in zip(new, self._texts(new), strict=True):
            made[k] = PairRow(*row)
        return tuple([made[k] for k in chosen.tolist()])

    def _texts(self, which: Sequence[int]) -> list[tuple[Any, ...]]:
        """Return the fields of some rows."""
        rows = np.asarray(which, dtype=np.int64)
        some = {name: column[rows].tolist() for name, column in self.columns.items()}
        texts = {name: [self.names[k] for k in some[name]] for name in _ENDS}
        texts |= {name: [self.words[k] for k in some[name]] for name in _WORDS}
        texts["status"] = [STATUS[k] for k in some["status"]]
        texts["required_m"] = [None if value != value else value for value in some["required_m"]]
        points = {f"point_{end}": [tuple(at[k : k + 3]) for at in some["points"]] for end, k in (("a", 0), ("b", 3))}
        every = {**some, **texts, **points}
        return list(zip(*(every[field.name] for field in fields(PairRow)), strict=True))

    def number(self, row: object) -> int | None:
        """Return the number of one of its own rows; None for any other object."""
        return self._numbers.get(id(row)) if isinstance(row, PairRow) else None

    @property
    def _numbers(self) -> dict[int, int]:
        known: dict[int, int] = self.__dict__.setdefault("_known", {})
        if len(known) != len(self._made):
            known.update((id(row), k) for k, row in self._made.items())
        return known

    @cached_property
    def _made(self) -> dict[int, PairRow]:
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Leave out the objects when the table is sent to another process: they are made where they are looked at."""
        return {name: self.__dict__[name] for name in ("names", "words", "columns")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)

    # -- what is asked of all rows at once --------------------------------------------------------------

    @property
    def meant(self) -> np.ndarray:
        """Which rows (R,) are declared contact."""
        return np.asarray(self.status == _MEANT)

    @cached_property
    def near(self) -> tuple[PairRow, ...]:
        """The rows of pairs that come within the report distance, or nearer than what is required; objects."""
        return self.rows((self.status != _FARTHER) | (self.lower_m < self.required_m))

    @property
    def judged(self) -> np.ndarray:
        """Which rows (R,) are within the report distance and have a requirement."""
        return np.asarray(~np.isnan(self.required_m) & (self.status != _FARTHER) & ~self.meant)

    @property
    def margin_m(self) -> Array:
        """Proven distance beyond what is required (R,), as of a row."""
        return np.where(np.isnan(self.required_m), np.inf, self.lower_m - self.required_m)

    def of_classes(self, first: str, second: str) -> np.ndarray:
        """Tell which rows (R,) are of two classes, in this order."""
        a, b = (np.array([word == wanted for word in self.words], dtype=bool) for wanted in (first, second))
        return np.asarray(a[self.class_a] & b[self.class_b])

    def between(self, one: str, other: str) -> tuple[PairRow, ...]:
        """Return the rows of two bodies, in either order, in the order of the table."""
        if one not in self._row_of or other not in self._row_of:
            return ()
        a, b = self._row_of[one], self._row_of[other]
        return self.rows(((self.body_a == a) & (self.body_b == b)) | ((self.body_a == b) & (self.body_b == a)))

    @cached_property
    def _row_of(self) -> dict[str, int]:
        return {name: k for k, name in enumerate(self.names)}

    @cached_property
    def own(self) -> np.ndarray:
        """Which rows (R,) are of the arm with itself, as of a row."""
        arms = np.array([own(word, word) for word in self.words], dtype=bool)
        return np.asarray(arms[self.class_a] & arms[self.class_b])

    def ends_of(self, things: Collection[str]) -> tuple[np.ndarray, np.ndarray]:
        """Tell which rows (R,) have as first, and which as second, a body of some people or things."""
        mine = np.array([name.split("/", 1)[0] in things for name in self.names], dtype=bool)
        return mine[self.body_a], mine[self.body_b]
