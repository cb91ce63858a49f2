"""The list of findings: filtered by verdict, one line each, the chosen one in full below; choosing one jumps."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QButtonGroup,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QScrollArea,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.views import palette
from armcarry.views.player import look
from armcarry.views.player.session import finding_time_s
from armcarry.views.words import verdict_word

_COLOUR = {Verdict.PASS: look.PASS_TEXT, Verdict.FAIL: look.FAIL_TEXT, Verdict.NOT_ASSESSED: look.OPEN_TEXT}
_ROW = Qt.ItemDataRole.UserRole


class Findings(QWidget):
    """The findings of a run."""

    #: row of a finding that was chosen by hand
    asked = Signal(int)

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__()
        self.findings = tuple(findings)
        self.filters = QButtonGroup(self)
        filters = QHBoxLayout()
        filters.setSpacing(4)
        for k, (words, verdict) in enumerate(_filters(self.findings)):
            button = QPushButton(words)
            button.setCheckable(True)
            button.setChecked(k == 0)
            button.setProperty("verdict", "" if verdict is None else str(verdict))
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            self.filters.addButton(button, k)
            filters.addWidget(button)
        self.filters.idClicked.connect(self._filter)
        self.table = self._table()
        self.detail = QLabel("choose a finding, or press n")
        self.detail.setWordWrap(True)
        self.detail.setTextFormat(Qt.TextFormat.PlainText)
        self.detail.setAlignment(Qt.AlignmentFlag.AlignTop)
        detail = QScrollArea()
        detail.setWidget(self.detail)
        detail.setWidgetResizable(True)
        detail.setFixedHeight(116)
        detail.setFrameShape(QScrollArea.Shape.NoFrame)
        detail.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addLayout(filters)
        layout.addWidget(self.table, 1)
        layout.addWidget(detail)
        self._filter(0)

    def choose(self, k: int) -> None:
        """Show finding k as chosen, without asking to jump; takes the filter off where it hides it."""
        if not self._row_of(k) >= 0:
            self.filters.button(0).setChecked(True)
            self._filter(0)
        self.table.blockSignals(True)
        self.table.setCurrentCell(self._row_of(k), 0)
        self.table.blockSignals(False)
        self._describe(k)

    def _row_of(self, k: int) -> int:
        for row in range(self.table.rowCount()):
            item = self.table.item(row, 0)
            if item is not None and item.data(_ROW) == k:
                return row
        return -1

    def _filter(self, number: int) -> None:
        verdict = self.filters.button(number).property("verdict")
        shown = [k for k, finding in enumerate(self.findings) if verdict in ("", str(finding.verdict))]
        self.table.blockSignals(True)
        self.table.clearSelection()
        self.table.setCurrentCell(-1, -1)
        self.table.setRowCount(len(shown))
        for row, k in enumerate(shown):
            finding = self.findings[k]
            sign = palette.VERDICTS[finding.verdict][1]
            texts = (f"{sign} {clock(finding_time_s(finding))}",
                     f"{finding.check.replace('_', ' ')}: {finding.message}")
            for column, text in enumerate(texts):
                item = QTableWidgetItem(text)
                item.setData(_ROW, k)
                item.setToolTip(look.tip_text(f"{verdict_word(finding.verdict)}: {finding.message}"))
                if column == 0:
                    item.setForeground(QColor(_COLOUR[finding.verdict]))
                self.table.setItem(row, column, item)
        self.table.blockSignals(False)

    def _chosen(self, row: int) -> None:
        item = self.table.item(row, 0)
        if item is not None:
            k = int(item.data(_ROW))
            self._describe(k)
            self.asked.emit(k)

    def _describe(self, k: int) -> None:
        finding = self.findings[k]
        sign, word = palette.VERDICTS[finding.verdict][1], verdict_word(finding.verdict)
        remedy = f"\nWhat helps: {finding.remedy}" if finding.remedy else ""
        self.detail.setText(f"{sign} {word}, {finding.check.replace('_', ' ')}: {finding.message}{remedy}")

    def _table(self) -> QTableWidget:
        table = QTableWidget(0, 2)
        table.setAccessibleName("Findings")
        table.setHorizontalHeaderLabels(["at", "finding"])
        table.verticalHeader().hide()
        table.setWordWrap(False)
        table.verticalHeader().setDefaultSectionSize(24)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        header = table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        table.setColumnWidth(0, 94)
        table.currentCellChanged.connect(lambda row, *_: self._chosen(row))
        return table


def _filters(findings: Sequence[Finding]) -> list[tuple[str, Verdict | None]]:
    """Return what can be filtered by, with how many there are."""
    result: list[tuple[str, Verdict | None]] = [(f"all {len(findings)}", None)]
    for verdict in (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS):
        count = sum(finding.verdict is verdict for finding in findings)
        sign = palette.VERDICTS[verdict][1]
        result.append((f"{sign} {verdict_word(verdict)} {count}", verdict))
    return result
