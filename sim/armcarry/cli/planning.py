"""Commands that look for a way: restraint."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


class Place(StrEnum):
    """What stays put while the restraint's settings are searched."""

    stand = "stand"
    tip = "tip"
    socket = "socket"


@app.command()
def restraint(
    scenario: Annotated[Path, typer.Argument(help="The script, a YAML file.")],
    worksite: Annotated[str, typer.Argument(help="Worksite of its platform, by name.")],
    crew: Annotated[str | None, typer.Option(help="Crewmember; default the rider, else the first.")] = None,
    place: Annotated[
        Place | None, typer.Option(help="What stays put: the plate on its stand, the arm's tip, or a fixed socket.")
    ] = None,
    limit: Annotated[int, typer.Option(help="Choices to show.", min=1)] = 10,
    as_json: Json = False,
) -> None:
    """Find restraint settings and postures that bring all work of a worksite into reach and sight.

    Exit code: 0 found, 1 there are none (the message says what refuses), 2 bad input or usage.
    """
    from armcarry.planning.choices import HEADINGS
    from armcarry.planning.restraint import restraint_table
    from armcarry.views.terminal import Console

    found = restraint_table(scenario, worksite, crew=crew, place=None if place is None else place.value, limit=limit)
    if as_json:
        print_json(found.as_dict())
    else:
        Console().table(found.message, HEADINGS, found.rows())
    raise typer.Exit(0 if found.choices else 1)
