"""The command for changing a script."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, ScenarioFile, app, print_json


@app.command()
def edit(
    scenario: ScenarioFile,
    journal: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of the journal of changes; default runs/<scenario name>_edited."),
    ] = None,
    change: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Do not open a window: set a key of the script. Repeatable."),
    ] = None,
    recover: Annotated[
        bool, typer.Option("--recover", help="Do not open a window: go on from the journal of a killed session.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where --set or --recover writes the script; else nowhere.")
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Write the script first: its models, and nobody and nothing there.")
    ] = False,
    platform: Annotated[str | None, typer.Option(metavar="NAME", help="Platform that --new names.")] = None,
    arm: Annotated[str | None, typer.Option(metavar="NAME", help="Arm that --new names.")] = None,
    rules: Annotated[str | None, typer.Option(metavar="NAME", help="Rules that --new names.")] = None,
    as_json: Json = False,
) -> None:
    """Change a script in a window, each change proven at once.

    Every change is kept as it is made, so that a session that was killed goes on where it was.

    Exit code: 0 done, 1 with --set or --recover something fails at once, 2 bad input, or no window can be opened here.
    """
    from armcarry.errors import InputError
    from armcarry.files.starts import write_bare
    from armcarry.views.terminal import Console

    named = {key: value for key, value in (("platform", platform), ("arm", arm), ("rules", rules)) if value is not None}
    if named and not new:
        raise InputError(f"--{next(iter(named))} goes with --new", found=str(scenario), accepted="--new")
    if new:
        write_bare(scenario, named)
    folder = journal or Path("runs") / f"{scenario.stem}_edited"
    if not (change or recover):
        from armcarry.views.editing import ready

        with Console(quiet=as_json).progress() as tell:
            show = ready(scenario, folder, tell)
        raise typer.Exit(show())
    from armcarry.editing.told import as_dict, changed_by_keys, lines

    session = changed_by_keys(scenario, change or [], folder if recover else None)
    written = None if out is None else session.save(out, over=True)
    if as_json:
        print_json({**as_dict(session), "written": None if written is None else str(written)})
    else:
        for line in lines(session):
            typer.echo(line)
        if written is not None:
            typer.echo(f"Written to {written}")
    session.close()
    raise typer.Exit(1 if session.answer.failing else 0)
