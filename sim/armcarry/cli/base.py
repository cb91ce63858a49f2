"""The application that every command is added to, and what commands share."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from armcarry.errors import InputError
from armcarry.version import VERSION

app = typer.Typer(
    name="armcarry",
    help="Rehearse carrying a suited crewmember on a long manipulator.\n\n"
    "Start with: armcarry rehearse SCENARIO, then armcarry play RUN or armcarry brief RUN. "
    "armcarry COMMAND --help tells more of each command.\n\n"
    "A rehearsal aid: results support, and do not replace, analysis and approval by the responsible robotics, "
    "safety and medical authorities and local rules. Never use it to command hardware.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)



def _scenario(text: str) -> Path:
    from armcarry.files.places import find_scenario

    return find_scenario(text)


ScenarioFile = Annotated[
    Path, typer.Argument(metavar="SCENARIO", parser=_scenario, help="Scenario file, YAML, or the name of an example.")
]
RunFolder = Annotated[Path, typer.Argument(metavar="RUN", help="Run folder that rehearse wrote.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document to standard output, nothing else.")]


def _version(value: bool) -> None:
    if value:
        typer.echo(f"armcarry {VERSION}")
        raise typer.Exit


@app.callback()
def _main(
    ctx: typer.Context,
    verbose: Annotated[
        bool, typer.Option("-v", "--verbose", help="Show the Python traceback of an error too.")
    ] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    ctx.obj = {"verbose": verbose}


def print_json(value: dict[str, Any]) -> None:
    """Print one JSON document."""
    typer.echo(json.dumps(value, ensure_ascii=False, allow_nan=False))


def may_write(out: Path, overwrite: bool | None, makes: Path | None = None) -> None:
    """Refuse before minutes of work what could not be written after them.

    Args:
        out: what is to be written.
        overwrite: whether over what is there; None where nothing may be written over.
        makes: a folder that will be made where it is missing.
    """
    if not out.parent.is_dir() and not (out.parent == makes and makes.parent.is_dir()):
        raise InputError("no such folder to write into", found=str(out.parent), accepted="a folder that exists")
    if out.exists() and not overwrite:
        accepted = "another --out" if overwrite is None else "another --out, or --overwrite"
        raise InputError("there is something of this name already", file=out, accepted=accepted)


def slip_of(text: str) -> tuple[str, float]:
    """Return step and seconds of ``STEP=+20min``."""
    from armcarry.quantities import parse

    step, sign, by = text.partition("=")
    if not (step and sign):
        raise InputError("not a slip", found=text, accepted="STEP=+20min")
    return step, parse(by, "time")
