"""The mouse in the 3-D view: turn with the left button, shift with the middle or right one, wheel to go nearer."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtWidgets import QWidget

from armcarry.views.player.cameras import Cameras

#: steps of the camera a pixel of the mouse, and a notch of the wheel (120 eighths of a degree)
_TURN = 0.07
_NOTCH = 120.0


class Mouse(QObject):
    """Moves a camera by the mouse over a widget, and keeps the toolkit below from doing so in its own way."""

    def __init__(
        self, widget: QWidget, cameras: Cameras, begin: Callable[[], None], moved: Callable[[], None],
        end: Callable[[], None],
    ) -> None:
        """Watch a widget.

        Args:
            widget: shows the view.
            cameras: what is moved.
            begin, moved, end: called when a button goes down, after each movement, and when it is let go.
        """
        super().__init__(widget)
        self._widget, self._cameras = widget, cameras
        self._begin, self._moved, self._end = begin, moved, end
        self._last: QPointF | None = None
        self._turns = True
        widget.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take the mouse."""
        kind = event.type()
        if isinstance(event, QWheelEvent):
            self._begin()
            self._cameras.approach(event.angleDelta().y() / _NOTCH)
            self._moved()
            self._end()
            return True
        if not isinstance(event, QMouseEvent):
            return super().eventFilter(watched, event)
        if kind in (QEvent.Type.MouseButtonPress, QEvent.Type.MouseButtonDblClick):
            self._last = event.position()
            self._turns = event.button() == Qt.MouseButton.LeftButton and not (
                event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            )
            self._widget.setFocus()
            self._begin()
        elif kind == QEvent.Type.MouseMove and self._last is not None and event.buttons():
            by = event.position() - self._last
            self._last = event.position()
            if self._turns:
                self._cameras.orbit(-by.x() * _TURN, by.y() * _TURN)
            else:
                self._cameras.shift(by.x(), by.y(), self._widget.height())
            self._moved()
        elif kind == QEvent.Type.MouseButtonRelease and self._last is not None:
            self._last = None
            self._end()
        return True
