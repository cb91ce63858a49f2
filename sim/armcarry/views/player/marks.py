"""Lines and words in the 3-D view: one batch of coloured lines a kind, and text that stays the same size."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array
from armcarry.views import palette


class Lines:
    """Any number of straight lines in one actor, moved by writing new ends."""

    def __init__(self, colours: Sequence[str], wide: float) -> None:
        """Args: colours, one a line; wide, pixels."""
        from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        count = len(colours)
        self._ends = np.zeros((2 * count, 3), dtype=np.float32)
        self._points, cells, self._data = vtkPoints(), vtkCellArray(), vtkPolyData()
        self._points.SetData(numpy_to_vtk(self._ends))
        rows = np.column_stack([np.full(count, 2), np.arange(0, 2 * count, 2), np.arange(1, 2 * count, 2)])
        cells.ImportLegacyFormat(numpy_to_vtkIdTypeArray(rows.astype(np.int64).ravel(), deep=True))
        self._data.SetPoints(self._points)
        self._data.SetLines(cells)
        self._colours = np.zeros((count, 3), dtype=np.uint8)
        scalars = numpy_to_vtk(self._colours)
        scalars.SetName("colour")
        self._data.GetCellData().SetScalars(scalars)
        self._scalars = scalars
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(self._data)
        self.actor: Any = vtkActor()
        self.actor.SetMapper(mapper)
        self.actor.GetProperty().SetLineWidth(wide)
        self.actor.GetProperty().LightingOff()
        self.actor.PickableOff()
        self.paint(colours)

    def move(self, ends_m: ArrayLike) -> None:
        """Put the lines to ends (count, 2, 3)."""
        self._ends[:] = np.asarray(ends_m, dtype=np.float32).reshape(-1, 3)
        self._points.Modified()

    def paint(self, colours: Sequence[str]) -> None:
        """Give each line a colour."""
        self._colours[:] = [[round(255 * c) for c in palette.channels(colour)] for colour in colours]
        self._scalars.Modified()
        self._data.Modified()


def words(text: str, size_px: int, colour: str = palette.LIGHT, bold: bool = False) -> Any:
    """Return a VTK text actor with a dark ground, placed by a point in the world (``place``)."""
    from vtkmodules.vtkRenderingCore import vtkTextActor
    from vtkmodules.vtkRenderingFreeType import vtkVectorText  # noqa: F401 - loads the text renderer

    actor = vtkTextActor()
    actor.SetInput(text)
    actor.GetPositionCoordinate().SetCoordinateSystemToWorld()
    look = actor.GetTextProperty()
    look.SetFontFamily(4)  # VTK_FONT_FILE
    look.SetFontFile(font_file(bold))
    look.SetFontSize(size_px)
    look.SetColor(*palette.channels(colour))
    look.SetBackgroundColor(*palette.channels(palette.ROOM))
    look.SetBackgroundOpacity(0.85)
    look.SetJustificationToCentered()
    look.SetVerticalJustificationToCentered()
    actor.PickableOff()
    return actor


def place(actor: Any, point_m: ArrayLike) -> None:
    """Put text at a point (3,) of the world."""
    actor.GetPositionCoordinate().SetValue(*(float(v) for v in np.asarray(point_m)))


@lru_cache(maxsize=2)
def font_file(bold: bool = False) -> str:
    """Return the path of a font that knows the letters of most languages; matplotlib brings it."""
    import matplotlib

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name)


def triads(poses: Array, length_m: float) -> Array:
    """Return the three axes of frames (K, 4, 4) as line ends (3 K, 2, 3)."""
    start = np.repeat(poses[:, None, :3, 3], 3, axis=1)
    end = start + length_m * np.swapaxes(poses[:, :3, :3], 1, 2)
    return np.asarray(np.stack([start, end], axis=2).reshape(-1, 2, 3))
