"""Plots with a moving cursor beside a table of values at the instant shown."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QTabBar,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from armcarry.quantities import clock
from armcarry.record.record import PairRow, Record
from armcarry.views import palette
from armcarry.views.player import look
from armcarry.views.player.series import Series, clearance_series, joint_series, rate_series

_MAKERS: dict[str, Callable[[Record], tuple[Series, ...]]] = {
    "Clearance": clearance_series, "Joints": joint_series, "Rates": rate_series,
}
TABS = tuple(_MAKERS)
_NOTHING = "no clearance curve in this run"


class TimeAxis(pg.AxisItem):  # type: ignore[misc] # pyqtgraph has no types
    """Writes times as findings do, to the second."""

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """Return the words at ticks."""
        return [clock(value, 0) for value in values]

    def tickSpacing(self, low: float, high: float, size: float) -> list[tuple[float, float]]:
        """Return round spacings of minutes and hours."""
        most = max(size / 80, 2)
        steps = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
        return [(next((step for step in steps if (high - low) / step <= most), 28800), 0)]


class Plots(QWidget):
    """Three plots over one another with their tables; the chosen row is drawn strong, with its limits."""

    #: an instant that was clicked, seconds
    asked = Signal(float)

    def __init__(self, record: Record, other: Record | None = None) -> None:
        super().__init__()
        self.record = record
        self._series = {name: make(record) for name, make in _MAKERS.items()}
        self._other = {} if other is None else {name: make(other) for name, make in _MAKERS.items()}
        self._chosen = dict.fromkeys(TABS, 0)
        self._time_s = record.motion.start_s
        self.tabs = QTabBar()
        self.tabs.setAccessibleName("Which plot")
        for name in TABS:
            self.tabs.addTab(name)
        self.table = _table()
        self.plot = self._plot(record)
        self._cursor = QWidget(self.plot.viewport())
        self._cursor.setStyleSheet(f"background: {palette.LIGHT};")
        self._cursor.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        left = QVBoxLayout()
        left.setContentsMargins(0, 0, 0, 0)
        left.setSpacing(2)
        left.addWidget(self.tabs)
        left.addWidget(self.table)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addLayout(left, 6)
        layout.addWidget(self.plot, 6)
        self.tabs.currentChanged.connect(self._fill)
        self.table.currentCellChanged.connect(lambda row, *_: self._choose(row))
        self._fill()

    @property
    def tab(self) -> str:
        """Name of the plot shown."""
        return TABS[self.tabs.currentIndex()]

    @property
    def series(self) -> tuple[Series, ...]:
        """Lines of the plot shown."""
        return self._series[self.tab]

    def next_tab(self) -> None:
        """Show the next plot."""
        self.tabs.setCurrentIndex((self.tabs.currentIndex() + 1) % len(TABS))

    def next_row(self, count: int) -> None:
        """Choose a later or earlier line."""
        if self.series:
            self.table.setCurrentCell((self._chosen[self.tab] + count) % len(self.series), 0)

    def show_time(self, time_s: float) -> None:
        """Move the cursor."""
        self._time_s = time_s
        box = self.plot.getPlotItem().getViewBox()
        x = self.plot.mapFromScene(box.mapViewToScene(pg.Point(time_s, 0.0))).x()
        area = self.plot.mapFromScene(box.sceneBoundingRect()).boundingRect()
        self._cursor.setGeometry(x - 1, area.top(), 2, area.height())

    def show_values(self) -> None:
        """Write the values at the instant shown into the table."""
        for row, series in enumerate(self.series):
            item = self.table.item(row, 1)
            text = series.now(self._time_s)
            if item is not None and item.text() != text:
                item.setText(text)

    def show_group(self, row: PairRow) -> None:
        """Show the clearance of the group that two bodies belong to; nothing changes where no curve is of them."""
        names = [curve.group for curve in self.record.curves if curve.covers(row)]
        for k, series in enumerate(self._series["Clearance"]):
            if series.name in names:
                self._chosen["Clearance"] = k
                self.tabs.setCurrentIndex(TABS.index("Clearance"))
                self._fill()
                return

    # -- drawing ------------------------------------------------------------------------------

    def _plot(self, record: Record) -> Any:
        plot = pg.PlotWidget(axisItems={"bottom": TimeAxis("bottom")}, background=palette.PANEL)
        plot.setMouseEnabled(x=False, y=False)
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.setXRange(record.motion.start_s, record.motion.end_s, padding=0.01)
        plot.setFrameShape(plot.Shape.NoFrame)
        for side in ("bottom", "left"):
            axis = plot.getAxis(side)
            axis.setPen(pg.mkPen(look.EDGE))
            axis.setTextPen(pg.mkPen(palette.LIGHT))
        plot.viewport().installEventFilter(self)
        return plot

    def _fill(self) -> None:
        """Write the table and draw the lines of the plot shown."""
        self.table.blockSignals(True)
        self.table.setRowCount(max(len(self.series), 1))
        unit = self.series[0].unit if self.series else ""
        self.table.setHorizontalHeaderLabels(["", f"now {unit}".strip(), "over the run"])
        if not self.series:
            for column, text in enumerate((_NOTHING, "", "")):
                self.table.setItem(0, column, QTableWidgetItem(text))
        for row, series in enumerate(self.series):
            sign = "✕ " if series.bad.any() else ""
            for column, text in enumerate((series.name, series.now(self._time_s), sign + series.summary)):
                item = QTableWidgetItem(text)
                item.setToolTip(look.tip_text(f"{series.name}: {series.summary} {series.unit}"))
                self.table.setItem(row, column, item)
        self.table.setCurrentCell(self._chosen[self.tab], 0)
        self.table.blockSignals(False)
        self._draw()

    def _choose(self, row: int) -> None:
        if 0 <= row < len(self.series):
            self._chosen[self.tab] = row
            self._draw()

    def _draw(self) -> None:
        plot = self.plot.getPlotItem()
        plot.clear()
        if not self.series:
            return
        chosen = self.series[self._chosen[self.tab]]
        if self.tab != "Clearance":
            for k, series in enumerate(self.series):
                if series.unit == chosen.unit:
                    plot.plot(series.times_s, series.values, pen=_pen("#5B6672", 1, k))
        _draw_series(plot, chosen)
        self._draw_other(plot, chosen)
        plot.setLabel("left", chosen.unit, color=palette.LIGHT)
        plot.setTitle(html.escape(chosen.name), color=palette.LIGHT, size="12px")
        if chosen.top is not None:
            plot.setYRange(0.0, chosen.top, padding=0.02)
        else:
            known = [chosen.values, *(values for _, values in chosen.limits)]
            every = np.concatenate([values[np.isfinite(values)] for values in known])
            plot.setYRange(float(every.min()), float(every.max()), padding=0.05)
        self.show_time(self._time_s)

    def _draw_other(self, plot: Any, chosen: Series) -> None:
        """Draw the same line of the second run, dotted."""
        for series in self._other.get(self.tab, ()):
            if series.name == chosen.name:
                plot.plot(series.times_s, series.values, connect="finite",
                          pen=pg.mkPen(look.GHOST, width=2, style=Qt.PenStyle.DotLine))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Scrub with the mouse; keep the cursor in place when the plot changes its size."""
        if isinstance(event, QMouseEvent) and event.buttons() & Qt.MouseButton.LeftButton:
            box = self.plot.getPlotItem().getViewBox()
            self.asked.emit(float(box.mapSceneToView(self.plot.mapToScene(event.position().toPoint())).x()))
            return True
        if event.type() == QEvent.Type.Paint:
            self.show_time(self._time_s)
        return super().eventFilter(watched, event)


def _draw_series(plot: Any, series: Series) -> None:
    """Draw a line or band, its limits, and thick where a limit is not kept."""
    line = pg.mkPen(look.LINES[0], width=2)
    if series.upper is not None:
        low = pg.PlotCurveItem(series.times_s, series.values, pen=line)
        high = pg.PlotCurveItem(series.times_s, series.upper, pen=None)
        plot.addItem(pg.FillBetweenItem(low, high, brush=pg.mkBrush("#56B4E966")))
        plot.addItem(low)
    else:
        plot.plot(series.times_s, series.values, pen=line, connect="finite")
    for times, values in series.limits:
        pen = pg.mkPen(look.FAIL_TEXT, width=2, style=Qt.PenStyle.DashLine)
        plot.plot(times, values, pen=pen, connect="finite")
    if series.bad.any():
        plot.plot(series.times_s, np.where(series.bad, series.values, np.nan), connect="finite",
                  pen=pg.mkPen(look.FAIL_TEXT, width=5))


def _pen(colour: str, width: int, k: int) -> Any:
    styles = (Qt.PenStyle.SolidLine, Qt.PenStyle.DashLine, Qt.PenStyle.DashDotLine, Qt.PenStyle.DotLine)
    return pg.mkPen(colour, width=width, style=styles[k % len(styles)])


def _table() -> QTableWidget:
    table = QTableWidget(0, 3)
    table.setAccessibleName("Values at the instant shown")
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(22)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    # groups differ at both ends of their names: "hardware to structure, relaxed to 0.2 m"
    table.setTextElideMode(Qt.TextElideMode.ElideMiddle)
    table.setWordWrap(False)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    header = table.horizontalHeader()
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
    header.setSectionResizeMode(1, QHeaderView.ResizeMode.Fixed)
    table.setColumnWidth(1, 106)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
    return table
