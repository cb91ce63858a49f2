"""The window in which a script is changed (extra ``view``); nothing heavy is imported before ``ready`` runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Tell = Callable[[str, float], None]


def ready(path: Path, journal: Path, tell: Tell | None = None) -> Callable[[], int]:
    """Rehearse the script and return what opens the window, stays until it is closed and gives the exit code.

    Args:
        path: a scenario.
        journal: folder of the journal of changes; what a session that was killed left there is done again.
        tell: told what is being done.

    Raises:
        MissingExtraError: a library of the extra ``view`` is not installed.
        ArmcarryError: there is no display, or the scenario cannot be rehearsed.
    """
    from armcarry.editing.session import Session
    from armcarry.views.player import display

    display.need_libraries()
    display.prepare()
    trial = display.Trial()  # runs while the script is being rehearsed
    try:
        if tell is not None:
            tell("rehearsing the script", 0.2)
        session = Session(path, journal=journal, later=True, at_once=1)
    except BaseException:
        trial.stop()
        raise
    live = trial.result()
    from armcarry.views.editing.window import show

    return lambda: show(session, live)


__all__ = ["ready"]
