"""Save the view of a window as a picture or a movie, and say where."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QApplication

from armcarry.views.player import capture
from armcarry.views.player.scene import SHARP

if TYPE_CHECKING:
    from armcarry.views.player.window import Window


def picture(window: Window) -> None:
    """Save the view as it is."""
    window.scene.samples(SHARP)
    window.say(f"picture: {capture.save_picture(window.scene, window.session, window.run.folder)}")


def movie(window: Window) -> None:
    """Save from this instant to the end at the present speed, all of it at the end; Esc stops."""
    session = window.session
    start = session.time_s if session.time_s < session.end_s else session.start_s
    session.pause()
    window.stop_movie = False

    def show(time_s: float) -> None:
        session.seek(time_s)
        window.refresh(hurry=True)

    def tell(done: int, total: int) -> bool:
        if done % 8 == 0 or done == total:
            window.say(f"movie: frame {done} of {total}; Esc stops")
            QApplication.processEvents()
        return not window.stop_movie

    path = capture.save_movie(window.scene, session, window.run.folder, (start, session.end_s), show, tell)
    window.settle()
    window.say("movie stopped; nothing was kept" if path is None else f"movie: {path}")
