"""The timeline of actors: lanes of bars with a cursor; a click goes there."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QEvent, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QHelpEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import QToolTip, QWidget

from armcarry.quantities import clock
from armcarry.views import palette
from armcarry.views.lanes import Bar, Lanes
from armcarry.views.player import look

NAMES_PX = 110
LANE_PX = 20
_AXIS_PX = 18
#: fill and text of a bar by kind; what stands still or waits is an outline
_FILL = {
    "move": (palette.ORANGE, palette.ROOM), "still": ("#343D48", palette.LIGHT),
    "carried": (palette.SKY_BLUE, palette.ROOM), "parked": ("#343D48", palette.LIGHT),
    "critical": (palette.ORANGE, palette.ROOM),
}


class Timeline(QWidget):
    """Draws lanes once and moves a cursor over them."""

    #: an instant of the run that was clicked, seconds
    asked = Signal(float)

    def __init__(self, lanes: Lanes) -> None:
        super().__init__()
        self.setAccessibleName("Timeline of actors")
        self.setMinimumWidth(300)
        self._picture: QPixmap | None = None
        self._run_s = 0.0
        self._only = ""
        self.set_lanes(lanes)

    def set_lanes(self, lanes: Lanes) -> None:
        """Show other lanes, still of one actor alone where that was asked."""
        self._every = lanes
        own = tuple(lane for lane in lanes.lanes if lane.name == self._only)
        self.lanes = replace(lanes, lanes=own or lanes.lanes)
        self._picture = None
        self.setFixedHeight(len(lanes.lanes) * LANE_PX + _AXIS_PX)
        self.update()

    def only(self, name: str) -> None:
        """Show the lane of one actor, or all with an empty name."""
        self._only = name
        self.set_lanes(self._every)

    def show_time(self, run_s: float) -> None:
        """Move the cursor to an instant of the run."""
        before, self._run_s = self._x(self._run_s), run_s
        after = self._x(run_s)
        if round(before) != round(after):
            for x in (before, after):
                self.update(int(x) - 3, 0, 7, self.height())

    def bar_at(self, x: float, y: float) -> Bar | None:
        """Return the bar at a point of the widget."""
        k = int(y // LANE_PX)
        if not 0 <= k < len(self.lanes.lanes):
            return None
        time_s = self._time(x)
        found = None
        for bar in self.lanes.lanes[k].bars:
            slack = 3.0 * (self.lanes.end_s - self.lanes.start_s) / max(self.width() - NAMES_PX, 1)
            before = slack if bar.end_s == bar.start_s else 0.0
            if bar.start_s - before <= time_s <= max(bar.end_s, bar.start_s + slack):
                found = bar
        return found

    # -- drawing ------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the lanes, from a picture kept since the size last changed, and the cursor."""
        if self._picture is None:
            self._picture = self._drawn()
        painter = QPainter(self)
        painter.drawPixmap(event.rect(), self._picture, event.rect())
        x = round(self._x(self._run_s))
        painter.fillRect(x - 1, 0, 3, self.height(), QColor(palette.LIGHT))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Forget the picture."""
        self._picture = None
        super().resizeEvent(event)

    def _drawn(self) -> QPixmap:
        picture = QPixmap(self.size())
        picture.fill(QColor(palette.PANEL))
        painter = QPainter(picture)
        font = painter.font()
        font.setPixelSize(12)
        painter.setFont(font)
        self._axis(painter)
        for k, lane in enumerate(self.lanes.lanes):
            top = k * LANE_PX
            painter.setPen(QColor(palette.LIGHT))
            name = painter.fontMetrics().elidedText(lane.name, Qt.TextElideMode.ElideRight, NAMES_PX - 12)
            painter.drawText(QRectF(8, top, NAMES_PX - 10, LANE_PX), Qt.AlignmentFlag.AlignVCenter, name)
            for bar in lane.bars:
                self._bar(painter, bar, top + 2)
        painter.end()
        return picture

    def _bar(self, painter: QPainter, bar: Bar, top: int) -> None:
        fill, text = _FILL[bar.kind]
        left, right = self._x(bar.start_s), self._x(bar.end_s)
        box = QRectF(left, top, max(right - left - 1, 2), LANE_PX - 4)
        painter.fillRect(box, QColor(fill if right - left >= 2 else palette.LIGHT))
        if bar.kind == "critical":
            painter.fillRect(QRectF(left, top + LANE_PX - 7, box.width(), 3), QColor(palette.VERMILLION))
        if box.width() > 24:
            painter.setPen(QColor(text))
            words = painter.fontMetrics().elidedText(bar.words, Qt.TextElideMode.ElideRight, int(box.width()) - 6)
            if len(words) > 2:
                painter.drawText(box.adjusted(4, 0, -2, 0), Qt.AlignmentFlag.AlignVCenter, words)

    def _axis(self, painter: QPainter) -> None:
        painter.setPen(QPen(QColor(palette.FAINT_LIGHT)))
        top = len(self.lanes.lanes) * LANE_PX
        for time_s in ticks(self.lanes.start_s, self.lanes.end_s, max((self.width() - NAMES_PX) // 90, 2)):
            x = self._x(time_s)
            painter.drawLine(int(x), top, int(x), top + 4)
            words = clock(time_s).split(".")[0]
            wide = painter.fontMetrics().horizontalAdvance(words)
            left = min(x - wide / 2, self.width() - wide - 2)
            painter.drawText(QRectF(left, top + 3, wide + 2, _AXIS_PX - 3), Qt.AlignmentFlag.AlignTop, words)

    def _x(self, clock_s: float) -> float:
        span = max(self.lanes.end_s - self.lanes.start_s, 1e-9)
        return NAMES_PX + (clock_s - self.lanes.start_s) / span * (self.width() - NAMES_PX - 6)

    def _time(self, x: float) -> float:
        span = self.lanes.end_s - self.lanes.start_s
        share = (x - NAMES_PX) / max(self.width() - NAMES_PX - 6, 1)
        return self.lanes.start_s + min(max(share, 0.0), 1.0) * span

    # -- mouse --------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the instant under the mouse; on a name, nowhere."""
        if event.position().x() >= NAMES_PX:
            self.asked.emit(self._time(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Scrub while a button is down."""
        if event.buttons():
            self.asked.emit(self._time(event.position().x()))

    def event(self, event: QEvent) -> bool:
        """Show what a bar stands for under a resting mouse."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            bar = self.bar_at(event.pos().x(), event.pos().y())
            if bar is not None:
                until = f" to {clock(bar.end_s)}" if bar.end_s > bar.start_s else ""
                words = f"{bar.more or bar.words}\n{clock(bar.start_s)}{until}"
                QToolTip.showText(event.globalPos(), look.tip_text(words), self)
            return True
        return super().event(event)


def ticks(start_s: float, end_s: float, most: int) -> list[float]:
    """Return round times between two instants, at most so many."""
    span = max(end_s - start_s, 1e-9)
    for step in (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400):
        if span / step <= most:
            break
    first = -int(-start_s // step)
    return [k * float(step) for k in range(first, int(end_s // step) + 1)]
