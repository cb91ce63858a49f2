"""The 3-D view of a script that is changed: the scene at an instant, the way in colours of its margin, a handle."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from armcarry.editing.answer import Answer
from armcarry.editing.volume import FreeVolume
from armcarry.geometry.poses import Array
from armcarry.record.record import PairRow, Record
from armcarry.views import palette
from armcarry.views.groups import rigid_groups
from armcarry.views.player import look
from armcarry.views.player.marks import Lines, place, triads, words
from armcarry.views.player.nearest import Nearest
from armcarry.views.player.scene import QUICK, SceneView

#: length of the handle's axes, m, and their colours: x, y, z
HANDLE_M = 1.2
AXES = (look.LINES[1], look.LINES[2], look.LINES[0])
#: how far from the tool the view looks from, m
_FROM_M = (-7.0, 9.0, 5.0)


class EditScene:
    """A view that shows another run of the same scene after every change.

    Attributes:
        view: the view.
        handle: T_world_handle (4, 4) of the waypoint that is held, its axes those in which it is moved; None for none.
    """

    def __init__(self, plotter: Any, answer: Answer, draw: Callable[[], None]) -> None:
        """Args: plotter; answer, what is shown first; draw, as for SceneView."""
        self.view = SceneView(plotter, answer.record, None, draw)
        self.view.samples(QUICK)
        self._signature = signature(answer.record)
        self._volume: list[Any] = []
        self._axes = Lines(AXES, 5.0)
        self._named = [words(name, 15, colour, bold=True) for name, colour in zip("xyz", AXES, strict=True)]
        for actor in (self._axes.actor, *self._named):
            actor.VisibilityOff()
            self.view.lay_over(actor)
        self._way: Any = None
        self.handle: Array | None = None
        self.take(answer)

    def fits(self, answer: Answer) -> bool:
        """Tell whether the view can show an answer: the same bodies, sorted alike; else a new view is made."""
        return signature(answer.record) == self._signature

    def take(self, answer: Answer) -> None:
        """Show the run of an answer, and its way."""
        view, record = self.view, answer.record
        view.record = view.scene.record = view.cameras.record = record
        if self._way is not None:
            view.take_away(self._way.actor)
        way = answer.way
        colours = [look.OPEN_TEXT if margin != margin else look.band_colour(look.band(margin))  # nan: not proven yet
                   for margin in way.margin_m[:-1].tolist()]  # fmt: skip
        self._way = Lines(colours, 6.0)
        self._way.move(np.stack([way.points_m[:-1], way.points_m[1:]], axis=1))
        view.lay_over(self._way.actor)

    def show(self, time_s: float, handle: Array | None, row: PairRow | None) -> None:
        """Show an instant, the handle of a waypoint, and a pair with its distance."""
        self.view.show(time_s)
        self.hold(handle)
        near = None
        if row is not None and np.isfinite(row.upper_m):
            near = Nearest(row, row.lower_m, row.upper_m, np.asarray(row.point_a), np.asarray(row.point_b))
        self.view.show_nearest(near)
        self.view.render()

    def hold(self, handle: Array | None) -> None:
        """Draw the handle of a waypoint, T_world_handle (4, 4); None takes it away."""
        self.handle = handle
        for actor in (self._axes.actor, *self._named):
            actor.SetVisibility(handle is not None)
        if handle is not None:
            ends = triads(handle[None], HANDLE_M)
            self._axes.move(ends)
            for actor, end in zip(self._named, ends, strict=True):
                place(actor, end[1] + 0.08 * (end[1] - end[0]))

    def show_volume(self, volume: FreeVolume | None, frame: Array | None) -> None:
        """Shade where a waypoint may be, T_world_frame (4, 4) being where its frame is; None takes it away."""
        for actor in self._volume:
            self.view.take_away(actor)
        self._volume = []
        if volume is not None and frame is not None and volume.passes.any():
            self._volume = shaded(volume, frame)
            for actor in self._volume:
                self.view.lay_over(actor)
        self.view.render()

    def look_at(self, point_m: Array) -> None:
        """Look at a point from the side."""
        camera = self.view.cameras.camera
        camera.SetFocalPoint(*point_m)
        camera.SetPosition(*(np.asarray(point_m) + np.array(_FROM_M)))
        camera.SetViewUp(0.0, 0.0, 1.0)

    def on_screen(self, points_m: Array, height_px: int) -> Array:
        """Return where points (N, 3) are in the picture (N, 2), pixels from the upper left corner."""
        renderer = self.view.renderer
        found = []
        for point in np.asarray(points_m):
            renderer.SetWorldPoint(*point, 1.0)
            renderer.WorldToDisplay()
            x, y, _ = renderer.GetDisplayPoint()
            found.append((x, height_px - y))
        return np.array(found)


def shaded(volume: FreeVolume, frame: Array) -> list[Any]:
    """Return the region that passes as a body of cubes one can look through, and its best point as a ball."""
    import pyvista as pv
    from vtkmodules.vtkFiltersGeometry import vtkDataSetSurfaceFilter
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    step = volume.step_m
    cells = np.round((volume.points_m - volume.points_m[0]) / step).astype(int)
    low, count = cells.min(axis=0), np.ptp(cells, axis=0) + 1
    grid = pv.ImageData(dimensions=count + 1, spacing=(step,) * 3, origin=volume.points_m[0] + (low - 0.5) * step)
    inside = np.zeros(tuple(count), dtype=np.uint8)
    inside[tuple((cells[volume.passes] - low).T)] = 1
    grid.cell_data["inside"] = inside.ravel(order="F")
    skin = vtkDataSetSurfaceFilter()
    skin.SetInputData(grid.threshold(0.5, scalars="inside"))
    skin.Update()
    parts = [(skin.GetOutput(), look.LINES[2], 0.35)]
    if volume.best is not None:
        parts.append((pv.Sphere(radius=0.25 * step, center=volume.points_m[volume.best]), look.LINES[1], 1.0))
    actors = []
    for data, colour, opacity in parts:
        mapper, actor = vtkPolyDataMapper(), vtkActor()
        mapper.SetInputData(data)
        mapper.ScalarVisibilityOff()
        actor.SetMapper(mapper)
        actor.GetProperty().SetColor(*palette.channels(colour))
        actor.GetProperty().SetOpacity(opacity)
        actor.SetUserMatrix(pv.vtkmatrix_from_array(frame))
        actor.PickableOff()
        actors.append(actor)
    return actors


def signature(record: Record) -> tuple[object, ...]:
    """Return what a view is built for: the bodies, and which of them move as one."""
    return (tuple(body.name for body in record.bodies), tuple(group.bodies for group in rigid_groups(record)))
