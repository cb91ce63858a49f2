"""Parts tinted by margin: a colour a vertex, written again only when a part changes its band."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from armcarry.views import palette
from armcarry.views.actors import SceneActors
from armcarry.views.player import look


class Tint:
    """Colours the parts of a scene by how much they have to spare."""

    def __init__(self, scene: SceneActors) -> None:
        self._scene = scene
        self._arrays: list[Any] = []
        self._slices: dict[int, tuple[int, slice]] = {}
        self._bands: dict[int, int] = {}
        self.on = False

    def show(self, margin_m: Mapping[int, float]) -> int:
        """Tint parts by margin, rows into ``record.bodies``; return how many changed colour."""
        if not self._arrays:
            self._prepare()
        if not self.on:
            self._switch(True)
        bands = {row: look.band(margin) for row, margin in margin_m.items() if row in self._slices}
        changed = {row: bands.get(row, len(look.BANDS_M)) for row in {*bands, *self._bands}
                   if bands.get(row) != self._bands.get(row)}
        touched = set()
        for row, number in changed.items():
            k, part = self._slices[row]
            self._arrays[k][0][part] = _bytes(look.band_colour(number))
            touched.add(k)
        for k in touched:
            self._arrays[k][1].Modified()
        self._bands = bands
        return len(changed)

    def off(self) -> None:
        """Show every part in the colour of its class again."""
        if self.on:
            self._switch(False)

    def _switch(self, on: bool) -> None:
        self.on = on
        for actor in self._scene.actors:
            actor.GetMapper().SetScalarVisibility(on)

    def _prepare(self) -> None:
        from vtkmodules.util.numpy_support import numpy_to_vtk

        for k, (actor, rows) in enumerate(zip(self._scene.actors, self._scene.drawn, strict=True)):
            data = actor.GetMapper().GetInput()
            counts = [self._scene.vertex_count(row) for row in rows]
            ends = np.cumsum(counts)
            for row, end, count in zip(rows, ends, counts, strict=True):
                self._slices[row] = (k, slice(int(end - count), int(end)))
            colours = np.tile(np.array(_bytes(look.REST), dtype=np.uint8), (data.GetNumberOfPoints(), 1))
            array = numpy_to_vtk(colours)  # shares memory with the array, which is kept alive here
            array.SetName("margin")
            data.GetPointData().SetScalars(array)
            actor.GetMapper().SetColorModeToDirectScalars()
            self._arrays.append((colours, array))


def _bytes(colour: str) -> tuple[int, int, int]:
    red, green, blue = (round(255 * c) for c in palette.channels(colour))
    return red, green, blue
