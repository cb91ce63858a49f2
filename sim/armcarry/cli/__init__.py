"""The command line: parse, call, print, exit code. Heavy libraries load in the command that needs them."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Sequence
from typing import Any

import typer

from armcarry.cli import editing, evidence, flying, keeping, models, planning, running, scheduling, showing, starting
from armcarry.cli.base import app
from armcarry.errors import ArmcarryError, RecomputedWarning
from armcarry.files.atomic import reason
from armcarry.texts import printable

#: commands as help and shared/reference/commands.md list them: a run first, then what is done with it, then planning,
#: then models, last what results rest on
ORDER = (
    "validate", "rehearse", "play", "brief", "compare", "freeze", "series", "index", "envelope",
    "restraint", "stations", "route", "schedule", "disperse", "edit", "handfly", "inspect",
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
            typer.echo(f"armcarry: {stopped(sys.argv[1:])}", err=True)
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
        typer.echo(f"armcarry: {stopped(sys.argv[1:])}", err=True)
        sys.exit(_STOPPED)


_STOPPED = 130
#: what a command leaves when it is stopped; of any other it is nothing, for each file is written whole or not at all
_KEPT = {
    "disperse": "finished runs are kept, the same command goes on from them",
    "edit": "every change is in the journal, the same command goes on from there",
    "handfly": "the session is kept up to its last second",
    "brief": "parts that were finished are kept; the same command makes all again, --part NAME one of them",
    "rehearse": "an earlier run of that name is as it was, or the new one whole; the same command begins again",
    "route": "no script was written; the same command begins again",
}


def stopped(arguments: Sequence[str]) -> str:
    """Say in one line what is kept of a command that Ctrl-C stopped, and how to go on."""
    command = next((word for word in arguments if word in ORDER), "")
    return f"stopped; {_KEPT.get(command, 'nothing was changed; the same command begins again')}"


def _refused(error: OSError) -> str:
    """Return what the system refused, in one line."""
    named = error.filename if error.filename2 is None else error.filename2
    where = "" if named is None else f"{os.fsdecode(named) if isinstance(named, (str, bytes)) else named}: "
    return printable(f"{where}{reason(error)}")
