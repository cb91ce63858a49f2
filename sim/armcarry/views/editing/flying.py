"""The volume to fly in around the chosen waypoint: tried while nothing else is done, drawn as it grows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from armcarry.editing.volume import FreeVolume
from armcarry.errors import ArmcarryError
from armcarry.views.editing.dialogs import Bring
from armcarry.views.editing.mending import Mending


class Flying(Mending):
    """The part of the window that shows where a waypoint may be, and takes what is to be brought.

    Attributes:
        volume: what is shown, None for none.
    """

    volume: FreeVolume | None = None
    _trying: Iterator[FreeVolume] | None = None
    _of: int = 0
    _tries: QTimer

    def begin_volume(self) -> None:
        """Try positions around the chosen waypoint; asked again, take the volume away."""
        at: Any = getattr(self, "at", None)
        if at is None or self.volume is not None or self._trying is not None:
            self.end_volume()
            return
        if not hasattr(self, "_tries"):
            self._tries = QTimer(self)
            self._tries.timeout.connect(self.try_next)
        self._trying, self._of = self.session.sampled(at), self.session.answer.number
        self._tries.start(0)

    def try_next(self) -> None:
        """Try one position more; a change meanwhile ends it."""
        if self._trying is None or self.session.answer.number != self._of or self.session.answer.left:
            if self._trying is not None and not self.session.answer.left:
                self.end_volume()
            return
        try:
            self.volume = next(self._trying)
        except StopIteration:
            self._tries.stop()
            self._trying = None
            if self.volume is not None:
                self.say(f"{self.volume}; B takes the end of the move there")
            return
        except ArmcarryError as error:
            self.end_volume()
            self.say(str(error))
            return
        self._draw()
        self.say(f"{self.volume}; still trying")

    def _draw(self) -> None:
        volume = self.volume
        if volume is None:
            self.scene.show_volume(None, None)
            return
        record, end = self.session.answer.record, self.session.end_s(volume.at)
        frame = record.phase_at(end).tree.pose_of(volume.frame, record.motion.at(end))
        self.scene.show_volume(volume, frame)

    def end_volume(self) -> None:
        """Take the volume away, and stop trying."""
        if hasattr(self, "_tries"):
            self._tries.stop()
        shown, self._trying, self.volume = self.volume is not None, None, None
        if shown:
            self._draw()

    def bring(self) -> None:
        """Ask what is to be brought where, and have it planned."""
        loaded = self.session.answer.record.scene.loaded
        sites = [name for name, site in loaded.platform.document.worksites.items() if site.seat]
        if not loaded.hardware:
            self.say("there is no item to bring; place one on the page Start")
            return
        asked = Bring(self, list(loaded.hardware), sites)
        if asked.exec():
            what, to = asked.what.currentText(), asked.to.currentText()
            self.say(f"{what} to {to}: a way is looked for, which may take a minute")
            QApplication.processEvents()
            self.do(lambda: self.session.bring(what, to))

    def take_best(self) -> None:
        """Bring the waypoint to the best position of the volume."""
        volume = self.volume
        if volume is None or volume.best is None:
            self.say("no volume is shown; V tries some around where the move ends" if volume is None else str(volume))
            return
        best = volume.points_m[volume.best]
        self.end_volume()
        self.do(lambda: self.session.place(volume.at, best))
