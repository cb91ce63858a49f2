"""The column beside the view: the closest pair as it is now, what is shown, and the findings."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from armcarry.quantities import clock
from armcarry.record.figures import up
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow, Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.closest import said, worded
from armcarry.views.player import look
from armcarry.views.player.findings import Findings
from armcarry.views.player.keys import KEY_OF, tip
from armcarry.views.player.nearest import Nearest
from armcarry.views.player.ruler import Ruler
from armcarry.views.player.swept import MAP_BANDS_M
from armcarry.views.pointed import gap_of, label_words, named

#: words on the buttons of what can be shown, by action
TOGGLES = {
    "show_closest": "Closest pair", "show_margin": "Margin tint", "show_shell": "Shell", "show_envelope": "Swept room",
    "show_map": "Approach map", "show_proven": "As proven", "show_rails": "Handrails", "show_sites": "Worksites",
    "show_frames": "Frames", "show_path": "Path", "show_plan": "Plan", "show_cones": "Cones", "show_cut": "Cut",
    "show_stop": "Stop", "show_rooms": "Rooms",
    "show_measure": "Measure", "show_corner": "Eyes", "show_other": "Second run",
}


class Side(QWidget):
    """Closest pair, toggles and findings, one above another."""

    #: name of an action from keys.py
    acted = Signal(str)

    def __init__(self, record: Record, findings: Findings, shelf: QWidget, offered: tuple[str, ...]) -> None:
        """Put them together.

        Args:
            record: the run.
            findings: the list of findings.
            shelf: the bookmarks.
            offered: actions of the toggles that this run can show.
        """
        super().__init__()
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 6, 4)
        column.setSpacing(4)
        self.pair, self.value, self.least = QLabel(), QLabel(), QLabel()
        self.value.setObjectName("value")
        self.least.setObjectName("faint")
        for label in (self.pair, self.value, self.least):
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setWordWrap(True)
            column.addWidget(label)
        self.pair.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.least.setAlignment(Qt.AlignmentFlag.AlignTop)
        grid = QGridLayout()
        grid.setSpacing(4)
        self.toggles: dict[str, QPushButton] = {}
        for k, action in enumerate(action for action in TOGGLES if action in offered):
            button = self.toggles[action] = self._toggle(action)
            grid.addWidget(button, k // 3, k % 3)
        column.addLayout(grid)
        self.ruler = Ruler(record)
        column.addWidget(self.ruler)
        self.legend = QLabel()
        self.legend.setText("m to spare: " + _squares((colour, limit) for limit, colour, _ in look.BANDS_M))
        self.map_legend = QLabel()
        self.map_legend.setText("run comes within, m: " + _squares((colour, limit) for limit, colour in MAP_BANDS_M))
        for legend in (self.legend, self.map_legend):
            legend.setTextFormat(Qt.TextFormat.RichText)
            legend.setWordWrap(True)
            legend.hide()
            column.addWidget(legend)
        column.addWidget(shelf)
        column.addWidget(findings, 1)

    def show_headline(self, nearest: Nearest, chosen: Finding | None, record: Record) -> None:
        """Write the chosen finding with its own verdict, else the closest pair, its distance now and over the run."""
        pair, value, least, colour = headline(nearest, chosen, record)
        for label, text in ((self.pair, pair), (self.value, value), (self.least, least)):
            if label.text() != text:
                label.setText(text)
        style = f"color: {colour};"
        if self.value.styleSheet() != style:
            self.value.setStyleSheet(style)

    def show_toggles(self, on: dict[str, bool]) -> None:
        """Show which things are shown."""
        for action, button in self.toggles.items():
            button.setChecked(on.get(action, False))
        self.ruler.setVisible(on.get("show_measure", False))
        self.legend.setVisible(on.get("show_margin", False))
        self.map_legend.setVisible(on.get("show_map", False))

    def _toggle(self, action: str) -> QPushButton:
        key = KEY_OF[action]
        button = QPushButton(f"{TOGGLES[action]}  {key.shown}")
        button.setCheckable(True)
        button.setObjectName(f"do_{action}")
        button.setToolTip(tip(action))
        button.setAccessibleName(key.words)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(lambda: self.acted.emit(action))
        return button


def _squares(bands: Iterable[tuple[str, float]]) -> str:
    """Return the colours of bands and their upper limits in metres as rich text."""
    return "&nbsp; ".join(f"<span style='color:{colour}'>■</span>&nbsp;&lt;&nbsp;{limit:g}" for colour, limit in bands)


def headline(nearest: Nearest, chosen: Finding | None, record: Record) -> tuple[str, str, str, str]:
    """Return what is told first: pair, figures, least over the run, and the colour of the figures."""
    if chosen is not None:
        return finding_words(record, chosen)
    return nearest_words(nearest, record.scene.loaded.rules.report_distance)


def nearest_words(nearest: Nearest, report_m: float) -> tuple[str, str, str, str]:
    """Return the pair, its distance now, the proven least distance of it, and the colour of the distance."""
    row = nearest.row
    if row is None:
        return "Closest pair", f"farther than {report_m:g} m", "no pair with a rule is nearer at this instant", \
            palette.LIGHT
    verdict = Verdict.PASS if nearest.kept else Verdict.FAIL
    pair, value = _pair(row), f"{palette.VERDICTS[verdict][1]} {worded(row, nearest.lower_m)}"
    return pair, value, least_words(row), look.TEXT_OF[verdict]


def finding_words(record: Record, finding: Finding) -> tuple[str, str, str, str]:
    """Return the two bodies of a finding or its check, its figures, the least distance of its pair, and its colour."""
    gap = gap_of(record, finding)
    names = named(finding) or plain(finding.check)
    if gap is not None:
        names = " – ".join(plain(body) for body in gap.bodies)
    least = "" if gap is None or gap.row is None else least_words(gap.row)
    return names, label_words(finding, gap), least, look.TEXT_OF[finding.verdict]


def _pair(row: PairRow) -> str:
    return f"{plain(row.body_a)} – {plain(row.body_b)}"


def least_words(row: PairRow) -> str:
    """Return the proven least distance of a pair over its window, and when."""
    if row.lower_m == -np.inf:
        return f"least, proven: contact at {clock(row.time_s)}"
    return f"least, proven: {said(row, row.lower_m)} to {up(row.upper_m, 'm')} at {clock(row.time_s)}; {row.why}"
