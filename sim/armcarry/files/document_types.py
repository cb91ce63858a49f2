"""Walks a document's type along a path of keys, to name known keys and to find where quantities stand."""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from armcarry.files.documents.base import Quantity

Step = str | int


def flat(annotation: Any, metadata: tuple[Any, ...] = ()) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Yield the alternatives of an annotation with what annotates each; None is left out."""
    if hasattr(annotation, "__metadata__"):
        yield from flat(annotation.__origin__, (*metadata, *annotation.__metadata__))
    elif get_origin(annotation) in (Union, types.UnionType):
        for choice in get_args(annotation):
            if choice is not type(None):
                yield from flat(choice, metadata)
    else:
        yield annotation, metadata


def _field(info: FieldInfo) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    return flat(info.annotation, tuple(info.metadata))


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
                after.extend(flat(arguments[1]))
            elif origin is list:
                after.extend(flat(arguments[0]))
            elif origin is tuple and isinstance(step, int) and step < len(arguments):
                after.extend(flat(arguments[step]))
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
    """Return what the document says about the value at ``path``: its meaning, then its unit and range."""
    if not path:
        return None
    said: list[str] = []
    for annotation, _ in alternatives(document, path[:-1]):
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            info = _member(annotation, path[-1])
            if info is not None and info.description:
                said.append(info.description)
                break
    here = alternatives(document, path)
    found = quantity(here)
    if found is not None:
        said.append(found.accepted)
    elif (inside := quantity([part for choice, _ in here for part in _inside(choice)])) is not None:
        said.append(f"each {inside.accepted}")
    return "; ".join(said) or None


def _inside(annotation: Any) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Yield the types of the values that a mapping, a list or a tuple holds, lists in lists included."""
    arguments = get_args(annotation) if get_origin(annotation) in (dict, list, tuple) else ()
    for argument in arguments[1:] if get_origin(annotation) is dict else arguments:
        for choice, metadata in flat(argument):
            yield choice, metadata
            yield from _inside(choice)


def quantity(found: list[tuple[Any, tuple[Any, ...]]]) -> Quantity | None:
    """Return the quantity among alternatives, if any."""
    return next((note for _, metadata in found for note in metadata if isinstance(note, Quantity)), None)


def parts(document: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Return class name -> class of a document and of every part it is made of."""
    found: dict[str, type[BaseModel]] = {}
    todo: list[Any] = [document]
    while todo:
        annotation = todo.pop()
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            if annotation.__name__ not in found:
                found[annotation.__name__] = annotation
                todo.extend(inner for info in annotation.model_fields.values() for inner, _ in _field(info))
        else:
            todo.extend(inner for argument in get_args(annotation) for inner, _ in flat(argument))
    return found


def written(annotation: Any, metadata: tuple[Any, ...], value: Any, example: Any = "") -> Any:
    """Return a default as it stands in a file: quantities with a unit, that of the example if it has one."""
    for choice, notes in flat(annotation, metadata):
        found = quantity([(choice, notes)])
        if found is not None and isinstance(value, float):
            return found.write(value, str(example))
        if get_origin(choice) is tuple and isinstance(value, tuple):
            return [written(inner, (), one) for inner, one in zip(get_args(choice), value, strict=True)]
    return value


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
            if annotation in (int, float) or quantity([(annotation, metadata)]) is not None:
                yield path, data
                return


def spell(path: tuple[Step, ...]) -> str:
    """Write a path as ``a.b[2].c``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else step)
    return text
