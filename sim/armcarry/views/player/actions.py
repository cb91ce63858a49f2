"""What each action of keys.py does to a window."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from armcarry.views.player import saving, shelving

if TYPE_CHECKING:
    from armcarry.views.player.window import Window

_JUMP_S = 30.0


def actions(window: Window) -> dict[str, Callable[[], None]]:
    """Return a function for every action."""
    return {**_time(window), **_jump(window), **_look(window), **_show(window), **_room(window)}


def _time(window: Window) -> dict[str, Callable[[], None]]:
    session = window.session

    def moved(change: Callable[[], object]) -> Callable[[], None]:
        def do() -> None:
            change()
            window.settle()

        return do

    return {
        "toggle": window.play,
        "frame_on": moved(lambda: session.step_frames(1)),
        "frame_back": moved(lambda: session.step_frames(-1)),
        "move_on": moved(lambda: session.step_moves(1)),
        "move_back": moved(lambda: session.step_moves(-1)),
        "half_minute_on": moved(lambda: session.seek(session.time_s + _JUMP_S)),
        "half_minute_back": moved(lambda: session.seek(session.time_s - _JUMP_S)),
        "to_start": moved(lambda: session.seek(session.start_s)),
        "to_end": moved(lambda: session.seek(session.end_s)),
        "faster": moved(lambda: session.faster(1)),
        "slower": moved(lambda: session.faster(-1)),
        "plain_speed": moved(lambda: session.set_speed(1.0)),
        "skip": lambda: window.say(_skip(window)),
        "type_time": lambda: window.layout_.controls.typed.setFocus(),
    }


def _skip(window: Window) -> str:
    """Let what stands still pass quickly, or no longer, and say so."""
    session = window.session
    if not session.idle:
        return "something moves all along this run"
    session.skips = not session.skips
    return "what stands still passes quickly" if session.skips else "what stands still passes like all else"


def _jump(window: Window) -> dict[str, Callable[[], None]]:
    session = window.session

    def tightest() -> None:
        if not session.to_tightest():
            window.say("no clearance was measured in this run")
            return
        window.settle()
        window.look_at_gap()

    return {
        "tightest": tightest,
        "finding_on": lambda: window.jump(session.next_finding(1)),
        "finding_back": lambda: window.jump(session.next_finding(-1)),
        "gap": window.look_at_gap,
        "bookmark": lambda: window.layout_.shelf.write(),
        "bookmark_on": lambda: shelving.go(window, 1),
        "bookmark_back": lambda: shelving.go(window, -1),
    }


def _look(window: Window) -> dict[str, Callable[[], None]]:
    cameras, session = window.scene.cameras, window.session

    def eye(count: int, crew: bool) -> Callable[[], None]:
        def do() -> None:
            if cameras.next_eye(count, crew, session.time_s):
                window.settle()
            else:
                window.say("this scene has no crew" if crew else "this platform has no cameras")

        return do

    def moved(change: Callable[[], None]) -> Callable[[], None]:
        def do() -> None:
            change()
            window.settle()

        return do

    return {
        "free": lambda: window.choose_camera("free"),
        "eyes": eye(1, True),
        "camera_on": eye(1, False),
        "camera_back": eye(-1, False),
        "follow": lambda: window.choose_camera("follow"),
        "overview": moved(lambda: cameras.overview(session.time_s, window.scene.aspect)),
        "orbit_left": moved(lambda: cameras.orbit(-1, 0)),
        "orbit_right": moved(lambda: cameras.orbit(1, 0)),
        "orbit_up": moved(lambda: cameras.orbit(0, 1)),
        "orbit_down": moved(lambda: cameras.orbit(0, -1)),
        "nearer": moved(lambda: cameras.approach(1)),
        "farther": moved(lambda: cameras.approach(-1)),
    }


def _show(window: Window) -> dict[str, Callable[[], None]]:
    names = (
        "closest", "margin", "shell", "envelope", "map", "proven", "measure", "corner", "rails", "sites", "frames",
        "path", "plan", "cones", "cut", "stop", "rooms", "other",
    )

    def toggle(action: str) -> Callable[[], None]:
        return lambda: window.toggle(action)

    return {
        **{f"show_{name}": toggle(f"show_{name}") for name in names},
        "corner_on": lambda: _corner(window),
        "panels": lambda: window.layout_.show_panels(not window.layout_.panels),
        "plot_on": lambda: window.layout_.plots.next_tab(),
        "row_on": lambda: window.layout_.plots.next_row(1),
        "row_back": lambda: window.layout_.plots.next_row(-1),
        "day": window.next_lanes,
    }


def _corner(window: Window) -> None:
    """Show what the next eyes or camera see in the corner; the first time, what the first do."""
    title = window.scene.corner.next(window.session.time_s) if window.on.get("show_corner") else ""
    if title:
        window.settle()
        window.say(title)
    else:
        window.toggle("show_corner")


def _room(window: Window) -> dict[str, Callable[[], None]]:
    def full_screen() -> None:
        if window.isFullScreen():
            window.showNormal()
        else:
            window.showFullScreen()

    def show_help() -> None:
        if window.session.playing:
            window.play()
        window.layout_.show_help(not window.layout_.helping)

    return {
        "briefing": window.brief,
        "full_screen": full_screen,
        "picture": lambda: saving.picture(window),
        "movie": lambda: saving.movie(window),
        "help": show_help,
        "leave": window.leave,
        "quit": lambda: (window.close(), None)[1],
    }
