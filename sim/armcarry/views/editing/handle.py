"""The handle of a waypoint under the mouse: an axis is dragged to move along it, with Shift to turn about it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QEvent, QObject, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QWidget

from armcarry.geometry.poses import Array
from armcarry.views.editing.scene import HANDLE_M, EditScene

#: how near the end of an axis the mouse takes it, pixels of the widget
_NEAR_PX = 14.0
#: turn a pixel, rad
_TURN = np.radians(0.25)


class Handle(QObject):
    """Takes the mouse where the handle is; elsewhere it moves the camera as ever."""

    def __init__(
        self, widget: QWidget, scene: EditScene, say: Callable[[Array, bool], None], done: Callable[[Array, bool], None]
    ) -> None:
        """Watch a widget.

        Args:
            widget: shows the view.
            scene: what is drawn.
            say: told while it is dragged: by how much along or about the three axes, m or rad, and whether it turns.
            done: told the same when it is let go.
        """
        super().__init__(widget)
        self._widget, self.scene, self._say, self._done = widget, scene, say, done
        self._axis, self._turns = -1, False
        self._from, self._held, self._by = QPointF(), np.eye(4), np.zeros(3)
        widget.installEventFilter(self)

    def tips(self) -> Array:
        """Return where the ends of the axes are in the widget (3, 2), pixels; origin last (4, 2)."""
        handle = self.scene.handle if self.scene.handle is not None else np.eye(4)
        ends = np.vstack([handle[:3, 3] + HANDLE_M * handle[:3, :3].T, handle[:3, 3]])
        ratio = self._widget.devicePixelRatioF()
        return np.asarray(self.scene.on_screen(ends, round(self._widget.height() * ratio)) / ratio)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take presses on an axis, and what follows until it is let go."""
        if not isinstance(event, QMouseEvent) or self.scene.handle is None:
            return super().eventFilter(watched, event)
        kind = event.type()
        if kind == QEvent.Type.MouseButtonPress and event.button() == Qt.MouseButton.LeftButton:
            at = np.array([event.position().x(), event.position().y()])
            apart = np.linalg.norm(self.tips()[:3] - at, axis=1)
            if apart.min() > _NEAR_PX:
                return False
            self._axis, self._from = int(apart.argmin()), event.position()
            self._turns = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self._held, self._by = self.scene.handle.copy(), np.zeros(3)
            self._widget.setFocus()
            return True
        if self._axis < 0:
            return False
        if kind == QEvent.Type.MouseMove:
            self._drag(event.position())
            return True
        if kind == QEvent.Type.MouseButtonRelease:
            self._axis = -1
            self._done(self._by, self._turns)
            return True
        return False

    def _drag(self, at: QPointF) -> None:
        moved = np.array([at.x() - self._from.x(), at.y() - self._from.y()])
        self._by = np.zeros(3)
        if self._turns:
            self._by[self._axis] = moved[0] * _TURN
        else:
            self.scene.hold(self._held)
            tips = self.tips()
            along = tips[self._axis] - tips[3]
            size = float(along @ along)
            share = float(moved @ along) / size if size > 1.0 else 0.0  # an axis towards the eye cannot be dragged
            self._by[self._axis] = HANDLE_M * float(np.clip(share, -20.0, 20.0))
            there = self._held.copy()
            there[:3, 3] += self._held[:3, :3] @ self._by
            self.scene.hold(there)
        self._say(self._by, self._turns)
        self.scene.view.render()
