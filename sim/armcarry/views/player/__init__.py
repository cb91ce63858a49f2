"""The player: a desktop window that plays a run, made of PySide6, PyVista and pyqtgraph (extra ``view``).

``play`` is all that others call. Nothing heavy is imported before it runs.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Tell = Callable[[str, float], None]


def play(path: Path | str, other: Path | str | None = None, tell: Tell | None = None) -> int:
    """Open a run in a window and return when it is closed; arguments and errors as ``ready``.

    Returns:
        The exit code of the window, 0.
    """
    return ready(path, other, tell)()


def ready(path: Path | str, other: Path | str | None = None, tell: Tell | None = None) -> Callable[[], int]:
    """Read everything a window needs and return what opens it and stays until it is closed.

    Args:
        path: a run folder, or a scenario file that is rehearsed first.
        other: a second run or scenario to draw over it as a ghost.
        tell: told what is being done before the window opens.

    Raises:
        MissingExtraError: a library of the extra ``view`` is not installed.
        RecordError: a folder is damaged, foreign or missing.
        ArmcarryError: there is no display, the window cannot be drawn, or a scenario cannot be rehearsed.
    """
    from armcarry.views.player import display
    from armcarry.views.player.opening import must_exist, open_run

    for each in (path, other):
        if each is not None:
            must_exist(Path(each))
    display.need_libraries()
    display.prepare()
    trial = display.Trial()  # runs while the record is being read
    try:
        run = open_run(Path(path), tell)
        over = None if other is None else open_run(Path(other), tell)
    except BaseException:
        trial.stop()
        raise
    live = trial.result()
    from armcarry.views.player.app import show

    return lambda: show(run, over, live)


__all__ = ["play", "ready"]
