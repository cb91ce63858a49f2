"""What the window asks: whether a difference is to be saved, what is to be brought where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtGui import QFontDatabase
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)


class Choose(QDialog):
    """Asks for some values, each of a list, or typed.

    Attributes:
        boxes: by what is asked for.
    """

    def __init__(
        self, parent: QWidget, title: str, words: str, choices: Mapping[str, Sequence[str]], *, typed: bool = True
    ) -> None:
        """Args: parent; title; words, what comes of it; choices, what is asked for -> what may be taken; typed."""
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setMinimumWidth(460)
        self.boxes: dict[str, QComboBox] = {}
        label, form, column = QLabel(words), QFormLayout(), QVBoxLayout(self)
        label.setWordWrap(True)
        for name, some in choices.items():
            box = QComboBox()
            box.setEditable(typed)  # a frame, or a name of one's own
            box.addItems(list(some))
            self.boxes[name] = box
            form.addRow(name, box)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        column.addWidget(label)
        column.addLayout(form)
        column.addWidget(buttons)

    def __getitem__(self, name: str) -> str:
        """Return what was chosen or typed."""
        return self.boxes[name].currentText().strip()


class Bring(Choose):
    """Asks which item is to be brought to which worksite.

    Attributes:
        what, to: the choices.
    """

    def __init__(self, parent: QWidget, items: list[str], sites: list[str]) -> None:
        """Args: parent; items and worksites to choose from."""
        words = ("It is fetched from where it sits, carried by a way that is found, and placed. This may take a "
                 "minute; one undo takes it back.")  # fmt: skip
        super().__init__(parent, "Bring an item somewhere", words, {"Bring": items, "to": sites}, typed=False)
        self.what, self.to = self.boxes["Bring"], self.boxes["to"]


class Difference(QDialog):
    """Shows what saving would change in the file, before it is written.

    Attributes:
        others: whether the file was changed by others, so that saving writes over that.
    """

    def __init__(self, parent: QWidget, difference: str, others: bool) -> None:
        """Args: parent; difference, lines with + and -; others."""
        super().__init__(parent)
        self.others = others
        self.setWindowTitle("Save: what changes in the file")
        self.resize(900, 480)
        words = "These lines change; - is what the file says now, + what it will say."
        if others:
            words = ("The file was changed by others since it was read here. Saving takes their lines, marked -, away; "
                     "cancel, and save their version elsewhere first, if both are wanted.")  # fmt: skip
        label = QLabel(words)
        label.setWordWrap(True)
        self.text = QPlainTextEdit(difference)
        self.text.setReadOnly(True)
        self.text.setLineWrapMode(QPlainTextEdit.LineWrapMode.NoWrap)
        self.text.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        buttons = QDialogButtonBox()
        self.save = buttons.addButton("Write over it" if others else "Save", QDialogButtonBox.ButtonRole.AcceptRole)
        self.cancel = buttons.addButton("Cancel", QDialogButtonBox.ButtonRole.RejectRole)
        (self.cancel if others else self.save).setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addWidget(label)
        column.addWidget(self.text, 1)
        column.addWidget(buttons)
