"""The command line: parse, call, print, exit code. Heavy libraries load in the command that needs them."""

from __future__ import annotations

import sys

import typer

from armcarry.cli import flying, models, planning, running, showing
from armcarry.cli.base import app
from armcarry.errors import ArmcarryError

#: commands as help and README list them: a run first, then what is done with it, then planning, then models
ORDER = (
    "validate", "rehearse", "play", "brief", "compare", "envelope",
    "restraint", "stations", "route", "disperse", "handfly", "inspect",
)  # fmt: skip
app.registered_commands.sort(key=lambda command: ORDER.index(getattr(command.callback, "__name__", "")))

__all__ = ["app", "flying", "main", "models", "planning", "running", "showing"]


def main() -> None:
    """Run the command line; errors of ours become one message and exit code 2."""
    try:
        app(standalone_mode=True)
    except ArmcarryError as error:
        if "-v" in sys.argv or "--verbose" in sys.argv:
            raise
        typer.echo(f"armcarry: {error}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("armcarry: stopped", err=True)
        sys.exit(130)
