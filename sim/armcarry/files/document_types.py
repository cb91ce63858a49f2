"""Walks a document's type along a path of keys, to name known keys and to find where quantities stand."""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from armcarry.files.documents.base import Quantity

Step = str | int


def _flat(annotation: Any, metadata: tuple[Any, ...] = ()) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Yield the alternatives of an annotation with what annotates each; None is left out."""
    if hasattr(annotation, "__metadata__"):
        yield from _flat(annotation.__origin__, (*metadata, *annotation.__metadata__))
    elif get_origin(annotation) in (Union, types.UnionType):
        for choice in get_args(annotation):
            if choice is not type(None):
                yield from _flat(choice, metadata)
    else:
        yield annotation, metadata


def _field(info: FieldInfo) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    return _flat(info.annotation, tuple(info.metadata))


def _member(model: type[BaseModel], key: Step) -> FieldInfo | None:
    """Return the field a key stands for, by its name or by its alias."""
    for name, info in model.model_fields.items():
        if key in (name, info.alias):
            return info
    return None


def alternatives(document: type[BaseModel], path: tuple[Step, ...]) -> list[tuple[Any, tuple[Any, ...]]]:
    """Return the types a value at ``path`` may have, each with what annotates it; none for an unknown path."""
    here: list[tuple[Any, tuple[Any, ...]]] = [(document, ())]
    for step in path:
        after: list[tuple[Any, tuple[Any, ...]]] = []
        for annotation, _ in here:
            origin, arguments = get_origin(annotation), get_args(annotation)
            if isinstance(annotation, type) and issubclass(annotation, BaseModel):
                info = _member(annotation, step)
                if info is not None:
                    after.extend(_field(info))
            elif origin is dict:
                after.extend(_flat(arguments[1]))
            elif origin is list:
                after.extend(_flat(arguments[0]))
            elif origin is tuple and isinstance(step, int) and step < len(arguments):
                after.extend(_flat(arguments[step]))
        here = after
    return here


def known_keys(document: type[BaseModel], path: tuple[Step, ...]) -> list[str]:
    """Return the keys that may stand in the mapping at ``path``; none where keys are names of the user's."""
    keys: list[str] = []
    for annotation, _ in alternatives(document, path):
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            keys.extend(info.alias or name for name, info in annotation.model_fields.items())
        elif get_origin(annotation) is dict and get_origin(get_args(annotation)[0]) is Literal:
            keys.extend(get_args(get_args(annotation)[0]))
    return keys


def description(document: type[BaseModel], path: tuple[Step, ...]) -> str | None:
    """Return what the document says about the value at ``path``."""
    if not path:
        return None
    for annotation, _ in alternatives(document, path[:-1]):
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            info = _member(annotation, path[-1])
            if info is not None and info.description:
                return info.description
    for _, metadata in alternatives(document, path):
        for note in metadata:
            if isinstance(note, FieldInfo) and note.description:
                return note.description
    return None


def numbers(
    document: type[BaseModel], data: Any, path: tuple[Step, ...] = ()
) -> Iterator[tuple[tuple[Step, ...], Any]]:
    """Yield path and written value of every quantity and plain number in ``data``."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from numbers(document, value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from numbers(document, value, (*path, index))
    elif data is not None and not isinstance(data, bool):
        for annotation, metadata in alternatives(document, path):
            if annotation in (int, float) or any(isinstance(note, Quantity) for note in metadata):
                yield path, data
                return


def spell(path: tuple[Step, ...]) -> str:
    """Write a path as ``a.b[2].c``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else step)
    return text
