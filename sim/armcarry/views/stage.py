"""An off-screen stage: the scene of a run, a camera, and pictures of what it sees."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import ArmcarryError
from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import gl, palette
from armcarry.views.actors import SceneActors
from armcarry.views.annotate import Pixels
from armcarry.views.composed import composed, drawn
from armcarry.views.daylight import Daylight, Lamps, Level, daylight
from armcarry.views.hooked import tether_ends_m
from armcarry.views.meshes import sides_within
from armcarry.views.smoothing import smoothed
from armcarry.views.viewpoint import Viewpoint

#: width and height of a picture
SIZE = (1600, 900)
#: round parts are drawn this near to what they are, m
_OFF_M = {Level.PLAIN: 4e-3, Level.FINE: 2e-3, Level.STILL: 1.5e-3}


class Stage:
    """One plotter kept open for any number of pictures; use it in a ``with`` block."""

    def __init__(self, record: Record, size: tuple[int, int] = SIZE, level: Level = Level.STILL) -> None:
        """Open the stage.

        Args:
            record: the run.
            size: width and height in pixels.
            level: how much is spent on a picture.

        Raises:
            ArmcarryError: nothing can be drawn on this machine; the message says what to install.
        """
        trouble = gl.problem()
        if trouble is not None:
            raise ArmcarryError(trouble)
        import pyvista

        self.size, self.level = size, level
        self._times = 2 if level is Level.STILL else 1
        window = [self._times * side for side in size]
        self.plotter: Any = pyvista.Plotter(off_screen=True, window_size=window, lighting="none")
        self.plotter.set_background(palette.ROOM)
        self.plotter.render_window.SetMultiSamples(0)
        self._nearest_m = 0.0
        #: the light of the picture drawn last
        self.day: Daylight | None = None
        self.lamps = Lamps(self.plotter)
        self._lines: list[Any] = []
        self.record, self.scene = record, SceneActors(record, sides_within(_OFF_M[level]))
        self.scene.cull()
        self._tethers: list[Any] = []
        for actor in self.scene.actors:
            self.plotter.renderer.AddActor(actor)

    def __enter__(self) -> Stage:
        """Return the stage."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the window."""
        self.plotter.close()

    def show(self, time_s: float, there: Record | None = None) -> None:
        """Move everything to where it is at an instant, and draw a line along every tether that is hooked then.

        Args:
            time_s: the instant.
            there: the run as it stands then after a fault, to be drawn in place of what is flown.
        """
        self.scene.show(time_s)
        if there is not None:
            self.scene.stand(there)
        for line in self._tethers:
            self.forget(line)
        ends = tether_ends_m(there or self.record, time_s)
        hooked = ends[~np.isnan(ends).any(axis=(1, 2))]
        self._tethers = [self.path(pair, palette.YELLOW, 2.0) for pair in hooked]

    def look(self, view: Viewpoint) -> None:
        """Put the camera somewhere."""
        camera = self.plotter.camera
        camera.SetPosition(*view.eye_m)
        camera.SetFocalPoint(*view.focus_m)
        camera.SetViewUp(*view.up)
        camera.SetViewAngle(float(np.degrees(view.view_rad)))
        self._nearest_m = view.nearest_m
        camera.is_set = True  # or the first picture would fit everything in once more

    def spare(self, names: Collection[str], dim: float) -> None:
        """Dim all but the bodies named; none of them takes that back."""
        self.scene.dim(dim if names else 1.0, names)

    def mark(self, colours: Mapping[str, str], dim: float = 0.7) -> None:
        """Highlight bodies by name and dim the rest; an empty mapping takes the marks away."""
        for actor in self.scene.unmark():
            self.plotter.renderer.RemoveActor(actor)
        for actor in self.scene.mark(colours):
            self.plotter.renderer.AddActor(actor)
        self.scene.dim(dim if colours else 1.0)

    def see_through(self, names: Iterable[str]) -> None:
        """Let bodies by name be seen through; none takes it back. Call it after ``mark``, which dims."""
        for actor in self.scene.solid():
            self.plotter.renderer.RemoveActor(actor)
        for actor in self.scene.see_through(names):
            self.plotter.renderer.AddActor(actor)

    def path(self, points_m: ArrayLike, colour: str, wide: float = 3.0) -> Any:
        """Draw a line through points (n, 3) and return it, to be taken away by ``forget``."""
        import pyvista

        line = self.plotter.add_mesh(
            pyvista.lines_from_points(np.asarray(points_m, dtype=float)), color=colour, line_width=wide * self._times,
            lighting=False, render=False, reset_camera=False,
        )
        self._lines.append(line)
        return line

    def forget(self, line: Any) -> None:
        """Take a line away again."""
        self._lines.remove(line)
        self.plotter.remove_actor(line, render=False)

    def shot(self) -> Pixels:
        """Return the picture (h, w, 3) of what the camera sees."""
        self.plotter.renderer.ResetCameraClippingRange()
        near, far = self.plotter.camera.GetClippingRange()
        self.plotter.camera.SetClippingRange(max(near, self._nearest_m), far)
        self.day = day = daylight(self.record, self.scene.time_s)
        self.lamps.show(day)
        if self.level is not Level.PLAIN:
            return composed(self.plotter, self.scene, self.lamps, day, self._times, self._lines)
        # edges smoothed here: where no graphics card draws, several samples a point or VTK's own filter cost more than
        # all else of a picture
        return smoothed(drawn(self.plotter.render_window))

    def pixels(self, points_m: ArrayLike) -> tuple[Array, Array]:
        """Return where points (n, 3) are in the picture (n, 2), x right and y down, and which are before the eye."""
        points = np.atleast_2d(np.asarray(points_m, dtype=float))
        camera, (wide, tall) = self.plotter.camera, self.size
        eye, focus, up = (np.array(v) for v in (camera.GetPosition(), camera.GetFocalPoint(), camera.GetViewUp()))
        away = (eye - focus) / np.linalg.norm(eye - focus)
        right = np.cross(up, away)
        right /= np.linalg.norm(right)
        rise = np.cross(away, right)
        depth = -(points - eye) @ away
        scale = tall / 2 / np.tan(np.radians(camera.GetViewAngle()) / 2) / np.where(np.abs(depth) > 1e-9, depth, 1e-9)
        x, y = wide / 2 + (points - eye) @ right * scale, tall / 2 - (points - eye) @ rise * scale
        return np.stack([x, y], axis=1), depth > 1e-6

    def in_view(self, points_m: ArrayLike) -> Array:
        """Return which points (n, 3) fall inside the picture (n,)."""
        at, before = self.pixels(np.asarray(points_m, dtype=float))
        return np.asarray(before & np.all((at >= 0) & (at < np.array(self.size)), axis=1))
