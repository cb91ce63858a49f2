"""What a rider sees, small, in the corner of the 3-D view: the same bodies through another camera."""

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
        """Look through the eyes of the first person named; ``there`` tells whether there is one."""
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._eye = next((eye for eye in eyes(record) if eye.name in record.scene.loaded.crew), None)
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
        """Whether anybody's eyes can be looked through."""
        return self._eye is not None

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
