"""A small map of the platform seen from above, with where people and the tool are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.groups import rigid_groups
from armcarry.views.looks import bands
from armcarry.views.viewpoint import body_corners

_EDGE_PX = 6


def outlines(record: Record) -> list[Array]:
    """Return what never moves as seen from above: the outline (k, 2) of each body's box, m."""
    from scipy.spatial import ConvexHull, QhullError

    found = []
    for box in _still_corners(record):
        flat = np.unique(np.round(box, 4), axis=0)
        try:
            found.append(np.asarray(flat[ConvexHull(flat).vertices]))
        except QhullError:  # a body without width from above
            continue
    return found


def middle_body(record: Record, person: str) -> str:
    """Return the name of the body of a person that is nearest to the middle of all of them at the start."""
    rows = [k for k, body in enumerate(record.bodies) if body.name.startswith(f"{person}/")]
    at = record.body_poses(record.motion.start_s)[0, rows, :3, 3]
    return record.bodies[rows[int(np.argmin(np.linalg.norm(at - at.mean(axis=0), axis=1)))]].name


def _still_corners(record: Record) -> Array:
    still = rigid_groups(record)[0].bodies
    return np.asarray(body_corners(record, record.motion.start_s).reshape(-1, 8, 3)[list(still), :, :2])


class Inset:
    """The map of a run, drawn once and marked for each instant.

    x of the platform runs to the right, y up, so that the map is read as the drawings of the platform are.
    """

    def __init__(self, record: Record, wide_px: int) -> None:
        """Draw what never moves, so many pixels wide."""
        from PIL import Image, ImageDraw

        self.record = record
        self._rows = {
            person: [k for k, body in enumerate(record.bodies) if body.name.startswith(f"{person}/")]
            for person in record.scene.loaded.crew
        }
        corners = _still_corners(record)
        low, high = corners.reshape(-1, 2).min(axis=0), corners.reshape(-1, 2).max(axis=0)
        self._scale = (wide_px - 2 * _EDGE_PX) / max(float(high[0] - low[0]), 1.0)
        tall_px = int(self._scale * float(high[1] - low[1])) + 2 * _EDGE_PX
        self._low, self._size = low, (wide_px, max(tall_px, wide_px // 8))
        self._ground = Image.new("RGB", self._size, palette.PANEL)
        draw = ImageDraw.Draw(self._ground)
        for outline in outlines(record):
            draw.polygon([self._px(point) for point in outline], fill="#7D8791", outline="#3A434E")

    def at(self, time_s: float) -> NDArray[np.uint8]:
        """Return the map (h, w, 3) at an instant: the tool as a ring, people as dots in their hue with their bands."""
        from PIL import ImageDraw

        picture = self._ground.copy()
        draw = ImageDraw.Draw(picture)
        r = max(self._size[0] // 60, 4)
        tree = self.record.phase_at(time_s).tree
        x, y = self._px(self.record.link_path(self.record.scene.tool(tree), [time_s])[0, :2, 3])
        draw.ellipse((x - 1.6 * r, y - 1.6 * r, x + 1.6 * r, y + 1.6 * r), outline=palette.ORANGE, width=2)
        poses = self.record.body_poses(time_s)[0]
        for person, rows in self._rows.items():
            x, y = self._px(poses[rows, :2, 3].mean(axis=0))
            worn = bands(self.record, person)
            draw.ellipse((x - r, y - r, x + r, y + r), fill=worn.hue, outline=palette.LIGHT, width=2)
            for k in range(1, worn.count):  # the second person has a second ring and so on
                far = r + 3 * k
                draw.ellipse((x - far, y - far, x + far, y + far), outline=palette.LIGHT, width=1)
        return np.asarray(picture)

    def _px(self, point: Array) -> tuple[float, float]:
        x, y = (np.asarray(point) - self._low) * self._scale
        return _EDGE_PX + float(x), self._size[1] - _EDGE_PX - float(y)
