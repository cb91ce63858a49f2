"""The widget that shows the 3-D view, in two forms with one face.

``PictureCanvas`` draws off screen and paints the picture as any other widget: with software rendering that is
twice as fast as letting Qt compose OpenGL surfaces, and it needs no OpenGL of the window system.
``LiveCanvas`` is pyvistaqt's view, which leaves everything on the graphics card where there is one.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QWidget

from armcarry.views import palette


class Canvas(Protocol):
    """What the window asks of either form.

    Attributes:
        plotter: a PyVista plotter to put actors into.
        widget: what to put into the window.
        frames: how many frames were drawn.
    """

    plotter: Any
    widget: QWidget
    frames: int

    def draw(self) -> None:
        """Ask for a frame; several requests before the next paint make one."""

    def end(self) -> None:
        """Let go of everything."""


def canvas(live: bool) -> Canvas:
    """Return the form that suits the machine: live with a graphics card, else pictures."""
    return LiveCanvas() if live else PictureCanvas()


class PictureCanvas(QWidget):
    """Draws off screen and paints the picture."""

    def __init__(self) -> None:
        import pyvista

        super().__init__()
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(160, 90)
        self.plotter: Any = pyvista.Plotter(off_screen=True, window_size=[640, 360], lighting="none")
        self.widget: QWidget = self
        self.frames = 0
        self._pixels: np.ndarray | None = None
        self._stale = True
        self._taken: Any = None
        self.plotter.render_window.AddObserver("EndEvent", self._count)

    def draw(self) -> None:
        """Ask for a frame."""
        self._stale = True
        self.update()

    def end(self) -> None:
        """Close the plotter."""
        self.plotter.close()
        self.plotter = None

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the frame if it is asked for, and paint it."""
        painter = QPainter(self)
        if self._stale and self.plotter is not None:
            self._stale = False
            self._render()
        if self._pixels is None:
            painter.fillRect(event.rect(), palette.ROOM)
            return
        tall, wide, _ = self._pixels.shape
        image = QImage(self._pixels.data, wide, tall, 4 * wide, QImage.Format.Format_RGBX8888)
        image.setDevicePixelRatio(self.devicePixelRatioF())
        painter.drawImage(0, 0, image)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Draw as large as the widget is, in pixels of the screen."""
        ratio = self.devicePixelRatioF()
        if self.plotter is not None:
            self.plotter.render_window.SetSize(
                max(round(self.width() * ratio), 1), max(round(self.height() * ratio), 1)
            )
        self.draw()
        super().resizeEvent(event)

    def _render(self) -> None:
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        window = self.plotter.render_window
        window.Render()
        wide, tall = window.GetSize()
        if self._taken is None:
            self._taken = vtkUnsignedCharArray()
        window.GetRGBACharPixelData(0, 0, wide - 1, tall - 1, 0, self._taken)
        self._pixels = np.ascontiguousarray(vtk_to_numpy(self._taken).reshape(tall, wide, 4)[::-1])

    def _count(self, *_: object) -> None:
        self.frames += 1


class LiveCanvas:
    """pyvistaqt's view, drawn by the graphics card."""

    def __init__(self) -> None:
        from pyvistaqt import QtInteractor

        self.plotter: Any = QtInteractor(auto_update=False, multi_samples=0, lighting="none")
        self.plotter.setAcceptDrops(False)  # it would load any mesh that is dropped on it
        self.widget: QWidget = self.plotter
        self.frames = 0
        self.plotter.render_window.AddObserver("EndEvent", self._count)

    def draw(self) -> None:
        """Ask for a frame; rendering first and being painted after that would draw twice."""
        QWidget.update(self.widget)  # PyVista has an update of its own

    def end(self) -> None:
        """Close the view before its window goes."""
        self.plotter.close()

    def _count(self, *_: object) -> None:
        self.frames += 1
