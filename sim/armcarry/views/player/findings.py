"""The list of findings: failures first and by their cause, one line each, the chosen one in full below.

A line over the findings of one cause, or of one check that passed, folds them away and open; choosing one jumps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QButtonGroup,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from armcarry.quantities import clock
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.folded import Fold, folded, people_in
from armcarry.views.player import look
from armcarry.views.pointed import gap_of, label_words
from armcarry.views.words import verdict_word

#: row of a finding, or -1 - k for the line of fold k
_ROW = Qt.ItemDataRole.UserRole
#: a fold of more passes than this is shut at first
_FEW = 8


class Findings(QWidget):
    """The findings of a run: all of them, or of one verdict, about one person, of one check."""

    #: row of a finding that was chosen by hand
    asked = Signal(int)
    #: name of the person whose findings alone are shown, empty for everybody
    person_asked = Signal(str)

    def __init__(self, record: Record, findings: Sequence[Finding]) -> None:
        super().__init__()
        self.record, self.findings = record, tuple(findings)
        self.folds = folded(self.findings)
        self.shut = {k for k, fold in enumerate(self.folds) if fold.verdict is Verdict.PASS and len(fold.rows) > _FEW}
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
        self.filters.idClicked.connect(lambda _: self._fill())
        crew, checks = record.scene.loaded.crew, dict.fromkeys(finding.check for finding in self.findings)
        self.person = _choice("Findings about", "everybody", crew)
        self.check = _choice("Findings of", "all checks", checks)
        self.about = tuple(people_in(record, finding) for finding in self.findings)
        self.person.currentIndexChanged.connect(lambda _: self.person_asked.emit(self.person.currentData()))
        choices = QHBoxLayout()
        choices.setSpacing(4)
        for choice in (self.person, self.check):
            choice.currentIndexChanged.connect(lambda _: self._fill())
            choices.addWidget(choice, 1)
        self.table = self._table()
        self.detail = QLabel("choose a finding, or press n")
        self.detail.setWordWrap(True)
        self.detail.setTextFormat(Qt.TextFormat.PlainText)
        self.detail.setAlignment(Qt.AlignmentFlag.AlignTop)
        detail = QScrollArea()
        detail.setWidget(self.detail)
        detail.setWidgetResizable(True)
        detail.setFixedHeight(74)
        detail.setFrameShape(QScrollArea.Shape.NoFrame)
        detail.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addLayout(filters)
        layout.addLayout(choices)
        layout.addWidget(self.table, 1)
        layout.addWidget(detail)
        self._fill()

    def choose(self, k: int) -> None:
        """Show finding k as chosen, without asking to jump; takes filters and fold off where they hide it."""
        if self._row_of(k) < 0:
            self.shut -= {number for number, fold in enumerate(self.folds) if k in fold.rows}
            self._fill()
        if self._row_of(k) < 0:
            self.filters.button(0).setChecked(True)
            self.person.setCurrentIndex(0)
            self.check.setCurrentIndex(0)
            self._fill()
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

    def _fill(self) -> None:
        """Write the lines that filter and folds leave."""
        verdict = self.filters.button(self.filters.checkedId()).property("verdict")
        lines: list[tuple[int, str, str, str, Verdict]] = []
        for number, fold in enumerate(self.folds):
            rows = tuple(k for k in fold.rows if self._wanted(k))
            if verdict not in ("", str(fold.verdict)) or not rows:
                continue
            if len(rows) > 1:
                lines.append(self._head(number, fold._replace(rows=rows)))
            if number not in self.shut or len(rows) == 1:
                lines += [self._line(k) for k in rows]
        self.table.blockSignals(True)
        self.table.clearSelection()
        self.table.setCurrentCell(-1, -1)
        self.table.setRowCount(len(lines))
        for row, (data, first, second, tip, kind) in enumerate(lines):
            for column, text in enumerate((first, second)):
                item = QTableWidgetItem(text)
                item.setData(_ROW, data)
                item.setToolTip(look.tip_text(tip))
                if column == 0 or data < 0:
                    item.setForeground(QColor(look.TEXT_OF[kind]))
                self.table.setItem(row, column, item)
        self.table.blockSignals(False)

    def _wanted(self, k: int) -> bool:
        """Tell whether finding k is about the person and of the check that are chosen."""
        person, check = self.person.currentData(), self.check.currentData()
        return (not person or person in self.about[k]) and (not check or check == self.findings[k].check)

    def _head(self, number: int, fold: Fold) -> tuple[int, str, str, str, Verdict]:
        mark = "▸" if number in self.shut else "▾"
        return -1 - number, mark, fold.words, "fold away or open", fold.verdict

    def _line(self, k: int) -> tuple[int, str, str, str, Verdict]:
        finding = self.findings[k]
        at = f"{palette.VERDICTS[finding.verdict][1]} {clock(worst_s(finding))}"
        words = f"{finding.check.replace('_', ' ')}: {finding.message}"
        return k, at, words, f"{verdict_word(finding.verdict)}: {finding.message}", finding.verdict

    def _chosen(self, row: int) -> None:
        item = self.table.item(row, 0)
        if item is None:
            return
        k = int(item.data(_ROW))
        if k >= 0:
            self._describe(k)
            self.asked.emit(k)

    def _pressed(self, row: int) -> None:
        """Fold away or open what stands under a line of several findings."""
        item = self.table.item(row, 0)
        if item is not None and (k := int(item.data(_ROW))) < 0:
            self.shut ^= {-1 - k}
            self._fill()

    def _describe(self, k: int) -> None:
        finding = self.findings[k]
        sign, word = palette.VERDICTS[finding.verdict][1], verdict_word(finding.verdict)
        remedy = f"\nWhat helps: {finding.remedy}" if finding.remedy else ""
        label = label_words(finding, gap_of(self.record, finding)).removeprefix(sign).strip()
        head = f"{sign} {word}, {finding.check.replace('_', ' ')}: {finding.message}"
        self.detail.setText(f"{head}{remedy}\n{label}")

    def _table(self) -> QTableWidget:
        table = QTableWidget(0, 2)
        table.setAccessibleName("Findings")
        table.setHorizontalHeaderLabels(["at", "finding"])
        table.verticalHeader().hide()
        table.setMinimumHeight(46)
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
        table.cellClicked.connect(lambda row, _: self._pressed(row))
        table.cellActivated.connect(lambda row, _: self._pressed(row))
        return table


def _choice(says: str, every: str, names: Iterable[str]) -> QComboBox:
    """Return a choice of one of some names, or of all of them."""
    choice = QComboBox()
    choice.setAccessibleName(says)
    choice.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    choice.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    choice.addItem(every, "")
    for name in names:
        choice.addItem(plain(name), name)
    return choice


def _filters(findings: Sequence[Finding]) -> list[tuple[str, Verdict | None]]:
    """Return what can be filtered by, with how many there are."""
    result: list[tuple[str, Verdict | None]] = [(f"all {len(findings)}", None)]
    for verdict in (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS):
        count = sum(finding.verdict is verdict for finding in findings)
        sign = palette.VERDICTS[verdict][1]
        result.append((f"{sign} {verdict_word(verdict)} {count}", verdict))
    return result
