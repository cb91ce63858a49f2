"""The pieces that bodies are drawn of: each a surface with a look, and when it is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from armcarry.geometry.shapes import Shape
from armcarry.record.record import Record
from armcarry.views.figure import dressed
from armcarry.views.looks import Look, bands, looks
from armcarry.views.meshes import Triangles, triangles

#: always, or a person as drawn, or in its place the bodies that were proven
When = Literal["always", "dress", "proven"]


@dataclass(frozen=True, eq=False)
class Piece:
    """A surface in the frame of the body it is of."""

    surface: Triangles
    look: Look
    when: When = "always"


def pieces(record: Record, sides: Callable[[Shape], int]) -> tuple[tuple[Piece, ...], ...]:
    """Return the pieces of every body of a run, in their order; ``sides`` tells the corners of a round shape."""
    made: dict[tuple[Shape, int], Triangles] = {}
    crew = {name: bands(record, name) for name in record.scene.loaded.crew}

    def surface(shape: Shape) -> Triangles:
        key = (shape, sides(shape))
        if key not in made:
            made[key] = triangles(*key)
        return made[key]

    found: list[tuple[Piece, ...]] = []
    for body, look in zip(record.bodies, looks(record), strict=True):
        person = crew.get(body.name.split("/", 1)[0])
        if person is None:
            found.append((Piece(surface(body.shape), look),))
            continue
        drawn = tuple(Piece(part, its, "dress") for part, its in dressed(body, look, person, sides(body.shape)))
        found.append((*drawn, Piece(surface(body.shape), look, "proven")))
    return tuple(found)
