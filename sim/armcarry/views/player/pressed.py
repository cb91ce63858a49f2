"""Names of pressed keys, as keys.py writes them."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

_NAMED = {
    Qt.Key.Key_Space: "Space", Qt.Key.Key_Left: "Left", Qt.Key.Key_Right: "Right", Qt.Key.Key_Up: "Up",
    Qt.Key.Key_Down: "Down", Qt.Key.Key_Home: "Home", Qt.Key.Key_End: "End", Qt.Key.Key_PageUp: "PageUp",
    Qt.Key.Key_PageDown: "PageDown", Qt.Key.Key_F1: "F1", Qt.Key.Key_F11: "F11", Qt.Key.Key_Escape: "Escape",
    Qt.Key.Key_Plus: "+", Qt.Key.Key_Minus: "-", Qt.Key.Key_Equal: "=",
}


def key_name(event: QKeyEvent) -> str:
    """Return the name of a pressed key as keys.py writes it."""
    modifiers = event.modifiers()
    control = bool(modifiers & Qt.KeyboardModifier.ControlModifier)
    shift = bool(modifiers & Qt.KeyboardModifier.ShiftModifier)
    named = _NAMED.get(Qt.Key(event.key()))
    if named is not None and len(named) > 1:
        return ("Ctrl+" if control else "") + ("Shift+" if shift and not control else "") + named
    if control:
        return f"Ctrl+{named or chr(event.key()) if event.key() < 0x110000 else ''}"
    return event.text() or named or ""
