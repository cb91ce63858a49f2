"""How the chosen move is made, as a page beside the scene."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from armcarry.editing.moves import angle
from armcarry.editing.standing import FREE
from armcarry.quantities import parse

if TYPE_CHECKING:
    from armcarry.editing.session import Session

Do = Callable[[Callable[[], object]], None]


class WayPage(QWidget):
    """Via points, pins and branches of the chosen move.

    Attributes:
        via, pins, branches: what there is to choose from.
    """

    def __init__(self, session: Session, do: Do) -> None:
        """Args: session; do, which makes a change and shows what came of it, or says why it cannot be."""
        super().__init__()
        self._session, self._do = session, do
        self.at: tuple[int, int] | None = None
        self.joint, self.value = QComboBox(), QLineEdit()
        self.joint.addItems(list(session.answer.record.scene.loaded.arm.document.joints))
        self.value.setPlaceholderText("as it ends, or such as 35 deg")
        self.via, self.pins, self.branches = QComboBox(), QComboBox(), QComboBox()
        form, column = QFormLayout(), QVBoxLayout(self)
        both = QHBoxLayout()
        both.addWidget(self.joint)
        both.addWidget(self.value, 1)
        form.addRow("Joint", both)
        column.addLayout(form)
        for words, box, acts in (
            ("Pins", self.pins, (("Hold the joint", self._pin), ("Let go", self._unpin))),
            ("Via points", self.via, (("Round the joint's value", self._add_via), ("Take away", self._drop_via))),
            ("Branches", self.branches, (("Look for others", self.look), ("Take it", self._take))),
        ):
            row, line = QHBoxLayout(), QFormLayout()
            line.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapAllRows)  # what a box says takes the whole width
            line.addRow(words, box)
            for title, act in acts:
                button = QPushButton(title)
                button.clicked.connect(lambda _=False, act=act: act())
                row.addWidget(button)
            column.addLayout(line)
            column.addLayout(row)
        column.addStretch(1)

    def show_move(self, at: tuple[int, int] | None) -> None:
        """Show the pins and via points of a move; branches are looked for when they are asked for."""
        self.at = at
        move = {} if at is None else self._session.move(at)
        self.pins.clear()
        for name, value in (move.get("pin") or {}).items():
            self.pins.addItem(f"{name} {value}", name)
        self.via.clear()
        for number, point in enumerate(move.get("via") or []):
            self.via.addItem(", ".join(f"{name} {value}" for name, value in point.items()), number)
        self.branches.clear()
        self.branches.setPlaceholderText("not looked for")
        free = at is not None and self._session.kind(at) in FREE and bool(self._session.flown(at))
        self.branches.setEnabled(free)

    def _on_move(self, act: Callable[[tuple[int, int]], object]) -> None:
        at = self.at
        if at is not None:
            self._do(lambda: act(at))

    def _joint(self) -> tuple[str, float]:
        """Return the chosen joint and its value as typed, rad or m; left empty, where it is at the move's end."""
        name, text = self.joint.currentText(), self.value.text().strip()
        if not text and self.at is not None:
            return name, self._session.joints(self._session.end_s(self.at))[name]
        tree = self._session.answer.record.scene.tree
        return name, parse(text, "angle" if tree.revolute[tree.column(f"arm/{name}")] else "length")

    def _pin(self) -> None:
        self._on_move(lambda at: self._session.pin(at, *self._joint()))

    def _unpin(self) -> None:
        name = self.pins.currentData()
        if name is not None:
            self._on_move(lambda at: self._session.without_pin(at, name))

    def _add_via(self) -> None:
        self._on_move(lambda at: self._session.via(at, dict([self._joint()])))

    def _drop_via(self) -> None:
        number = self.via.currentData()
        if number is not None:
            self._on_move(lambda at: self._session.without_via(at, number))

    def look(self) -> None:
        """Look for the other branches of the move's end."""
        self.branches.clear()
        if self.at is None or not self.branches.isEnabled():
            self.branches.setPlaceholderText("only a free move may end on another")
            return
        now = self._session.joints(self._session.end_s(self.at))
        for branch in self._session.branches(self.at):
            turned = max(branch.joints, key=lambda name: abs(branch.joints[name] - now[name]))
            room = f"{branch.left_m:+.3f} m" if np.isfinite(branch.left_m) else "room"
            self.branches.addItem(f"{room}: {turned} {angle(branch.joints[turned])}", branch)
        self.branches.setCurrentIndex(0)
        if not self.branches.count():
            self.branches.setPlaceholderText("no other keeps its joint margins")

    def _take(self) -> None:
        branch = self.branches.currentData()
        if branch is not None:
            self._on_move(lambda at: self._session.take_branch(at, branch))
