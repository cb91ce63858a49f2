"""The window of a flight by hand: view, readings, keys, sound; time runs, thirty ticks a second."""

from __future__ import annotations

import signal
import time

from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLabel, QMainWindow, QScrollArea, QVBoxLayout, QWidget

from armcarry.errors import ArmcarryError
from armcarry.handfly.alarm import BEEP_S, alarm
from armcarry.handfly.chance import KINDS
from armcarry.handfly.cockpit import Cockpit, keep
from armcarry.handfly.command import TICK_S
from armcarry.handfly.control import Fault
from armcarry.handfly.keys import Keys
from armcarry.handfly.score import score
from armcarry.views.handfly.panel import LEVEL, keys_html, readings_html, state_words
from armcarry.views.handfly.scene import LiveScene
from armcarry.views.handfly.sticks import Controller, MouseStick, first_stick
from armcarry.views.player.app import application, show_window
from armcarry.views.player.canvas import canvas
from armcarry.views.player.mouse import Mouse
from armcarry.views.player.scene import QUICK
from armcarry.views.words import CAUTION

#: ticks made up for at once after a hitch; more are dropped, so that the arm never leaps
_MAKE_UP = 3
#: every so many frames the readings are written
_WORDS_FRAMES = 3
_NAMED = {
    Qt.Key.Key_Space: "Space", Qt.Key.Key_Return: "Return", Qt.Key.Key_Enter: "Return", Qt.Key.Key_Tab: "Tab",
    Qt.Key.Key_Left: "Left", Qt.Key.Key_Right: "Right", Qt.Key.Key_Up: "Up", Qt.Key.Key_Down: "Down",
    Qt.Key.Key_Home: "Home", Qt.Key.Key_End: "End", Qt.Key.Key_PageUp: "PageUp", Qt.Key.Key_PageDown: "PageDown",
    Qt.Key.Key_Backspace: "Backspace",
}  # fmt: skip


class HandWindow(QMainWindow):
    """The window.

    Attributes:
        cockpit: what is flown.
        readings, alarm: at the last tick that was shown.
    """

    def __init__(self, cockpit: Cockpit, keys: Keys, live: bool = False) -> None:
        """Args: cockpit; keys; live, whether a graphics card draws the view."""
        super().__init__()
        self.cockpit, self.keys = cockpit, keys
        self.canvas = canvas(live)
        self.live = LiveScene(self.canvas.plotter, cockpit.course.record, self.canvas.draw)
        self.live.view.samples(QUICK)
        self.muted, self.paused, self._frame, self._beeped = False, False, 0, 0.0
        self._noticed: Fault | None = None
        self.readings = cockpit.flight.read()
        self.alarm = alarm(self.readings, cockpit.flight.pilot)
        self.controller = Controller(cockpit.hands, keys, self.press, first_stick())
        self._mouse = Mouse(self.canvas.widget, self.live.view.cameras, _nothing, self.live.view.render, _nothing)
        self._lay_out()
        self.setWindowTitle(f"armcarry: by hand, {cockpit.course.record.scene.loaded.scenario.title}")
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.advance)
        self._last = time.perf_counter()
        QApplication.instance().installEventFilter(self)  # type: ignore[union-attr]
        self.live.look_at_tool(cockpit.flight.pilot)
        self.show_now(words=True)

    def _lay_out(self) -> None:
        self.title, self.state, self.message, self.side, self.help = (QLabel() for _ in range(5))
        self.title.setText(self.cockpit.course.record.scene.loaded.scenario.title)
        for label, name in ((self.title, "title"), (self.state, "counts"), (self.message, "caption")):
            label.setObjectName(name)
            label.setTextFormat(Qt.TextFormat.PlainText)
        self.side.setTextFormat(Qt.TextFormat.RichText)
        self.side.setWordWrap(True)
        self.side.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.help.setText(keys_html(self.keys))
        self.help.setParent(self.canvas.widget)
        self.help.move(10, 10)
        self.help.hide()
        self.dark = QLabel("no picture from this camera", self.canvas.widget)
        self.dark.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.dark.hide()
        self.caution = QLabel(CAUTION)
        self.caution.setObjectName("caution")
        self.caution.setWordWrap(True)
        hands = self.cockpit.hands
        sticks = QHBoxLayout()
        sticks.addWidget(MouseStick(hands, 0, 1, "drag: forward and back, left and right"))
        sticks.addWidget(MouseStick(hands, 2, 5, "drag: up and down, turn left and right"))
        sticks.addWidget(MouseStick(hands, 4, 3, "drag: pitch and roll"))
        sticks.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(self.side)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        right = QVBoxLayout()
        right.addWidget(scroll, 1)
        right.addLayout(sticks)
        left = QVBoxLayout()
        left.addWidget(self.canvas.widget, 1)
        left.addWidget(self.message)
        row = QHBoxLayout()
        row.addLayout(left, 5)
        row.addLayout(right, 2)
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.state)
        page, column = QWidget(), QVBoxLayout()
        page.setObjectName("room")
        column.addLayout(head)
        column.addLayout(row, 1)
        column.addWidget(self.caution)
        page.setLayout(column)
        self.setCentralWidget(page)
        self.say(f"hold {self._key('x')} and the other sticks to move; {self._key('help')} shows all keys")

    def _key(self, name: str) -> str:
        sticks = [key for key, (stick, sign) in self.keys.sticks.items() if name == "x" and (stick, sign) == (0, 1)]
        return next(iter(sticks or [key for key, button in self.keys.buttons.items() if button == name]), "?")

    # -- time ----------------------------------------------------------------------------------

    def start(self) -> None:
        """Let time run."""
        self._last = time.perf_counter()
        self._timer.start(round(1000 * TICK_S / 2))

    def advance(self) -> None:
        """Fly the ticks that are due and show the last."""
        now = time.perf_counter()
        due = int((now - self._last) / TICK_S)
        if due < 1:
            return
        self._last = now if due > _MAKE_UP else self._last + due * TICK_S
        self.controller.poll()
        if not self.paused:
            self.step(min(due, _MAKE_UP))

    def step(self, ticks: int = 1, draw: bool = True) -> None:
        """Fly some ticks, whatever the clock says, and show the last of them."""
        for _ in range(ticks):
            try:
                self.cockpit.tick()
            except (ArmcarryError, OSError) as error:
                self.paused = True
                self.say(f"time stands still: {error}")
                return
            self._notice_fault()
        if draw:
            self.readings = self.cockpit.flight.read()
            self.alarm = alarm(self.readings, self.cockpit.flight.pilot)
            self._frame += 1
            self.show_now(words=self._frame % _WORDS_FRAMES == 0)
            self._sound()

    def show_now(self, words: bool) -> None:
        """Draw the present tick; write the readings too."""
        pilot = self.cockpit.flight.pilot
        self.live.show(pilot, self.readings)
        self.live.view.render()
        if words:
            self.state.setText(state_words(self.cockpit))
            self.side.setText(readings_html(self.cockpit, self.readings, self.alarm))
            self.state.setStyleSheet(f"color: {LEVEL[self.alarm.level]}")

    def _sound(self) -> None:
        """Sound the system's bell, the faster the sooner a limit is met; silent where there is none."""
        now = self.cockpit.flight.pilot.time_s
        if not self.muted and now - self._beeped >= BEEP_S[self.alarm.level]:
            self._beeped = now
            QApplication.beep()

    # -- doing ---------------------------------------------------------------------------------

    def press(self, button: str) -> None:
        """Do what a button stands for; what goes wrong is said, never raised."""
        hands, cockpit = self.cockpit.hands, self.cockpit
        simple = {
            "brake": hands.brake, "mode": hands.next_mode, "frame": hands.next_frame, "joint": hands.next_joint,
            "view": self._next_view, "keep": self._keep,
        }  # fmt: skip
        try:
            if button in simple:
                simple[button]()
            elif button == "fine":
                hands.fine = not hands.fine
            elif button == "act":
                self.say(cockpit.act() or "done")
            elif button in KINDS:
                cockpit.fail(button)
                self._notice_fault()
            elif button == "help":
                self.help.adjustSize()
                self.help.setVisible(not self.help.isVisible())
            elif button == "mute":
                self.muted = not self.muted
                self.say("sound off" if self.muted else "sound on")
            elif button == "pause":
                self.paused = not self.paused
                self.say("time stands still" if self.paused else "time runs")
        except (ArmcarryError, OSError) as error:
            self.say(str(error))
        self.show_now(words=True)

    def _notice_fault(self) -> None:
        """Let the picture go dark when a camera fails, asked for or at random; other faults show in what they do."""
        fault = self.cockpit.flight.pilot.fault
        if fault is self._noticed:
            return
        self._noticed = fault
        if fault is not None and fault.kind == "camera":
            self.dark.setGeometry(self.canvas.widget.rect())
            self.dark.show()

    def _next_view(self) -> None:
        """Look from the next place; a camera that went dark is left behind."""
        self.dark.hide()
        self.cockpit.look()
        cameras = self.live.view.cameras
        names = [name for name, _ in cameras.choices]
        cameras.choose(names[(names.index(cameras.mode) + 1) % len(names)], 0.0)
        self.say(cameras.title)

    def _keep(self) -> None:
        self.paused = True
        self.say("proving and checking what was flown; time stands still")
        QApplication.processEvents()
        found = score(self.cockpit.flight)
        folder = keep(self.cockpit.flight, self.cockpit.folder)
        self.say(f"written to {folder}; {found.lasting_s:.0f} s, ends off by {found.off_m * 100:.1f} cm")

    def say(self, words: str) -> None:
        """Tell the operator something."""
        self.message.setText(words)

    # -- Qt ------------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take every key of this window: a stick is held while its key is down."""
        if event.type() == QEvent.Type.WindowDeactivate and watched is self:
            self.cockpit.hands.let_go()
        if not isinstance(event, QKeyEvent) or not isinstance(watched, QWidget) or watched.window() is not self:
            return super().eventFilter(watched, event)
        name = named(event)
        if event.isAutoRepeat():
            return True
        stick = self.keys.sticks.get(name)
        if stick is not None and event.type() == QEvent.Type.KeyPress:
            self.cockpit.hands.hold(name, *stick)
        elif stick is not None and event.type() == QEvent.Type.KeyRelease:
            self.cockpit.hands.release(name)
        elif name in self.keys.buttons and event.type() == QEvent.Type.KeyPress:
            self.press(self.keys.buttons[name])
        return True

    def closeEvent(self, event: QCloseEvent) -> None:
        """End the session file and let go of the view."""
        self._timer.stop()
        QApplication.instance().removeEventFilter(self)  # type: ignore[union-attr]
        self.cockpit.close()
        self.canvas.end()
        super().closeEvent(event)


def named(event: QKeyEvent) -> str:
    """Return the name of a key as a file of keys writes it."""
    key = event.key()
    known = _NAMED.get(Qt.Key(key))
    return known or (chr(key).upper() if 0x20 < key < 0x110000 else "")


def _nothing() -> None:
    """Do nothing."""


def open_window(cockpit: Cockpit, keys: Keys, live: bool = False) -> HandWindow:
    """Open a window; time stands still until ``start``."""
    application()
    window = HandWindow(cockpit, keys, live)
    show_window(window)
    return window


def show(cockpit: Cockpit, keys: Keys, live: bool = False) -> int:
    """Open a window, fly until it is closed, and return the exit code."""
    app = application()
    window = open_window(cockpit, keys, live)
    before = signal.signal(signal.SIGINT, lambda *_: window.close())
    window.start()
    try:
        return int(app.exec())
    finally:
        signal.signal(signal.SIGINT, before)
