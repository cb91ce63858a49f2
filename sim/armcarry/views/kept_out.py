"""The platform's rooms as they are drawn: to keep out of, not to touch, or to leave one way only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.asked.rooms import parts_of, pose_of
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box
from armcarry.proving.rooms import on_spans
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.meshes import Triangles, joined, triangles

#: how much of what is behind a room is hidden by it
OPACITY = 0.3
_SIDES = 32


@dataclass(frozen=True)
class DrawnRoom:
    """One room.

    Attributes:
        name: as the platform has it.
        words: its name and kind, for people.
        link: full name of the frame it goes with.
        colour: of a way to be left along it, or of a room to keep out of.
        surface: in that frame; of a way the box itself, not its walls.
        on: stretches of the run in which it asks for anything, s.
    """

    name: str
    words: str
    link: str
    colour: str
    surface: Triangles
    on: tuple[tuple[float, float], ...]

    @property
    def middle_m(self) -> Array:
        """The middle of it (3,) in its frame."""
        return np.asarray((self.surface.vertices_m.min(axis=0) + self.surface.vertices_m.max(axis=0)) / 2)

    def asks_at(self, time_s: float) -> bool:
        """Tell whether it asks for anything at an instant."""
        return any(start <= time_s <= end for start, end in self.on)


def drawn_rooms(record: Record) -> tuple[DrawnRoom, ...]:
    """Return the rooms of a run's platform, in their order."""
    found = []
    for name, room in record.scene.loaded.platform.document.rooms.items():
        way = room.kind == "way_along" and room.box is not None
        parts = [(Box(room.box), poses.identity())] if way and room.box is not None else parts_of(room)
        surface = joined([(triangles(shape, _SIDES), pose_of(room) @ pose) for shape, pose in parts])
        words = ": ".join(dict.fromkeys((plain(name), plain(room.kind))))
        found.append(DrawnRoom(
            name, words, f"{PLATFORM}/{room.frame}",
            palette.BLUISH_GREEN if way else palette.VERMILLION, surface, tuple(on_spans(record, room.while_on)),
        ))  # fmt: skip
    return tuple(found)
