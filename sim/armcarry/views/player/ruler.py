"""Two lists to choose what is measured between, and the distance now."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QLabel, QSizePolicy, QVBoxLayout, QWidget

from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views.measuring import Measured, measurable, measured


class Ruler(QWidget):
    """Asks for two names and tells their distance at the instant shown."""

    #: two others are to be measured
    changed = Signal()

    def __init__(self, record: Record) -> None:
        """Offer everything of a run, people and hardware first."""
        super().__init__()
        self._record = record
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(3)
        self.ends = (QComboBox(), QComboBox())
        names = measurable(record)
        for k, (combo, title) in enumerate(zip(self.ends, ("from", "to"), strict=True)):
            for name in names:
                combo.addItem(plain(name), name)
            combo.setEditable(True)
            combo.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
            combo.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            combo.setAccessibleName(f"measure {title}")
            combo.setCurrentIndex(min(k, len(names) - 1))
            completer = combo.completer()
            if completer is not None:
                completer.setFilterMode(Qt.MatchFlag.MatchContains)
            combo.currentIndexChanged.connect(lambda _: self.changed.emit())
            column.addWidget(combo)
        self.told = QLabel()
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        self.told.setWordWrap(True)
        column.addWidget(self.told)
        self.hide()

    def measure(self, time_s: float) -> Measured | None:
        """Measure at an instant, tell it and return it."""
        one, other = (str(combo.currentData()) for combo in self.ends)
        found = measured(self._record, one, other, time_s)
        self.told.setText("choose two that differ" if found is None else found.words)
        return found
