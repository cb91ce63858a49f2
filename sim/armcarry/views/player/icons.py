"""Small pictures on buttons, drawn from straight lines so that they need no font and no file."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPen, QPixmap, QPolygonF

from armcarry.views import palette

_SIZE = 32
_RIGHT = ((0.3, 0.15), (0.3, 0.85), (0.85, 0.5))
#: polygons in a square of side 1, by name
_SHAPES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "play": (_RIGHT,),
    "pause": (
        ((0.25, 0.15), (0.42, 0.15), (0.42, 0.85), (0.25, 0.85)),
        ((0.58, 0.15), (0.75, 0.15), (0.75, 0.85), (0.58, 0.85)),
    ),
    "frame_on": (((0.2, 0.2), (0.2, 0.8), (0.62, 0.5)), ((0.68, 0.2), (0.8, 0.2), (0.8, 0.8), (0.68, 0.8))),
    "move_on": (
        ((0.08, 0.2), (0.08, 0.8), (0.45, 0.5)), ((0.45, 0.2), (0.45, 0.8), (0.82, 0.5)),
        ((0.84, 0.2), (0.94, 0.2), (0.94, 0.8), (0.84, 0.8)),
    ),
}


def icon(name: str) -> QIcon:
    """Return the picture of a button; ``frame_back`` and ``move_back`` mirror those that go on."""
    mirrored = name.endswith("_back")
    shapes = _SHAPES[name.replace("_back", "_on") if mirrored else name]
    picture = QPixmap(_SIZE, _SIZE)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(Qt.PenStyle.NoPen))
    painter.setBrush(QColor(palette.LIGHT))
    for shape in shapes:
        points = [QPointF((1 - x if mirrored else x) * _SIZE, y * _SIZE) for x, y in shape]
        painter.drawPolygon(QPolygonF(points))
    painter.end()
    return QIcon(picture)


def window_icon() -> QIcon:
    """Return the window's own picture: a bent arm of two booms that holds a box."""
    picture = QPixmap(64, 64)
    picture.fill(QColor(palette.ROOM))
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(palette.ORANGE), 7, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
    painter.drawLine(QPointF(10, 54), QPointF(26, 12))
    painter.drawLine(QPointF(26, 12), QPointF(46, 38))
    painter.fillRect(QRectF(40, 38, 18, 16), QColor(palette.YELLOW))
    painter.end()
    return QIcon(picture)
