"""What every body is made of and coloured like, for all views: said here and nowhere else.

A model's own colour counts; a body without one takes that of its class. What it is made of follows from its name and
class. People wear bands: one broad band for the first, two narrow ones for the second and so on, each in a hue of
its own, so that they are told apart by shape as well as by colour.
"""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.geometry.shapes import Box
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.groups import body_kinds


@dataclass(frozen=True)
class Material:
    """How a surface throws back light.

    Attributes:
        diffuse, specular, power: what goes everywhere, strength and sharpness of the highlight.
        metallic, roughness: the same for glTF and the page, 0 to 1.
    """

    diffuse: float
    specular: float
    power: float
    metallic: float
    roughness: float


MATERIALS = {
    "metal": Material(0.82, 0.38, 24.0, 0.55, 0.45),
    "paint": Material(0.95, 0.14, 18.0, 0.0, 0.6),
    "fabric": Material(1.0, 0.03, 6.0, 0.0, 0.95),
    "glass": Material(0.6, 0.85, 70.0, 0.85, 0.12),
    "cells": Material(0.9, 0.45, 45.0, 0.3, 0.3),
    "foil": Material(0.75, 0.6, 14.0, 0.9, 0.35),
}

#: material of a body whose name has one of these words; the first that fits counts
_WORDS = (
    ("glass", ("visor", "lens", "window", "glass")),
    ("paint", ("barrel", "cone", "module", "shell", "rail", "case", "tube")),
    ("metal", ("drum", "flange", "neck", "yoke", "ring", "bolt", "collar", "knuckle", "post", "stub", "mast", "bar")),
)
_BY_KIND = {"structure": "metal", "rider": "fabric", "worker": "fabric", "inside": "fabric"}
#: a wing's sheet of solar cells, and the loose covers that are foil
_CELLS, _FOIL = ("solar", "cell", "wing", "array"), ("blanket", "foil", "cover")

#: bands of the first person, the second and so on; each hue differs from the one before by 3 to 1 at least
PEOPLE = (palette.BLUE, palette.YELLOW, palette.BLACK, palette.SKY_BLUE)
#: a suit's dark parts: soles, fingers, folds of joints
SHADE, RIM = "#8A9098", "#3A4048"


@dataclass(frozen=True)
class Look:
    """A colour ``#RRGGBB`` and a name of ``MATERIALS``."""

    colour: str
    material: str


@dataclass(frozen=True)
class Bands:
    """How a person is told apart: so many bands of a hue."""

    count: int
    hue: str


def bands(record: Record, person: str) -> Bands:
    """Return the bands of a person of a run, in the order in which the scenario names people."""
    place = list(record.scene.loaded.crew).index(person)
    return Bands(place + 1, PEOPLE[place % len(PEOPLE)])


def looks(record: Record) -> tuple[Look, ...]:
    """Return the look of every body of a run, in their order."""
    found = []
    for body, kind in zip(record.bodies, body_kinds(record), strict=True):
        name = body.name.split("/", 1)[1] if "/" in body.name else body.name
        found.append(Look(_colour(body.colour, kind), material(name, kind, isinstance(body.shape, Box))))
    return tuple(found)


def material(name: str, kind: str, flat: bool) -> str:
    """Return what a body is made of, by its name without its thing's, its class, and whether it is a box."""
    words = name.lower().replace("-", "_").split("_")
    if flat and kind == "appendage" and any(word in words for word in _CELLS):
        return "cells"
    if any(word in words for word in _FOIL):
        return "foil"
    for made_of, names in _WORDS:
        if any(word in words for word in names):
            return made_of
    return _BY_KIND.get(kind, "paint")


def _colour(given: tuple[float, float, float, float] | None, kind: str) -> str:
    if given is None:
        return palette.BODIES[kind]
    return "#" + "".join(f"{round(255 * min(max(part, 0.0), 1.0)):02X}" for part in given[:3])
