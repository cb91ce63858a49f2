"""Where everything stands in the window, in its three forms: with panels, without, and for a briefing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QSplitter, QStackedWidget, QVBoxLayout, QWidget

from armcarry.scene.words import plain
from armcarry.views.bookmarks import Shelf
from armcarry.views.lanes import Lanes
from armcarry.views.player import look, shelving
from armcarry.views.player.controls import Controls
from armcarry.views.player.findings import Findings
from armcarry.views.player.help import Help
from armcarry.views.player.keys import LAYER_OF
from armcarry.views.player.plots import Plots
from armcarry.views.player.shelf import ShelfRow
from armcarry.views.player.side import TOGGLES, Side
from armcarry.views.player.timeline import Timeline
from armcarry.views.words import CAUTION, counted

if TYPE_CHECKING:
    from armcarry.views.player.window import Window

class Layout:
    """The widgets of a window and which of them are seen.

    Attributes:
        panels, briefing, helping: the form the window has now.
    """

    def __init__(self, window: Window, lanes: Lanes) -> None:
        self.panels, self.briefing, self.helping = True, False, False
        run, other = window.run, window.other
        self.findings = Findings(run.record, run.findings)
        self.shelf = ShelfRow(Shelf(run.folder))
        self.side = Side(window.run.record, self.findings, self.shelf, _offered(window))
        self.plots = Plots(run.record, None if other is None else other.record)
        self.timeline = Timeline(lanes)
        self.controls = Controls(window.session, window.scene.cameras.choices)
        self.caption, self.figures = _label("", "caption"), _label("", "figures")
        self.caption.setAccessibleName("What is said")
        self.message = _label("", "message", parent=window.view)
        self.caution = _label(CAUTION, "caution")
        self.header = self._header(window)
        self.pages = QStackedWidget()
        self.pages.addWidget(self._page(window))
        self.pages.addWidget(Help({a for a, layer in LAYER_OF.items() if layer not in window.scene.makers}))
        self.figures.hide()
        self.message.hide()
        self._connect(window)

    def show_panels(self, on: bool) -> None:
        """Show or hide everything but the view, the caption and the controls."""
        self.panels = on
        for part in (self.side, self.plots, self.timeline):
            part.setVisible(on and not self.briefing)

    def brief(self, on: bool) -> None:
        """Take on the form for a briefing, or leave it."""
        self.briefing = on
        for part in (self.header, self.controls):
            part.setVisible(not on)
        self.figures.setVisible(on)
        self.show_panels(self.panels)

    def show_message(self, words: str, view: QWidget) -> None:
        """Show words over the lower edge of the view, where they move nothing aside."""
        self.message.setText(words)
        wide = min(self.message.fontMetrics().horizontalAdvance(words) + 28, view.width() - 16)
        tall = self.message.heightForWidth(wide)
        self.message.setGeometry(8, view.height() - tall - 8, wide, tall)
        self.message.show()
        self.message.raise_()

    def show_help(self, on: bool) -> None:
        """Show the page of keys instead of the run."""
        self.helping = on
        self.pages.setCurrentIndex(1 if on else 0)

    # -- building -----------------------------------------------------------------------------

    def _header(self, window: Window) -> QWidget:
        header = QWidget()
        header.setObjectName("header")
        row = QHBoxLayout(header)
        row.setContentsMargins(8, 4, 8, 4)
        title = _label(window.run.record.scene.loaded.scenario.title, "title")
        title.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        title.setWordWrap(False)
        title.setToolTip(look.tip_text(title.text()))
        row.addWidget(title, 1)
        if window.other is not None:
            row.addWidget(_label(f"over it: {window.other.name}", "view", wrap=False))
            row.addSpacing(16)
        row.addWidget(_label(counted(window.run.findings), "counts", wrap=False))
        return header

    def _page(self, window: Window) -> QWidget:
        page = QWidget()
        page.setObjectName("room")
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        left = QWidget()
        left.setObjectName("room")
        inner = QVBoxLayout(left)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.setSpacing(0)
        inner.addWidget(window.view, 1)
        inner.addWidget(self.caption)
        inner.addWidget(self.figures)
        self.upright = QSplitter(Qt.Orientation.Vertical)
        self.upright.addWidget(left)
        self.upright.addWidget(self.plots)
        self.upright.setStretchFactor(0, 3)
        self.upright.setSizes([480, 170])
        self.level = QSplitter(Qt.Orientation.Horizontal)
        self.level.addWidget(self.upright)
        self.level.addWidget(self.side)
        self.level.setStretchFactor(0, 3)
        self.level.setSizes([900, 380])
        column.addWidget(self.header)
        column.addWidget(self.level, 1)
        column.addWidget(self.timeline)
        column.addWidget(self.controls)
        column.addWidget(self.caution)
        return page

    def _connect(self, window: Window) -> None:
        for acted in (self.controls.acted, self.side.acted):
            acted.connect(window.act)
        for asked in (self.controls.asked, self.plots.asked, self.timeline.asked):
            asked.connect(window.seek)
        self.controls.speed_asked.connect(window.choose_speed)
        self.controls.camera_asked.connect(window.choose_camera)
        self.controls.said.connect(window.say)
        self.side.ruler.changed.connect(window.settle)
        self.findings.asked.connect(lambda k: window.jump(window.session.to_finding(k)))
        self.findings.person_asked.connect(lambda name: self.timeline.only(plain(name)))
        self.shelf.kept.connect(lambda note: shelving.keep(window, note))
        self.shelf.asked.connect(lambda place: shelving.show(window, place))
        self.shelf.dropped.connect(lambda place: shelving.drop(window, place))


def _offered(window: Window) -> tuple[str, ...]:
    """Return the toggles this run can show."""
    return tuple(
        action for action in TOGGLES
        if (action != "show_other" or window.other is not None)
        and (action != "show_corner" or window.scene.corner.there)
        and (action not in LAYER_OF or LAYER_OF[action] in window.scene.makers)
    )


def _label(text: str, name: str, wrap: bool = True, parent: QWidget | None = None) -> QLabel:
    label = QLabel(text, parent)
    label.setObjectName(name)
    label.setWordWrap(wrap)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Maximum)
    return label
