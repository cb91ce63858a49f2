"""What stands beside the scene: the waypoint in numbers, the joints, rate, what is tightest, what fails."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QSlider,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from armcarry.editing.answer import changed_mm
from armcarry.editing.moves import LEADING, angle, length
from armcarry.geometry import poses
from armcarry.quantities import clock, parse, rounded_down
from armcarry.views.editing.options import WayPage
from armcarry.views.editing.starting import StartPage
from armcarry.views.player import look

if TYPE_CHECKING:
    from armcarry.editing.session import Session
    from armcarry.record.finding import Finding

_PLACE, _TURN = ("x", "y", "z"), ("roll", "pitch", "yaw")
#: what holds where nothing is written
_LEFT_OUT = {"rate": "1 (all of the allowed rate)", "tip_speed": "as the load allows"}
#: steps of a joint's slider over its travel
_STEPS = 2000


class Panel(QWidget):
    """The right side of the window; what is typed or dragged goes to ``do`` as an act of the session.

    Attributes:
        fields: the typed values by name: x, y, z, roll, pitch, yaw, rate, tip_speed.
        sliders: by joint.
        way, start: the pages of how it is made, and of what stands where.
        findings: the list of what fails.
    """

    def __init__(self, session: Session, do: Callable[[Callable[[], object]], None]) -> None:
        """Args: session; do, which makes a change and shows what came of it, or says why it cannot be."""
        super().__init__()
        self._session, self._do = session, do
        self.at: tuple[int, int] | None = None
        self.fields: dict[str, QLineEdit] = {}
        self.sliders: dict[str, QSlider] = {}
        self._values: dict[str, QLabel] = {}
        self.where = QLabel()
        self.where.setObjectName("faint")
        self.where.setWordWrap(True)
        tabs = QTabWidget()
        tabs.addTab(self._waypoint(), "Where it ends")
        tabs.addTab(self._joints(), "Joints")
        self.way, self.start = WayPage(session, do), StartPage(session, do)
        tabs.addTab(self.way, "Way")
        tabs.addTab(self.start, "Start")
        self.tightest = QLabel()
        self.tightest.setWordWrap(True)
        self.tightest.setTextFormat(Qt.TextFormat.RichText)
        self.findings = QListWidget()
        self.findings.setWordWrap(True)
        self.later = QLabel()
        self.later.setObjectName("faint")
        self.later.setWordWrap(True)
        self.there, self.mend = QPushButton("Take me there"), QPushButton("Mend it …")
        row = QHBoxLayout()
        row.addWidget(self.there)
        row.addWidget(self.mend)
        column = QVBoxLayout(self)
        column.addWidget(tabs)
        column.addWidget(_heading("Tightest, and change since the last answer"))
        column.addWidget(self.tightest)
        column.addWidget(_heading("Fails"))
        column.addWidget(self.findings, 1)
        column.addLayout(row)
        column.addWidget(self.later)

    def _waypoint(self) -> QWidget:
        page, form = QWidget(), QFormLayout()
        form.addRow(self.where)
        for name in (*_PLACE, *_TURN, "rate", "tip_speed"):
            field = QLineEdit()
            field.setPlaceholderText(_LEFT_OUT.get(name, ""))
            field.editingFinished.connect(lambda name=name: self._typed(name))
            self.fields[name] = field
            form.addRow(name.replace("_", " "), field)
        page.setLayout(form)
        return _scrolled(page)

    def _joints(self) -> QWidget:
        page, form = QWidget(), QFormLayout()
        for name in self._session.answer.record.scene.loaded.arm.document.joints:
            slider, value = QSlider(Qt.Orientation.Horizontal), QLabel()
            slider.setRange(0, _STEPS)
            slider.setAccessibleName(name)
            value.setMinimumWidth(74)
            slider.valueChanged.connect(lambda _, name=name: self._write(name))
            slider.sliderReleased.connect(lambda name=name: self._slid(name))
            row = QHBoxLayout()
            row.addWidget(slider, 1)
            row.addWidget(value)
            form.addRow(name.replace("_", " "), row)
            self.sliders[name], self._values[name] = slider, value
        page.setLayout(form)
        return _scrolled(page)

    # -- from hands --------------------------------------------------------------------------------------------------

    def _typed(self, name: str) -> None:
        field, at = self.fields[name], self.at
        if at is None or not field.isModified():
            return
        field.setModified(False)
        text = field.text().strip()

        def act() -> object:
            if name in ("rate", "tip_speed"):
                value: object = None if not text else float(text) if name == "rate" and _number(text) else text
                return self._session.option(at, name, value)
            pose = self._session.waypoint(at)
            place, turn = pose[:3, 3].copy(), np.array(poses.rpy(pose))
            if name in _PLACE:
                place[_PLACE.index(name)] = parse(text, "length")
                return self._session.place(at, place)
            turn[_TURN.index(name)] = parse(text, "angle")
            return self._session.place(at, place, turn)

        self._do(act)

    def _limits(self, name: str) -> tuple[float, float, bool]:
        tree = self._session.answer.record.scene.tree
        column = tree.column(f"arm/{name}")
        low, high = tree.joint_limits[column]
        return float(low), float(high), bool(tree.revolute[column])

    def _value(self, name: str) -> float:
        low, high, _ = self._limits(name)
        return low + (high - low) * self.sliders[name].value() / _STEPS

    def _write(self, name: str) -> None:
        turns = self._limits(name)[2]
        self._values[name].setText(angle(self._value(name)) if turns else length(self._value(name)))

    def _slid(self, name: str) -> None:
        at, value = self.at, self._value(name)
        if at is not None:
            self._do(lambda: self._session.set_joints(at, {name: value}))

    # -- from the answer ---------------------------------------------------------------------------------------------

    def show_move(self, at: tuple[int, int] | None) -> None:
        """Show the numbers of a move's waypoint; a move that leads nowhere has none."""
        self.at = at
        self.way.show_move(at)
        session = self._session
        leads = at is not None and session.kind(at) in LEADING and bool(session.flown(at))
        for name in (*_PLACE, *_TURN):
            self.fields[name].setEnabled(leads)
            self.fields[name].setText("")
        for slider in self.sliders.values():
            slider.setEnabled(leads)
        move = {} if at is None else session.move(at)
        for name in ("rate", "tip_speed"):
            self.fields[name].setText(str(move.get(name, "")))
        if at is None or not leads:
            kind = "" if at is None else session.kind(at)
            self.where.setText(f"{kind}: leads nowhere" if kind else "")
            return
        pose = session.waypoint(at)
        self.where.setText(f"{session.kind(at)}, in {session.frame(at)}")
        for name, value in zip(_PLACE, pose[:3, 3], strict=True):
            self.fields[name].setText(length(float(value)))
        for name, value in zip(_TURN, poses.rpy(pose), strict=True):
            self.fields[name].setText(angle(float(value)))
        for name, value in session.joints(session.end_s(at)).items():
            low, high, _ = self._limits(name)
            self.sliders[name].setValue(round(_STEPS * (value - low) / (high - low)))
            self._write(name)

    def show_answer(self) -> None:
        """Show what is tightest and what fails."""
        self.start.show_start()
        answer = self._session.answer
        lines = []
        for one in answer.tightest:
            row, left = one.row, rounded_down(one.row.lower_m)
            colour = look.band_colour(look.band(row.margin_m))
            value = "contact" if row.status == "contact" else f"{left:.3f} m"
            lines.append(
                f'<span style="color:{colour}">■</span> <b>{value}</b>{changed_mm(one.change_m)} '
                f"<span>(at least {row.required_m or 0:g} m) {row.body_a} to {row.body_b}, {clock(row.time_s)}</span>"
            )
        self.tightest.setText("<br>".join(lines) or "nothing comes near")
        kept = self.findings.currentRow()
        self.findings.clear()
        for finding in answer.failed:
            item = QListWidgetItem(f"{finding.check}: {finding.message}")
            item.setData(Qt.ItemDataRole.UserRole, finding)
            item.setToolTip(look.tip_text(finding.remedy))
            self.findings.addItem(item)
        self.findings.setCurrentRow(min(max(kept, 0), self.findings.count() - 1))
        for button in (self.there, self.mend):
            button.setEnabled(bool(answer.failed))
        self.later.setText(answer.problem or later_words(answer.open, len(answer.later)))
        self.later.setVisible(bool(self.later.text()))

    def finding(self) -> Finding | None:
        """Return the finding that is chosen."""
        item = self.findings.currentItem()
        found: Finding | None = None if item is None else item.data(Qt.ItemDataRole.UserRole)
        return found


def later_words(open_: tuple[str, ...], told: int) -> str:
    """Return what the background is about, in words."""
    if not open_:
        return f"all {told} checks are told" if told else ""
    some = ", ".join(open_[:4])
    return f"still computing {len(open_)} checks: {some}{' …' if len(open_) > 4 else ''}"


def _scrolled(page: QWidget) -> QScrollArea:
    """Return a page that keeps its lines apart where the window is low."""
    room = QScrollArea()
    room.setWidget(page)
    room.setWidgetResizable(True)
    return room


def _heading(text: str) -> QLabel:
    label = QLabel(text)
    label.setObjectName("heading")
    return label


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


__all__ = ["Panel", "later_words"]
