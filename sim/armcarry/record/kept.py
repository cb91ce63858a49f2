"""Results that were judged, kept with the run: what they are, and how they become two files each.

A result is made of frozen dataclasses, tuples, numbers, words and arrays. The values of its arrays, one array after
another, are a Parquet table (float64 holds every number, flag and count of ours exactly); the rest is JSON, which
says of every array where in the result it stands, its kind and its shape. What belongs to the record itself, such as
a phase, is written as a reference to it; what occurs twice is written once. So a result comes back bit for bit, and
made of the same objects.

Nothing that a file names is imported or called: a result says which classes it is made of.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from pathlib import Path, PurePosixPath
from types import UnionType
from typing import Any, Generic, Literal, NamedTuple, Protocol, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np

from armcarry.errors import RecordError
from armcarry.files.parquet import Limits, number_column, read_table
from armcarry.record.folder import Folder, read_json
from armcarry.record.pairs import PairTable
from armcarry.texts import shown

T = TypeVar("T")
#: where they lie in a run folder
_FOLDER = "judged"
_LIMITS = Limits(rows=20_000_000, columns=2)


class Run(Protocol):
    """What of a record a result may refer to instead of holding it."""

    @property
    def phases(self) -> tuple[Any, ...]:
        """Trees in time order."""

    @property
    def moves(self) -> tuple[Any, ...]:
        """What is moved when."""

    @property
    def pairs(self) -> Sequence[Any]:
        """Proven clearances."""


class Packed(NamedTuple):
    """A result as two files: JSON, and a Parquet table of all its numbers."""

    structure: bytes
    numbers: bytes


@dataclass(frozen=True, eq=False)
class Kept(Generic[T]):
    """A result that is judged once and kept.

    Attributes:
        name: of its file, a plain word.
        version: raised by whoever changes what the numbers mean; fields that come or go are noticed without it.
        compute: makes it of a Record.
        types: the dataclasses and named tuples that it is made of, those of the record left out.
    """

    name: str
    version: int
    compute: Callable[[Any], T]
    types: tuple[type, ...]

    @property
    def form(self) -> dict[str, Any]:
        """What a file must say so that it can be read: the version, and the fields of every class."""
        return {"version": self.version, "types": {kind.__name__: list(_names(kind)) for kind in self.types}}

    def pack(self, record: Run, result: T) -> Packed:
        """Return a result as the two files that it becomes."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        packer = _Packer(record, self.types)
        tree = packer.pack(result, self.name)
        arrays = [
            {"where": where, "kind": array.dtype.kind, "shape": list(array.shape)}
            for where, array in zip(packer.places, packer.arrays, strict=True)
        ]
        structure = json.dumps({**self.form, "tree": tree, "arrays": arrays}, allow_nan=False, ensure_ascii=False)
        which = np.repeat(np.arange(len(arrays)), [array.size for array in packer.arrays])
        value = np.empty(len(which))
        np.concatenate([np.zeros(0), *(array.ravel() for array in packer.arrays)], out=value, casting="unsafe")
        stream = io.BytesIO()
        pq.write_table(pa.table({"array": number_column(which), "value": number_column(value)}), stream)
        return Packed(structure.encode(), stream.getvalue())

    def unpack(self, record: Run, packed: Packed) -> T | None:
        """Return a result of a record from its files; None where another version wrote them.

        Raises:
            RecordError: they are damaged.
        """
        try:
            said = read_json(packed.structure)
            if {key: said[key] for key in self.form} != self.form:
                return None
            values = read_table(packed.numbers, _LIMITS).numbers("value", empty=True)
            shapes = [tuple(array["shape"]) for array in said["arrays"]]
            if any(type(size) is not int or size < 0 for shape in shapes for size in shape):
                raise ValueError("an array of no shape")
            parts = np.split(values, np.cumsum([int(np.prod(shape)) for shape in shapes]))
            if len(parts[-1]):
                raise ValueError("numbers that belong to no array")
            arrays: list[np.ndarray] = [
                part.reshape(shape).astype(_KINDS[array["kind"]])
                for part, shape, array in zip(parts, shapes, said["arrays"], strict=False)
            ]
            result: T = _Unpacker(record, self.types, arrays).unpack(said["tree"])
        except (KeyError, IndexError, TypeError, ValueError, AttributeError, RecursionError) as error:
            why = shown(f"{type(error).__name__}: {error}", 200)
            raise RecordError(f"the kept result '{self.name}' is damaged: {why}") from error
        return result


_KINDS = {"f": np.float64, "i": np.int64, "b": np.bool_}


def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind)) if is_dataclass(kind) else getattr(kind, "_fields", ())


def _owned(record: Run) -> dict[str, Sequence[Any]]:
    """Return what a result may refer to instead of holding it."""
    return {"record": (record,), "phase": record.phases, "move": record.moves, "pair": record.pairs}


def write_results(results: Iterable[tuple[str, Packed]], folder: Path) -> None:
    """Write results, by name and packed, into a run folder; none is held once it is written."""
    (folder / _FOLDER).mkdir()
    for name, packed in results:
        (folder / _FOLDER / f"{name}.json").write_bytes(packed.structure)
        (folder / _FOLDER / f"{name}.parquet").write_bytes(packed.numbers)


def read_results(folder: Folder) -> dict[str, Packed]:
    """Read the results among the files of a run folder, without unpacking them. Raises RecordError."""
    paths = [PurePosixPath(name) for name in folder.summary["digests"]]
    names = [path.stem for path in paths if path.parent.as_posix() == _FOLDER and path.suffix == ".json"]
    return {name: Packed(*(folder.read(f"{_FOLDER}/{name}.{end}") for end in ("json", "parquet"))) for name in names}


class _Packer:
    """Takes a result apart into JSON and arrays."""

    def __init__(self, record: Run, types: tuple[type, ...]) -> None:
        self.types = types
        self.arrays: list[np.ndarray] = []
        self.places: list[str] = []
        self.pairs = PairTable.of(record.pairs)
        self.owned = {
            id(item): [kind, k]
            for kind, items in _owned(record).items() if kind != "pair"
            for k, item in enumerate(items)
        }
        self.seen: dict[int, int] = {}

    def pack(self, value: Any, where: str) -> Any:
        if value is None or isinstance(value, bool | int | str):
            return value
        if isinstance(value, float | np.generic):
            return self._number(value)
        if id(value) in self.owned:
            return {"of": self.owned[id(value)]}
        number = self.pairs.number(value)
        if number is not None:
            return {"of": ["pair", number]}
        if id(value) in self.seen:
            return {"same": self.seen[id(value)]}
        if isinstance(value, np.ndarray):
            return self._array(value, where)
        if type(value) in self.types:
            names = _names(type(value))
            packed = [self.pack(getattr(value, name), f"{where}.{name}") for name in names]
            self.seen[id(value)] = len(self.seen)
            return {"type": self.types.index(type(value)), "fields": packed}
        if isinstance(value, tuple):
            return [self.pack(item, f"{where}.{k}") for k, item in enumerate(value)]
        raise TypeError(f"{where}: a kept result holds no {type(value).__name__}")

    def _array(self, value: np.ndarray, where: str) -> dict[str, Any]:
        """Return a reference to an array; words are written as numbers into a list of the different ones."""
        packed: dict[str, Any] = {"array": len(self.arrays)}
        self.seen[id(value)] = len(self.seen)
        if value.dtype == object:
            words, codes = np.unique(value.astype(str), return_inverse=True)
            packed["words"], value = words.tolist(), codes.reshape(value.shape)
        self.arrays.append(value)
        self.places.append(where)
        return packed

    @staticmethod
    def _number(value: float | np.generic) -> Any:
        plain = value.item() if isinstance(value, np.generic) else value
        return plain if not isinstance(plain, float) or np.isfinite(plain) else {"float": repr(plain)}


@lru_cache(maxsize=256)
def _hints(which: int, types: tuple[type, ...]) -> dict[str, Any]:
    try:
        return get_type_hints(types[which])
    except NameError:  # a name that its module imports for type checkers alone
        return {}


def _fits(value: Any, hint: Any) -> bool:
    """Tell whether a value is of the type that a field says."""
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return any(_fits(value, one) for one in args)
    if origin is tuple:
        if not isinstance(value, tuple):
            return False
        each = args[:1] * len(value) if args[-1:] == (...,) else args
        return len(each) == len(value) and all(map(_fits, value, each))
    if origin is Literal:
        return value in args
    kind = origin or hint
    if kind is float:
        return isinstance(value, float | int) and not isinstance(value, bool)
    if kind is int:
        return isinstance(value, int) and not isinstance(value, bool)
    return not isinstance(kind, type) or kind is object or isinstance(value, kind)


class _Unpacker:
    """Puts a result together again; counts what occurs in the order in which it was taken apart."""

    def __init__(self, record: Run, types: tuple[type, ...], arrays: list[np.ndarray]) -> None:
        self.types, self.arrays, self.owned = types, arrays, _owned(record)
        self.seen: list[Any] = []

    def unpack(self, value: Any) -> Any:
        if isinstance(value, list):
            return tuple(self.unpack(item) for item in value)
        if not isinstance(value, dict):
            return value
        if "float" in value:
            return float(value["float"])
        if "of" in value:
            kind, k = value["of"]
            return self.owned[kind][k]
        if "same" in value:
            return self.seen[value["same"]]
        if "array" in value:
            made = self.arrays[value["array"]]
            if "words" in value:
                made = np.array(value["words"], dtype=object)[made]
        else:
            made = self.types[value["type"]](*(self.unpack(item) for item in value["fields"]))
            hints = _hints(value["type"], self.types)
            for name in _names(type(made)):
                if not _fits(getattr(made, name), hints.get(name, Any)):
                    raise TypeError(f"{type(made).__name__}.{name} of another type")
        self.seen.append(made)
        return made
