"""The page of keys, which fills the window: every action with its key, colours in words, the caution in full."""

from __future__ import annotations

from collections.abc import Collection

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from armcarry.views import palette
from armcarry.views.looks import PEOPLE
from armcarry.views.player import look
from armcarry.views.player.keys import HEADINGS, KEYS
from armcarry.views.words import CAUTION

#: groups of keys in each column of the page
_COLUMNS = (("time", "jump"), ("look", "room"), ("show",))
#: how people are told apart
_BANDS = ("one band: the first person named", "two bands: the second", "three bands: the third")


class Help(QWidget):
    """Every key on one page."""

    def __init__(self, hidden: Collection[str] = ()) -> None:
        """Args: hidden, actions that this run has nothing for."""
        super().__init__()
        self.setObjectName("room")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        page = QVBoxLayout(self)
        page.setContentsMargins(28, 14, 28, 8)
        heading = QLabel("Keys: ? or Esc leads back")
        heading.setObjectName("title")
        page.addWidget(heading)
        columns = QHBoxLayout()
        columns.setSpacing(12)
        for groups in _COLUMNS:
            columns.addWidget(_column(groups, hidden), 1)
        page.addLayout(columns, 1)
        caution = QLabel(CAUTION)
        caution.setWordWrap(True)
        caution.setObjectName("caution")
        page.addWidget(caution)


def _column(groups: tuple[str, ...], hidden: Collection[str]) -> QWidget:
    holder = QWidget()
    holder.setObjectName("strip")
    grid = QGridLayout(holder)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(12)
    grid.setVerticalSpacing(2)
    row = 0
    for group in groups:
        row = _add(grid, row, "", HEADINGS[group])
        for key in (key for key in KEYS if key.group == group and key.action not in hidden):
            row = _add(grid, row, key.shown, key.words)
    if "room" in groups:
        row = _add(grid, row, "", "Colours")
        for _, colour, words in look.BANDS_M:
            row = _add(grid, row, "■", f"tint: {words}", colour)
        for words, hue in zip(_BANDS, PEOPLE, strict=False):
            row = _add(grid, row, "■", words, hue if hue != palette.BLACK else palette.FAINT_LIGHT)
        _add(grid, row, "■", "second run", look.GHOST)
    grid.setRowStretch(grid.rowCount(), 1)
    grid.setColumnStretch(1, 1)
    return holder


def _add(grid: QGridLayout, row: int, key: str, words: str, colour: str = palette.LIGHT) -> int:
    """Write one line of the page and return the next row; without a key it is a heading."""
    left, right = QLabel(key), QLabel(words)
    for label in (left, right):
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setStyleSheet(f"background: {palette.ROOM}; font-size: 15px;")
    if key:
        left.setStyleSheet(f"background: {palette.ROOM}; color: {colour}; font-weight: 600; font-size: 15px;")
        grid.addWidget(left, row, 0, Qt.AlignmentFlag.AlignRight)
        grid.addWidget(right, row, 1)
    else:
        right.setStyleSheet(f"background: {palette.ROOM}; color: {palette.FAINT_LIGHT}; font-weight: 600; "
                            "padding-top: 8px;")
        grid.addWidget(right, row, 1)
    return row + 1
