"""Bodies drawn once more, see-through, where a fault or a stop would bring them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import surface_actor
from armcarry.views.groups import Group
from armcarry.views.meshes import joined, triangles

_SIDES, _OPACITY = 16, 0.38


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
            found.append(surface_actor(joined([part]), colour, matrix))
        else:
            clear.append(part)
    if clear:
        found.append(surface_actor(joined(clear), palette.ORANGE, matrix, _OPACITY))
    for actor in found:
        actor.GetProperty().SetBackfaceCulling(True)
        actor.PickableOff()
    return found
