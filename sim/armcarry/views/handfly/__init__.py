"""The window for rehearsing by hand (extra ``view``); nothing heavy is imported before ``ready`` runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from armcarry.handfly.keys import Keys

Tell = Callable[[str, float], None]


def ready(
    path: Path, folder: Path, keys: Keys, seed: int | None = None, tell: Tell | None = None
) -> Callable[[], int]:
    """Plan the script and return what opens the window, stays until it is closed and gives the exit code.

    Args:
        path: a scenario, or a run folder of it.
        folder: a new folder for this try.
        keys: which key does what.
        seed: for faults at random times; None for none unasked.
        tell: told what is being done.

    Raises:
        MissingExtraError: a library of the extra ``view`` is not installed.
        ArmcarryError: there is no display, the window cannot be drawn, or the scenario cannot be planned.
    """
    from armcarry.handfly.cockpit import Cockpit, course_of
    from armcarry.views.player import display
    from armcarry.views.player.opening import must_exist

    must_exist(path)
    display.need_libraries()
    display.prepare()
    trial = display.Trial()  # runs while the script is being planned
    try:
        cockpit = Cockpit(course_of(path, tell), folder, seed)
    except BaseException:
        trial.stop()
        raise
    live = trial.result()
    from armcarry.views.handfly.window import show

    return lambda: show(cockpit, keys, live)


__all__ = ["ready"]
