"""Bookmarks beside the view: a line to write a note for this instant and view, and a list to go back by."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QPushButton, QSizePolicy, QWidget

from armcarry.quantities import clock
from armcarry.views.bookmarks import LONGEST, Bookmark, Shelf
from armcarry.views.player.keys import tip


class ShelfRow(QWidget):
    """A note to be kept, and the bookmarks kept so far."""

    #: the note of a bookmark that is to be kept of what is shown now
    kept = Signal(str)
    #: place of a bookmark that is asked for, or is to be dropped
    asked = Signal(int)
    dropped = Signal(int)

    def __init__(self, shelf: Shelf) -> None:
        super().__init__()
        self.shelf = shelf
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(4)
        self.note = QLineEdit()
        self.note.setPlaceholderText(f"note, Enter keeps  {tip('bookmark', '').strip()}")
        self.note.setAccessibleName("Note of a bookmark of what is shown now")
        self.note.setToolTip(tip("bookmark"))
        self.note.setMaxLength(LONGEST)
        self.note.returnPressed.connect(self._keep)
        self.list = QComboBox()
        self.list.setAccessibleName("Bookmarks")
        self.list.setToolTip(tip("bookmark_on"))
        self.list.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.list.activated.connect(self.asked.emit)
        for part in (self.note, self.list):
            part.setMinimumWidth(40)
            part.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            row.addWidget(part, 1)
        self.drop = QPushButton("✕")
        self.drop.setAccessibleName("Drop the bookmark that is listed")
        self.drop.setToolTip("drop the bookmark that is listed")
        self.drop.setFixedWidth(34)
        self.drop.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.drop.clicked.connect(lambda: self.dropped.emit(self.list.currentIndex()))
        row.addWidget(self.drop)
        self.show_marks(-1)

    def show_marks(self, place: int) -> None:
        """List the bookmarks, and show one of them as the one that is looked at."""
        self.list.clear()
        self.list.addItems([words(mark) for mark in self.shelf.marks] or ["no bookmarks"])
        for part in (self.list, self.drop):
            part.setEnabled(bool(self.shelf.marks))
        if self.shelf.marks:
            self.list.setPlaceholderText(f"bookmarks: {len(self.shelf.marks)}")
            self.list.setCurrentIndex(place)
        # a row that holds nothing leaves its room to the findings
        if not self.shelf.marks:
            self.hide()
        elif self.parent() is not None:  # before that it would be a window of its own
            self.show()

    def write(self) -> None:
        """Let a note be written."""
        self.show()
        self.note.setFocus()

    def _keep(self) -> None:
        self.kept.emit(self.note.text())
        self.note.clear()
        self.note.clearFocus()


def words(mark: Bookmark) -> str:
    """Return a bookmark as a line of a list."""
    return f"{clock(mark.time_s)}  {mark.note}".rstrip()
