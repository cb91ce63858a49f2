"""What somebody or a camera sees, small, in the corner of the 3-D view: the same bodies through another camera."""

from __future__ import annotations

from typing import Any

import numpy as np

from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import SceneActors
from armcarry.views.daylight import Lamps
from armcarry.views.eyes import eyes

#: left, bottom, right and top of it in shares of the view
_WHERE = (0.73, 0.72, 0.995, 0.99)
_NEAR_M = 0.05


class Corner:
    """A second renderer of a window; it draws nothing until it is shown."""

    def __init__(self, plotter: Any, record: Record, scene: SceneActors, lamps: Lamps) -> None:
        """Look through the eyes of the first person named, else the first camera; ``there`` tells if there is any."""
        from vtkmodules.vtkRenderingCore import vtkRenderer

        people = record.scene.loaded.crew
        self._eyes = sorted(eyes(record), key=lambda eye: eye.name not in people)
        self._eye = next(iter(self._eyes), None)
        self.record, self.on = record, False
        self._renderer = vtkRenderer()
        self._renderer.SetViewport(*_WHERE)
        self._renderer.SetBackground(*palette.channels(palette.ROOM))
        self._renderer.InteractiveOff()
        self._renderer.AutomaticLightCreationOff()
        for light in lamps.lights:
            self._renderer.AddLight(light)
        for actor in scene.actors:
            self._renderer.AddActor(actor)
        self._renderer.DrawOff()
        plotter.render_window.AddRenderer(self._renderer)

    @property
    def there(self) -> bool:
        """Whether there are eyes or cameras to look through."""
        return self._eye is not None

    def next(self, time_s: float) -> str:
        """Look through the next eyes or camera, and return what they are called; empty where there are none."""
        if self._eye is None:
            return ""
        self._eye = self._eyes[(self._eyes.index(self._eye) + 1) % len(self._eyes)]
        self.update(time_s)
        return self._eye.title

    def show(self, on: bool) -> None:
        """Show or hide it."""
        self.on = on
        self._renderer.SetDraw(on)

    def update(self, time_s: float) -> None:
        """Look from where the eyes are at an instant."""
        if not self.on or self._eye is None:
            return
        pose, camera = self.record.link_path(self._eye.link, [time_s])[0], self._renderer.GetActiveCamera()
        camera.SetPosition(*pose[:3, 3])
        camera.SetFocalPoint(*(pose[:3, 3] + pose[:3, 0]))
        camera.SetViewUp(*pose[:3, 2])
        camera.SetViewAngle(float(np.degrees(self._eye.vertical_rad)))
        self._renderer.ResetCameraClippingRange()
        camera.SetClippingRange(_NEAR_M, camera.GetClippingRange()[1])
