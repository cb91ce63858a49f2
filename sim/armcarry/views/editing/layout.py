"""Where the parts of the window stand, and its buttons."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from armcarry.views.words import CAUTION

if TYPE_CHECKING:
    from armcarry.views.editing.window import EditWindow

#: steps of the arrow keys: words, m, rad
STEPS = (("1 cm, 0.2 deg", 0.01, np.radians(0.2)), ("5 cm, 1 deg", 0.05, np.radians(1.0)),
         ("20 cm, 5 deg", 0.2, np.radians(5.0)))  # fmt: skip


def lay_out(window: EditWindow) -> QVBoxLayout:
    """Put the parts of the window together and return the column that the scene comes into."""
    for label, name in ((window.title, "title"), (window.state, "counts"), (window.message, "message")):
        label.setObjectName(name)
        label.setTextFormat(Qt.TextFormat.PlainText)
    window.message.setWordWrap(True)
    head = QHBoxLayout()
    head.addWidget(window.title, 1)
    head.addWidget(window.state)
    for words, tip, act in (("Undo", "Ctrl+Z", window.undo), ("Redo", "Ctrl+Y", window.redo),
                            ("Save …", "Ctrl+S: shows the difference first", window.save)):  # fmt: skip
        head.addWidget(_button(words, tip, act))
    for words, _, _ in STEPS:
        window.step.addItem(words)
    window.step.setToolTip("step of the arrow keys, which act while the scene has the focus")
    left = _moves(window)
    middle = QVBoxLayout()
    middle.addWidget(window.message)
    row = QHBoxLayout()
    row.addLayout(left, 3)
    row.addLayout(middle, 7)
    row.addWidget(window.panel, 4)
    caution = QLabel(CAUTION)
    caution.setObjectName("caution")
    caution.setWordWrap(True)
    page, column = QWidget(), QVBoxLayout()
    page.setObjectName("room")
    column.addLayout(head)
    column.addLayout(row, 1)
    if window.day is not None:
        column.addWidget(window.day)
    column.addWidget(caution)
    page.setLayout(column)
    window.setCentralWidget(page)
    scenario = window.session.answer.record.scene.loaded.scenario
    window.title.setText(scenario.title)
    window.setWindowTitle(f"armcarry: {window.session.path.name}")
    return middle


def _moves(window: EditWindow) -> QVBoxLayout:
    """Return the list of moves with what may be done to the chosen one under it."""
    left, tools = QVBoxLayout(), QHBoxLayout()
    left.addWidget(window.moves, 1)
    for words, tip, act in (
        ("Cut in two", "the first half becomes a move of its own", lambda: window.on_move(window.session.split)),
        ("Line", "lead there in a straight line", lambda: window.on_move(window.session.straighten)),
        ("Wait", "stand still for 10 s before it",
         lambda: window.on_move(lambda at: window.session.add(at, {"hold": "10 s"}))),
        ("Take away", "take the move away", lambda: window.on_move(window.session.remove)),
    ):  # fmt: skip
        tools.addWidget(_button(words, tip, act))
    left.addLayout(tools)
    more = QHBoxLayout()
    snap = _button("Snap", "to whole 10 cm and the axes of its frame", lambda: window.on_move(window.session.snap))
    more.addWidget(snap)
    more.addWidget(QLabel("Step"))
    more.addWidget(window.step, 1)
    left.addLayout(more)
    free = QHBoxLayout()
    for words, tip, act in (
        ("Free volume", "V: where around it the move may end, so that it is reached with all margins",
         window.begin_volume),
        ("Best point", "B: end the move at the best point of the volume", window.take_best),
    ):  # fmt: skip
        free.addWidget(_button(words, tip, act))
    left.addLayout(free)
    begin = QHBoxLayout()
    for words, tip, act in (
        ("Bring …", "add to the carry that an item is brought to a worksite", window.bring),
        ("Write out", "write the moves or the day that followed from an intent, to change them one by one",
         window.write_out),
    ):  # fmt: skip
        begin.addWidget(_button(words, tip, act))
    left.addLayout(begin)
    return left


def _button(words: str, tip: str, act: Callable[[], object]) -> QPushButton:
    button = QPushButton(words)
    button.setToolTip(tip)
    button.clicked.connect(lambda _=False: act())
    return button
