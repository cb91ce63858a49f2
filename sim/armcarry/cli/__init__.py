"""The command line: parse, call, print, exit code. Heavy libraries load in the command that needs them."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from armcarry.cli import editing, evidence, flying, keeping, models, planning, running, scheduling, showing, starting
from armcarry.cli.base import app
from armcarry.errors import ArmcarryError, RecomputedWarning
from armcarry.files.atomic import reason, whole_so_far
from armcarry.texts import printable

#: commands as help and shared/reference/commands.md list them: a run first, then what is done with it, then planning,
#: then models, last what results rest on
ORDER = (
    "validate", "rehearse", "play", "brief", "compare", "freeze", "series", "index", "envelope",
    "restraint", "stations", "route", "schedule", "replan", "disperse", "edit", "handfly", "inspect",
    "new", "examples", "list_names", "explain", "expand",
    "assumptions", "verify", "doctor",
)  # fmt: skip
app.registered_commands.sort(key=lambda command: ORDER.index(getattr(command.callback, "__name__", "")))

__all__ = [
    "app", "editing", "evidence", "flying", "keeping", "main", "models", "planning", "running", "scheduling", "showing",
    "starting",
]  # fmt: skip


def main() -> None:
    """Run the command line; errors of ours become one message and exit code 2, warnings of ours one line."""
    others = warnings.showwarning

    def show(message: Warning | str, category: type[Warning], *place: Any, **more: Any) -> None:
        if issubclass(category, RecomputedWarning):
            typer.echo(f"armcarry: {message}", err=True)
        else:
            others(message, category, *place, **more)

    warnings.showwarning = show
    try:
        app(standalone_mode=True)
    except SystemExit as ended:
        if ended.code == _STOPPED:  # what typer makes of Ctrl-C, without a word
            typer.echo(f"armcarry: {stopped(sys.argv[1:], whole_so_far())}", err=True)
        raise
    except ArmcarryError as error:
        if "-v" in sys.argv or "--verbose" in sys.argv:
            raise
        typer.echo(f"armcarry: {error}", err=True)
        sys.exit(2)
    except OSError as error:
        # a file or folder that the user named and the system refuses: read-only, full, too long a name
        if "-v" in sys.argv or "--verbose" in sys.argv:
            raise
        typer.echo(f"armcarry: {_refused(error)}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo(f"armcarry: {stopped(sys.argv[1:], whole_so_far())}", err=True)
        sys.exit(_STOPPED)


_STOPPED = 130
#: how to go on after a command that was stopped once something of it was written; of any other, all is made again
_GO_ON = {
    "disperse": "the same command goes on from the finished runs",
    "edit": "every change is in the journal, the same command goes on from there",
    "series": "the same command goes on after the last whole outing",
    "rehearse": "the same command with --overwrite makes all again",
    "brief": "the same command makes all again, --part NAME one of them",
    "handfly": "handfly RUN --keep FOLDER makes a run of what was flown",
    **dict.fromkeys(
        ("route", "freeze", "inspect", "new", "examples", "expand"), "the same command makes what is missing, if any is"
    ),
}


def stopped(arguments: Sequence[str], written: Sequence[Path] = ()) -> str:
    """Say in one line what is kept of a command that Ctrl-C stopped, and how to go on.

    Args:
        arguments: what was typed.
        written: what the command put in its place: each file and folder is written whole or not at all.
    """
    if not written:
        return "stopped; nothing was changed; the same command begins again"
    command = next((word for word in arguments if word in ORDER), "")
    outermost = [path for path in written if not any(other in path.parents for other in written)]
    kept = printable(str(outermost[0])) + (f" and {len(outermost) - 1} more" if len(outermost) > 1 else "")
    return f"stopped; {kept} kept, whole; {_GO_ON.get(command, 'the same command makes all again')}"


def _refused(error: OSError) -> str:
    """Return what the system refused, in one line."""
    named = error.filename if error.filename2 is None else error.filename2
    where = "" if named is None else f"{os.fsdecode(named) if isinstance(named, (str, bytes)) else named}: "
    return printable(f"{where}{reason(error)}")
