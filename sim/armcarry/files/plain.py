"""Values of Python as they would stand in a file: typed parts, quantities of pint, poses; and keys by their path."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, get_args, get_origin

import numpy as np
from pydantic import BaseModel

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.document_types import flat, quantity
from armcarry.geometry import poses
from armcarry.quantities import quantity_text, write

#: key under which a pose may be given, in place of a position and a rotation
POSE = "pose"


def plain(value: Any, inside: str = "") -> Any:
    """Return a value as it would stand in a file.

    Args:
        value: plain, a part of a document, a quantity of pint, or a mapping or list of such.
        inside: the key whose value it is: a pose in a line is where it leads to.

    Raises:
        InputError: a value that no file could hold.
    """
    if isinstance(value, BaseModel):
        return _part(value)
    if isinstance(value, Mapping):
        found = {str(key): plain(one, str(key)) for key, one in value.items() if key != POSE}
        if POSE in value:
            found |= _pose(value[POSE], "to" if inside == "line" else "position")
        return found
    if isinstance(value, (list, tuple)):
        return [plain(one, inside) for one in value]
    if hasattr(value, "magnitude") and hasattr(value, "units"):
        return quantity_text(value)
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, np.generic):
        return value.item()
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise InputError("not a value of a scenario", found=type(value).__name__, accepted=_ACCEPTED)


_ACCEPTED = "text, a number, a list, a mapping, a typed part, a quantity of pint; a pose under the key pose"


def _pose(value: Any, position: str) -> dict[str, Any]:
    """Return a pose as position and rotation are written. Raises InputError for what is no pose."""
    matrix = np.asarray(getattr(value, "A", value), dtype=float)
    if matrix.shape != (4, 4) or not np.allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3), atol=1e-6):
        found = f"an array {matrix.shape}"
        raise InputError("not a pose", found=found, accepted="a spatialmath.SE3 or a matrix (4, 4)")
    place = [write(float(one), "length") for one in matrix[:3, 3]]
    turn = [write(float(one), "angle") for one in poses.rpy(matrix)]
    return {position: place, "rotation": turn}


def _part(part: BaseModel) -> dict[str, Any]:
    """Return what a part of a document was given, as it is written."""
    fields = type(part).model_fields
    return {
        fields[name].alias or name: _written(fields[name].annotation, tuple(fields[name].metadata), getattr(part, name))
        for name in fields if name in part.model_fields_set
    }  # fmt: skip


def _written(annotation: Any, metadata: tuple[Any, ...], value: Any) -> Any:
    """Return a value of a field as it is written: quantities with a unit."""
    if isinstance(value, BaseModel):
        return _part(value)
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    choices = list(flat(annotation, metadata))
    if isinstance(value, float) and (found := quantity(choices)) is not None:
        return found.write(value)
    if isinstance(value, dict):
        inner = next((get_args(one)[1] for one, _ in choices if get_origin(one) is dict), Any)
        return {key: _written(inner, (), one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        kinds = next((get_args(one) for one, _ in choices if get_origin(one) in (list, tuple)), (Any,))
        kinds = kinds * len(value) if len(kinds) == 1 else kinds
        return [_written(kind, (), one) for kind, one in zip(kinds, value, strict=True)]
    return value


# -- keys by path -----------------------------------------------------------------------------------------------


def key_steps(path: str) -> list[str | int]:
    """Return the steps of a path such as ``carries.0.moves[2].line.to[0]``. Raises InputError for an empty one."""
    steps: list[str | int] = [int(one) if one.isdigit() else one for one in re.split(r"[.\[\]]+", path) if one]
    if not steps:
        raise InputError("no key", found=path, accepted="a path such as carries.0.moves.2.line.to[0]")
    return steps


def taken(data: Any, steps: list[str | int], path: str) -> Any:
    """Return what stands at a path. Raises InputError where nothing does."""
    for step in steps:
        data = _inner(data, step, path)
    return data


def put(data: Any, steps: list[str | int], value: Any, path: str) -> None:
    """Put a value at a path; its last key may be new, all before it must be there. Raises InputError."""
    inner = taken(data, steps[:-1], path)
    last = steps[-1]
    if isinstance(inner, dict):
        inner[str(last)] = value
    else:
        _inner(inner, last, path)
        inner[last] = value


def _inner(data: Any, step: str | int, path: str) -> Any:
    if isinstance(data, dict) and str(step) in data:
        return data[str(step)]
    if isinstance(data, list) and isinstance(step, int) and step < len(data):
        return data[step]
    if isinstance(data, list) and (named := [one for one in data if isinstance(one, dict) and one.get("name") == step]):
        return named[0]
    if isinstance(data, dict):
        accepted = names.accepted(str(step), map(str, data), "key")
    elif isinstance(data, list):
        accepted = f"0 to {len(data) - 1}, or the name of an item" if data else "nothing, the list is empty"
    else:
        accepted = "a shorter path: this is a plain value"
    raise InputError(f"nothing stands at '{step}' of {path}", accepted=accepted)
