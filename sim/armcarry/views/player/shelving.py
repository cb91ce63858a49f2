"""Keep, show and drop the bookmarks of a window, and say what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from armcarry.errors import RecordError
from armcarry.views.bookmarks import Bookmark
from armcarry.views.player.shelf import words
from armcarry.views.viewpoint import Viewpoint

if TYPE_CHECKING:
    from armcarry.views.player.window import Window


def keep(window: Window, note: str) -> None:
    """Keep a bookmark of the instant and the view that are shown."""
    cameras, shelf = window.scene.cameras, window.layout_.shelf
    free = cameras.mode == "free"
    eye, focus = (cameras.camera.GetPosition(), cameras.camera.GetFocalPoint()) if free else (None, None)
    mark = Bookmark(round(window.session.time_s, 3), cameras.mode, note.strip(), eye, focus)
    try:
        shelf.show_marks(shelf.shelf.keep(mark))
    except RecordError as error:
        window.say(str(error))
        return
    window.say(f"kept: {words(mark)}")


def drop(window: Window, place: int) -> None:
    """Take a bookmark away."""
    shelf = window.layout_.shelf
    try:
        shelf.shelf.drop(place)
    except RecordError as error:
        window.say(str(error))
        return
    shelf.show_marks(min(place, len(shelf.shelf.marks) - 1))


def show(window: Window, place: int) -> None:
    """Go to the instant of a bookmark and look from where it was kept."""
    shelf, cameras = window.layout_.shelf, window.scene.cameras
    mark = shelf.shelf.marks[place]
    shelf.show_marks(place)
    window.session.pause()
    window.session.seek(mark.time_s)
    if mark.eye_m is not None and mark.focus_m is not None:
        cameras.look(Viewpoint(mark.eye_m, mark.focus_m))
    elif mark.view in dict(cameras.choices):
        cameras.choose(mark.view, window.session.time_s)
    window.settle()
    window.say(words(mark))


def go(window: Window, count: int) -> None:
    """Show the next bookmark, or with a negative count the one before."""
    place = window.layout_.shelf.shelf.after(window.session.time_s, count)
    if place is None:
        window.say(window.layout_.shelf.shelf.trouble or "no bookmarks are kept of this run")
    else:
        show(window, place)
