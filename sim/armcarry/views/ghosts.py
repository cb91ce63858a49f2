"""What is laid over a run that is drawn: surfaces, and bodies once more where a fault or a stop would bring them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import surface_actor
from armcarry.views.groups import Group
from armcarry.views.meshes import Triangles, joined, triangles

_SIDES, _OPACITY = 16, 0.38


def laid_over(surface: Triangles, colour: str, matrix: Any = None, opacity: float = 1.0) -> Any:
    """Return an actor that nobody picks and whose far side does not show through it; arguments as surface_actor."""
    actor = surface_actor(surface, colour, matrix, opacity)
    actor.GetProperty().SetBackfaceCulling(True)
    actor.PickableOff()
    return actor


def ghosts(record: Record, group: Group, pose: Array, bright: Mapping[str, str], matrix: Any = None) -> list[Any]:
    """Return actors of a group's bodies, as they are proven, with its leading link at T_world_link (4, 4).

    Args:
        record, group, pose: what is drawn, and where.
        bright: names of bodies that are drawn whole, each in a colour.
        matrix: what moves the actors, beside the pose.
    """
    clear, found = [], []
    for row, local in zip(group.bodies, group.local, strict=True):
        part = (triangles(record.bodies[row].shape, _SIDES), pose @ local)
        if (colour := bright.get(record.bodies[row].name)) is not None:
            found.append(laid_over(joined([part]), colour, matrix))
        else:
            clear.append(part)
    if clear:
        found.append(laid_over(joined(clear), palette.ORANGE, matrix, _OPACITY))
    return found
