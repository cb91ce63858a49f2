"""Sticks for the mouse, and for a game controller when pygame and one are there."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QPointF
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from armcarry.handfly.hands import Hands
from armcarry.handfly.keys import Keys
from armcarry.views import palette
from armcarry.views.player import look

#: a stick of a controller that is moved less than this is at rest
_DEAD = 0.12


class MouseStick(QWidget):
    """A square to drag in: up and down is one stick, left and right another; letting go lets go."""

    def __init__(self, hands: Hands, upright: int, level: int, words: str) -> None:
        """Args: hands; upright and level, numbers of the sticks; words, what it does."""
        super().__init__()
        self._hands, self._upright, self._level = hands, upright, level
        self._at: QPointF | None = None
        self.setFixedSize(92, 92)
        self.setToolTip(look.tip_text(words))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold."""
        self._move(event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Push."""
        self._move(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go."""
        self._at = None
        self._hands.release(f"mouse {self._upright}")
        self._hands.release(f"mouse {self._level}")
        self.update()

    def _move(self, at: QPointF) -> None:
        self._at = at
        half = self.width() / 2
        self._hands.hold(f"mouse {self._upright}", self._upright, (half - at.y()) / half)
        self._hands.hold(f"mouse {self._level}", self._level, (half - at.x()) / half)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the square, its middle and where it is held."""
        painter = QPainter(self)
        painter.setPen(look.EDGE)
        half, side = self.width() // 2, self.width() - 1
        painter.drawRect(0, 0, side, side)
        painter.drawLine(half, 0, half, side)
        painter.drawLine(0, half, side, half)
        at = self._at or QPointF(half, half)
        painter.setBrush(look.CHOSEN if self._at is not None else palette.FAINT_LIGHT)
        painter.drawEllipse(at, 7, 7)


class Controller:
    """A game controller read through pygame; does nothing where there is neither."""

    def __init__(self, hands: Hands, keys: Keys, press: Callable[[str], None], stick: Any) -> None:
        """Args: hands; keys, which say what is what; press, called with a button's name; stick, from first_stick."""
        self._hands, self._keys, self._press = hands, keys, press
        self._down: set[int] = set()
        self.stick = stick

    def poll(self) -> None:
        """Read it once."""
        if self.stick is None:
            return
        import pygame

        pygame.event.pump()
        for axis, (stick, sign) in self._keys.axes.items():
            if axis < self.stick.get_numaxes():
                value = float(self.stick.get_axis(axis)) * sign
                source = f"controller {axis}"
                if abs(value) > _DEAD:
                    self._hands.hold(source, stick, value)
                else:
                    self._hands.release(source)
        for number, button in self._keys.presses.items():
            down = number < self.stick.get_numbuttons() and bool(self.stick.get_button(number))
            if down and number not in self._down:
                self._press(button)
            (self._down.add if down else self._down.discard)(number)


def first_stick() -> Any:
    """Return the first game controller, None where there is none or no pygame."""
    if importlib.util.find_spec("pygame") is None:
        return None
    import pygame

    pygame.display.init()
    pygame.joystick.init()
    return pygame.joystick.Joystick(0) if pygame.joystick.get_count() else None
