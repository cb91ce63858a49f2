"""The command for rehearsing by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


@app.command()
def handfly(
    scenario: Annotated[
        Path,
        typer.Argument(metavar="SCENARIO", help="Scenario file, or a run folder of it, which saves planning it again."),
    ],
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder that tries are kept in; default runs/<scenario name>_by_hand."),
    ] = None,
    seed: Annotated[
        int | None, typer.Option(metavar="N", help="Practise faults at random; the same seed gives the same ones.")
    ] = None,
    keys: Annotated[Path | None, typer.Option(metavar="FILE", help="Your own keys; see --write-keys.")] = None,
    write_keys: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the standard keys to a file to edit.")
    ] = None,
    score: Annotated[
        list[Path] | None, typer.Option(metavar="TRY", help="Do not fly: compare kept tries. Repeatable.")
    ] = None,
    keep: Annotated[
        Path | None,
        typer.Option(metavar="TRY", help="Do not fly: make a kept try a run with every check, a log and a scenario."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Fly the carry by hand in a window.

    Keyboard, mouse and game controller work; every try is kept as it is flown.

    Exit code: 0 done, 2 bad input or usage, or no window can be opened here.
    """
    from armcarry.handfly import cockpit
    from armcarry.handfly.keys import read_keys
    from armcarry.handfly.keys import write_keys as write_standard
    from armcarry.views.terminal import Console

    if write_keys is not None:
        write_standard(write_keys)
        typer.echo(str(write_keys))
        return
    mapping = read_keys(keys)
    console = Console(quiet=as_json)
    if score or keep is not None:
        with console.progress() as tell:
            course = cockpit.course_of(scenario, tell)
            found = cockpit.scores(score or [], course)
            folder = None
            if keep is not None:
                at = keep if keep.is_dir() else keep.parent
                folder = cockpit.keep(cockpit.flown(keep, course), at, tell)
        if as_json:
            print_json({"scores": {name: each.as_dict() for name, each in found.items()},
                        "run": None if folder is None else str(folder)})  # fmt: skip
            return
        for row in cockpit.table(found) if found else []:
            typer.echo("  ".join(row))
        if folder is not None:
            typer.echo(str(folder))
        return
    from armcarry.views.handfly import ready

    by_hand = f"{scenario.resolve().name if scenario.is_dir() else scenario.stem}_by_hand"
    with console.progress() as tell:
        show = ready(scenario, cockpit.next_folder(out or Path("runs") / by_hand), mapping, seed, tell)
    raise typer.Exit(show())
