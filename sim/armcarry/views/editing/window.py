"""The window in which a script is changed: moves beside the scene, numbers and findings beside that."""

from __future__ import annotations

import signal
from collections.abc import Callable
from typing import Any

import numpy as np
from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QColor, QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QLabel,
    QListWidget,
    QListWidgetItem,
)

from armcarry.editing.moves import LEADING
from armcarry.editing.session import Session
from armcarry.errors import ArmcarryError
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.views.editing.daily import Daily
from armcarry.views.editing.day import DayLine
from armcarry.views.editing.dialogs import Difference
from armcarry.views.editing.handle import Handle
from armcarry.views.editing.layout import STEPS, lay_out
from armcarry.views.editing.panel import Panel
from armcarry.views.editing.scene import EditScene
from armcarry.views.player import look
from armcarry.views.player.app import application, show_window
from armcarry.views.player.canvas import canvas
from armcarry.views.player.mouse import Mouse

#: key -> axis and sign, in the waypoint's frame
ARROWS = {
    Qt.Key.Key_Right: (0, 1.0), Qt.Key.Key_Left: (0, -1.0), Qt.Key.Key_Up: (1, 1.0), Qt.Key.Key_Down: (1, -1.0),
    Qt.Key.Key_PageUp: (2, 1.0), Qt.Key.Key_PageDown: (2, -1.0),
}  # fmt: skip
#: how often the background and the file are looked at, ms
_LOOK_MS = 400
#: how long nothing is done before the moves behind a change are worked out, ms
_REST_MS = 60


class EditWindow(Daily):
    """The window.

    Attributes:
        session: what is changed.
        moves: the list of the script.
        panel, scene, canvas: the parts.
    """

    def __init__(self, session: Session, live: bool = False) -> None:
        """Args: session; live, whether a graphics card draws the view."""
        super().__init__()
        self.session, self._live, self._row = session, live, None
        self.title, self.state, self.message = QLabel(), QLabel(), QLabel()
        self.moves, self.step = QListWidget(), QComboBox()
        self.panel = Panel(session, self.do)
        self.day = DayLine(session.answer) if session.answer.steps else None
        self.middle = lay_out(self)
        self._begin_view()
        self.moves.currentRowChanged.connect(lambda _: self.select())
        self.panel.there.clicked.connect(self.take_there)
        self.panel.mend.clicked.connect(self.offer)
        if self.day is not None:
            self.day.dragged.connect(self.drag_step)
            self.day.asked.connect(self.show_time)
        for keys, act in (
            ("V", self.begin_volume), ("B", self.take_best),
            ("Ctrl+Z", self.undo), ("Ctrl+Y", self.redo), ("Ctrl+Shift+Z", self.redo), ("Ctrl+S", self.save),
        ):  # fmt: skip
            QShortcut(QKeySequence(keys), self).activated.connect(act)
        self._told_others = False
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.look)
        self._timer.start(_LOOK_MS)
        self._rest = QTimer(self, singleShot=True)  # the moves that an answer left, once nothing else is to be done
        self._rest.timeout.connect(self.go_on)
        self._shown(first=True)
        self.canvas.widget.setFocus()
        told = f"{session.resumed} changes of the session before were made again" if session.resumed else (
            "choose a move; drag an axis of its handle, Shift turns; arrow keys move it by a step"
        )  # fmt: skip
        self.say(told)

    def _begin_view(self) -> None:
        """Make the view; anew where a change brought other bodies."""
        self.canvas: Any = canvas(self._live)
        self.scene = EditScene(self.canvas.plotter, self.session.answer, self.canvas.draw)
        self._mouse = Mouse(self.canvas.widget, self.scene.view.cameras, _nothing, self.scene.view.render, _nothing)
        self._handle = Handle(self.canvas.widget, self.scene, self._dragging, self._dragged)
        self.canvas.widget.installEventFilter(self)
        self.middle.insertWidget(0, self.canvas.widget, 1)

    # -- doing ---------------------------------------------------------------------------------------------------------

    @property
    def at(self) -> tuple[int, int] | None:
        """The move that is chosen."""
        item = self.moves.currentItem()
        found: tuple[int, int] | None = None if item is None else item.data(Qt.ItemDataRole.UserRole)
        return found

    def do(self, act: Callable[[], object]) -> None:
        """Do something to the script, and show what came of it; why it cannot be is said, never raised."""
        before = self.session.answer.number
        QApplication.setOverrideCursor(Qt.CursorShape.WaitCursor)
        try:
            act()
        except (ArmcarryError, OSError) as error:
            self.say(str(error))
            self.panel.show_move(self.at)
            return
        finally:
            QApplication.restoreOverrideCursor()
        answer = self.session.answer
        if answer.number != before:
            self._shown()
            took = f"answered in {1000 * answer.took_s:.0f} ms"
            anew = f"{answer.proven} stretches proven anew" if answer.steps else (
                f"{answer.planned} of {len(self.session.moves)} moves planned anew"
            )  # fmt: skip
            self.say(f"{answer.title}; {took}, {anew}" + (f", {answer.left} behind follow" if answer.left else ""))

    def go_on(self) -> None:
        """Work out the next of the moves that the answer left, and show them."""
        title = self.session.answer.title
        try:
            answer = self.session.go_on()
        except (ArmcarryError, OSError) as error:
            self._shown()
            self.say(f"{title}: taken back; {error}")
            return
        self._shown()
        if not answer.left:
            anew = f"{answer.proven} stretches" if answer.steps else f"{answer.planned} moves"
            self.say(f"{answer.title}; {anew} worked out anew, all proven after {1000 * answer.took_s:.0f} ms")

    def on_move(self, act: Callable[[tuple[int, int]], object]) -> None:
        """Do something to the chosen move."""
        at = self.at
        if at is not None:
            self.do(lambda: act(at))

    def undo(self) -> None:
        """Take the last change back."""
        self.do(self.session.undo)

    def redo(self) -> None:
        """Make again what was undone last."""
        self.do(self.session.redo)

    def save(self) -> None:
        """Show what saving would change, and save if that is wanted."""
        if not self.session.changed and not self.session.changed_by_others:
            self.say("nothing to save: the file says what is here")
            return
        asked = Difference(self, self.session.difference(), self.session.changed_by_others)
        if asked.exec():
            try:
                self.say(f"saved to {self.session.save(over=asked.others)}")
                self._told_others = False
            except (ArmcarryError, OSError) as error:
                self.say(str(error))
        self._state()

    # -- showing -------------------------------------------------------------------------------------------------------

    def _shown(self, first: bool = False) -> None:
        """Show the answer."""
        answer = self.session.answer
        if not self.scene.fits(answer):
            self.canvas.widget.hide()
            self.middle.removeWidget(self.canvas.widget)
            self.canvas.end()
            self._begin_view()
            first = True
        self.end_volume()
        self.scene.take(answer)
        if self.day is not None:
            self.day.take(answer)
        at = self.at
        self.moves.blockSignals(True)
        self.moves.clear()
        for place in self.session.moves:
            flown = self.session.flown(place)
            margin = float(np.min([one.margin_m for one in flown], initial=np.inf))
            open_ = not flown or np.isnan(margin)
            none = "follows" if answer.left else "not flown"
            said = none if open_ else "" if not np.isfinite(margin) else f"{margin:+.3f} m"
            item = QListWidgetItem(f"{place[1] + 1:3d}  {self.session.title(place)}   {said}")
            item.setData(Qt.ItemDataRole.UserRole, place)
            lost = look.OPEN_TEXT if answer.left else look.FAIL_TEXT
            item.setForeground(QColor(lost if open_ else look.band_colour(look.band(margin))))
            item.setToolTip(look.tip_text(f"{self.session.kind(place)}; least margin beyond what is required"))
            self.moves.addItem(item)
        self.moves.blockSignals(False)
        self.choose(at or next((one for one in self.session.moves if self.session.kind(one) in LEADING), (0, 0)))
        self.panel.show_answer()
        self._state()
        self.select(first)
        if answer.left:
            self._rest.start(_REST_MS)

    def choose(self, at: tuple[int, int]) -> None:
        """Choose a move in the list, without going there."""
        places = list(self.session.moves)
        row = places.index(at) if at in places else min(at[1], len(places) - 1)
        self.moves.blockSignals(True)
        self.moves.setCurrentRow(row)
        self.moves.blockSignals(False)
        self.panel.show_move(self.at)

    def select(self, first: bool = False) -> None:
        """Show the end of the chosen move, with its handle."""
        at = self.at
        self.panel.show_move(at)
        if at is None or not self.session.flown(at):
            self.scene.show(0.0, None, None)
            return
        end = self.session.end_s(at)
        inside = [one.row for one in self.session.answer.tightest
                  if self.session.flown(at)[0].start_s <= one.row.time_s <= end]  # fmt: skip
        handle = self._handle_pose(at) if self.session.kind(at) in LEADING else None
        self.scene.show(end, handle, inside[0] if inside else None)
        if first:
            self.scene.look_at(self.session.tool_pose(end)[:3, 3])
            self.scene.view.render()

    def _handle_pose(self, at: tuple[int, int]) -> Array:
        """Return T_world_handle (4, 4): at the waypoint, with the axes of the frame in which it is written."""
        record, end = self.session.answer.record, self.session.end_s(at)
        frame = record.phase_at(end).tree.pose_of(self.session.frame(at), record.motion.at(end))
        handle = frame.copy()
        handle[:3, 3] = (frame @ self.session.waypoint(at))[:3, 3]
        return handle

    def _dragging(self, by: Array, turns: bool) -> None:
        axis = int(np.abs(by).argmax())
        self.say(f"{'about' if turns else 'along'} {'xyz'[axis]} by "
                 + (f"{np.degrees(by[axis]):+.1f} deg" if turns else f"{by[axis]:+.3f} m"))  # fmt: skip

    def _dragged(self, by: Array, turns: bool) -> None:
        act = self.session.turn if turns else self.session.shift
        self.on_move(lambda at: act(at, tuple(by)))

    def _state(self) -> None:
        answer, changed = self.session.answer, self.session.changed
        verdict = {True: "passes", False: f"{len(answer.failed)} fail", None: "nothing fails yet"}[answer.passes]
        self.state.setText(f"{clock(answer.duration_s)}   {verdict}   {'changed' if changed else 'as saved'}")
        colour = look.FAIL_TEXT if answer.failed else look.PASS_TEXT if answer.passes else look.OPEN_TEXT
        self.state.setStyleSheet(f"color: {colour}")

    def look(self) -> None:
        """Take what the background has told, and notice when others changed the file."""
        before = self.session.answer
        if self.session.look() is not before:
            self.panel.show_answer()
            self._state()
        if not self._told_others and self.session.changed_by_others:
            self._told_others = True
            self.say(f"{self.session.path.name} was changed by others meanwhile; Save shows the difference")

    def say(self, words: str) -> None:
        """Tell the user something."""
        self.message.setText(words)

    # -- Qt ------------------------------------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take the arrow keys while the scene has the focus: they move the waypoint, with Shift they turn it."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress and Qt.Key(event.key()) in ARROWS:
            axis, sign = ARROWS[Qt.Key(event.key())]
            _, step_m, step_rad = STEPS[self.step.currentIndex()]
            turns, by = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier), np.zeros(3)
            by[axis] = sign * (step_rad if turns else step_m)
            self._dragged(by, turns)
            return True
        return super().eventFilter(watched, event)

    def closeEvent(self, event: QCloseEvent) -> None:
        """End the session: what was not saved stays in the journal."""
        self._timer.stop()
        self._rest.stop()
        self.end_volume()
        self.session.close()
        self.canvas.end()
        super().closeEvent(event)


def _nothing() -> None:
    """Do nothing."""


def open_window(session: Session, live: bool = False) -> EditWindow:
    """Open a window on a session."""
    application()
    window = EditWindow(session, live)
    show_window(window)
    return window


def show(session: Session, live: bool = False) -> int:
    """Open a window, stay until it is closed, and return the exit code."""
    app = application()
    window = open_window(session, live)
    before = signal.signal(signal.SIGINT, lambda *_: window.close())
    try:
        return int(app.exec())
    finally:
        signal.signal(signal.SIGINT, before)
