"""Parts tinted by margin, written again only when a part changes its band."""

from __future__ import annotations

from collections.abc import Mapping

from armcarry.views.actors import SceneActors
from armcarry.views.player import look


class Tint:
    """Colours the parts of a scene by how much they have to spare."""

    def __init__(self, scene: SceneActors) -> None:
        self._scene = scene
        self._bands: dict[int, int] = {}
        self.on = False

    def show(self, margin_m: Mapping[int, float]) -> int:
        """Tint parts by margin, rows into ``record.bodies``; return how many changed colour."""
        if not self.on:
            self.on = True
            self._scene.paint(dict.fromkeys(range(len(self._scene.looks)), look.REST))
        bands = {row: look.band(margin) for row, margin in margin_m.items()}
        changed = {row for row in {*bands, *self._bands} if bands.get(row) != self._bands.get(row)}
        self._scene.paint({row: look.band_colour(bands.get(row, len(look.BANDS_M))) for row in changed})
        self._bands = bands
        return len(changed)

    def off(self) -> None:
        """Show every part in its own colours again."""
        if self.on:
            self.on, self._bands = False, {}
            self._scene.paint(dict.fromkeys(range(len(self._scene.looks))))
