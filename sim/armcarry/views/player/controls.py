"""The row below the view: play, step, scrub, speed, camera, and what else is done most."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QLineEdit, QPushButton, QSlider, QToolButton, QWidget

from armcarry.errors import QuantityError
from armcarry.quantities import clock
from armcarry.views.player.icons import icon
from armcarry.views.player.keys import KEY_OF, tip
from armcarry.views.player.session import SPEEDS, Session, read_instant

_MS = 1000.0


class Scrubber(QSlider):
    """A slider over the whole run in milliseconds; a click goes where it is made."""

    def __init__(self, session: Session) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setAccessibleName("Time")
        self.setRange(int(session.start_s * _MS), int(session.end_s * _MS))
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the place of the click."""
        self._to(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Scrub."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._to(event)

    def _to(self, event: QMouseEvent) -> None:
        share = min(max((event.position().x() - 5) / max(self.width() - 10, 1), 0.0), 1.0)
        self.setValue(round(self.minimum() + share * (self.maximum() - self.minimum())))


class Controls(QWidget):
    """Buttons, scrubber, and choices of speed and camera; everything here has a key as well."""

    #: name of an action from keys.py
    acted = Signal(str)
    #: an instant that was scrubbed to or typed, seconds
    asked = Signal(float)
    speed_asked = Signal(float)
    camera_asked = Signal(str)
    #: something to tell the user
    said = Signal(str)

    def __init__(self, session: Session, cameras: tuple[tuple[str, str], ...]) -> None:
        super().__init__()
        self._session = session
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(5)
        self.play = self._icon_button("toggle", "play")
        for action in ("move_back", "frame_back"):
            row.addWidget(self._icon_button(action, action))
        row.addWidget(self.play)
        for action in ("frame_on", "move_on"):
            row.addWidget(self._icon_button(action, action))
        self.clock = QLabel()
        self.clock.setObjectName("clock")
        self.clock.setMinimumWidth(96)
        self.clock.setAlignment(Qt.AlignmentFlag.AlignCenter)
        row.addWidget(self.clock)
        self.scrubber = Scrubber(session)
        self.scrubber.valueChanged.connect(lambda value: self.asked.emit(value / _MS))
        row.addWidget(self.scrubber, 1)
        end = QLabel(clock(session.end_s))
        end.setObjectName("faint")
        row.addWidget(end)
        self.typed = QLineEdit()
        self.typed.setPlaceholderText("min:s")
        self.typed.setAccessibleName("Go to an instant")
        self.typed.setToolTip(tip("type_time"))
        self.typed.setFixedWidth(70)
        self.typed.returnPressed.connect(self._typed)
        row.addWidget(self.typed)
        self.speed = self._choice("Speed", [f"{speed:g} x" for speed in SPEEDS], 84)
        self.speed.activated.connect(lambda k: self.speed_asked.emit(SPEEDS[k]))
        row.addWidget(self.speed)
        self._modes = [mode for mode, _ in cameras]
        self.camera = self._choice("Look from", [title for _, title in cameras], 176)
        self.camera.activated.connect(lambda k: self.camera_asked.emit(self._modes[k]))
        row.addWidget(self.camera)
        for action, words in (("tightest", "Tightest"), ("picture", "Picture"), ("movie", "Movie"),
                              ("briefing", "Briefing"), ("help", "?")):
            row.addWidget(self._button(action, words))

    def show_time(self) -> None:
        """Show the instant of the session without asking for it again."""
        self.clock.setText(clock(self._session.time_s))
        self.scrubber.blockSignals(True)
        self.scrubber.setValue(int(self._session.time_s * _MS))
        self.scrubber.blockSignals(False)

    def show_state(self, camera: str) -> None:
        """Show whether it plays, how fast, and the camera."""
        self.play.setIcon(icon("pause" if self._session.playing else "play"))
        self.play.setAccessibleName("Pause" if self._session.playing else "Play")
        self.speed.setCurrentIndex(SPEEDS.index(self._session.speed))
        self.camera.setCurrentIndex(self._modes.index(camera))

    def _typed(self) -> None:
        try:
            self.asked.emit(read_instant(self.typed.text()))
        except QuantityError as error:
            self.said.emit(f"That is no instant: {error}")
            return
        self.typed.clear()
        self.typed.clearFocus()

    def _choice(self, name: str, words: list[str], wide: int) -> QComboBox:
        box = QComboBox()
        box.addItems(words)
        box.setAccessibleName(name)
        box.setToolTip(name)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        box.setFixedWidth(wide)
        return box

    def _button(self, action: str, words: str) -> QPushButton:
        button = QPushButton(words)
        button.setObjectName(f"do_{action}")
        button.setToolTip(tip(action))
        button.setAccessibleName(KEY_OF[action].words)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(lambda: self.acted.emit(action))
        return button

    def _icon_button(self, action: str, picture: str) -> QToolButton:
        button = QToolButton()
        button.setIcon(icon(picture))
        button.setIconSize(QSize(20, 20))
        button.setObjectName(f"do_{action}")
        button.setToolTip(tip(action))
        button.setAccessibleName(KEY_OF[action].words)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(lambda: self.acted.emit(action))
        return button
