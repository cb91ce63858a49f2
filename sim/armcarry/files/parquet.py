"""Parquet files that may come from others: how large they are is known before anything is unpacked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.texts import shown

#: ways of packing whose unpacked size is near the size of the file; the others may hide a hundred times as much
CODECS = ("UNCOMPRESSED", "SNAPPY")


@dataclass(frozen=True)
class Limits:
    """How large a table may be: rows, columns, numbers and bytes of text, unpacked."""

    rows: int
    columns: int = 400
    cells: int = 40_000_000
    text_bytes: int = 20_000_000


class Words(NamedTuple):
    """A column of texts: the different ones, and the row among them of each row, -1 where there is none."""

    known: list[str]
    which: np.ndarray

    def tolist(self) -> list[str | None]:
        """Return the text of each row, None where there is none."""
        return [None if k < 0 else self.known[k] for k in self.which.tolist()]


@dataclass(frozen=True, eq=False)
class Table:
    """Columns as read: numbers (R,) with nan where there are none, whole numbers (R,), or texts that may be shown."""

    rows: int
    columns: Mapping[str, Any]

    def numbers(self, name: str, *, empty: bool = False) -> Array:
        """Return a column of numbers. Raises ValueError: another kind, or nan where nothing may be ``empty``."""
        values = self._of(name, np.ndarray, "numbers").astype(float)
        if not empty and np.isnan(values).any():
            raise ValueError(f"column '{name}' has rows without a number")
        return np.asarray(values)

    def texts(self, name: str) -> list[str]:
        """Return a column of texts. Raises ValueError: another kind, or a row without."""
        known, which = self.words(name)
        return [known[k] for k in which.tolist()]

    def words(self, name: str) -> tuple[list[str], np.ndarray]:
        """Return the different texts of a column, and the row among them of each of its rows; raises as ``texts``."""
        found: Words = self._of(name, Words, "text")
        if np.any(found.which < 0):
            raise ValueError(f"column '{name}' has rows without a text")
        return found.known, found.which

    def _of(self, name: str, kind: type, word: str) -> Any:
        if name not in self.columns:
            raise ValueError(f"column '{name}' is missing")
        if not isinstance(self.columns[name], kind):
            raise ValueError(f"column '{name}' is not of {word}")
        return self.columns[name]


def read_table(data: bytes, limits: Limits) -> Table:
    """Read a flat Parquet file of numbers and texts.

    Raises:
        ValueError: not such a file, or larger than the limits; nothing large was unpacked then.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        plain = pq.ParquetFile(pa.BufferReader(data), **_THRIFT)
        texts = [field.name for field in plain.schema_arrow if _is_text(field.type)]
        _check_size(plain, limits)
        # texts stay a dictionary: a million times one long text is no larger than that text
        file = pq.ParquetFile(pa.BufferReader(data), read_dictionary=texts, **_THRIFT)
        table = file.read(use_threads=False)
        if len(set(table.column_names)) != table.num_columns:
            raise ValueError("two columns of one name")
        columns = {str(name): _column(str(name), table[name], limits) for name in table.column_names}
    except (pa.ArrowException, OSError, KeyError, NotImplementedError) as error:
        raise ValueError(f"not a table: {shown(str(error), 200)}") from None
    return Table(table.num_rows, columns)


def number_column(values: np.ndarray, *, nan_is_empty: bool = False) -> Any:
    """Return numbers (N,) as a column of Arrow, of 8-byte floats or of 8- or 4-byte integers as they are.

    Handed over as the bytes that they are: to be given an array of NumPy, pyarrow would import pandas, which nothing
    here needs and which takes a quarter of a second.

    Args:
        values: the numbers.
        nan_is_empty: whether those that are not a number are left empty.
    """
    import pyarrow as pa

    kinds = {"f8": pa.float64(), "i8": pa.int64(), "i4": pa.int32()}
    plain = np.ascontiguousarray(values)
    given = None
    if nan_is_empty:
        given = pa.py_buffer(np.packbits(~np.isnan(plain), bitorder="little").tobytes())
    return pa.Array.from_buffers(kinds[plain.dtype.str[1:]], len(plain), [given, pa.py_buffer(plain)])


def text_column(known: Sequence[str], which: np.ndarray) -> Any:
    """Return texts by their rows (N,) in those that are known as a column of Arrow."""
    import pyarrow as pa

    packed = [text.encode() for text in known]
    ends = np.cumsum([0, *map(len, packed)]).astype(np.int32)
    texts = pa.StringArray.from_buffers(len(packed), pa.py_buffer(ends), pa.py_buffer(b"".join(packed)))
    return texts.take(number_column(which.astype(np.int64)))


_THRIFT = {"thrift_string_size_limit": 10_000_000, "thrift_container_size_limit": 100_000}


def _is_text(kind: Any) -> bool:
    import pyarrow.types as types

    if types.is_dictionary(kind):
        kind = kind.value_type
    return bool(types.is_string(kind) or types.is_large_string(kind))


def _check_size(file: Any, limits: Limits) -> None:
    size = file.metadata
    if size.num_columns != len(file.schema_arrow):
        raise ValueError("columns within columns")
    for what, found, most in (
        ("rows", size.num_rows, limits.rows), ("columns", size.num_columns, limits.columns),
        ("cells", size.num_rows * size.num_columns, limits.cells),
    ):
        if found > most:
            raise ValueError(f"{found} {what}, at most {most} are read")
    groups = [size.row_group(k) for k in range(size.num_row_groups)]
    parts = [group.column(k) for group in groups for k in range(size.num_columns)]
    for part in parts:
        if part.compression not in CODECS:
            raise ValueError(f"packed as {shown(str(part.compression), 20)}; accepted: {', '.join(CODECS)}")
    unpacked, most = sum(part.total_uncompressed_size for part in parts), 16 * limits.cells + limits.text_bytes
    if unpacked > most:
        raise ValueError(f"{unpacked} bytes unpacked, at most {most} are read")


def _column(name: str, column: Any, limits: Limits) -> Any:
    import pyarrow as pa
    import pyarrow.types as types

    if _is_text(column.type):
        chunk = pa.chunked_array([part.dictionary_encode() for part in column.chunks], column.type) if not (
            types.is_dictionary(column.type)
        ) else column
        return _texts(name, chunk, limits)
    if types.is_floating(column.type) or types.is_integer(column.type):
        return column.to_numpy()
    raise ValueError(f"column '{shown(name, 80)}' is neither of numbers nor of text")


def _texts(name: str, column: Any, limits: Limits) -> Words:
    known: dict[str, int] = {}
    parts = [np.zeros(0, dtype=np.int64)]
    for part in column.chunks:
        if part.dictionary.nbytes > limits.text_bytes:
            raise ValueError(f"column '{shown(name, 80)}' has more text than {limits.text_bytes} bytes")
        texts = part.dictionary.to_pylist()
        numbers = [-1 if text is None else known.setdefault(shown(text), len(known)) for text in texts]
        at = part.indices.fill_null(len(texts)).to_numpy(zero_copy_only=False).astype(np.int64)
        parts.append(np.array([*numbers, -1], dtype=np.int64)[at])
    return Words(list(known), np.concatenate(parts))
