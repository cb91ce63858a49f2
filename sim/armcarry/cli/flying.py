"""The command for rehearsing by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


@app.command()
def handfly(
    scenario: Annotated[Path, typer.Argument(help="The script, or a run folder of it, which saves planning it again.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the tries; default runs/<scenario name>_by_hand.")
    ] = None,
    seed: Annotated[int | None, typer.Option(help="Practise faults at random times drawn with this seed.")] = None,
    keys: Annotated[Path | None, typer.Option(help="A file of keys; --write-keys makes one to edit.")] = None,
    write_keys: Annotated[Path | None, typer.Option(help="Write the standard keys to this file and stop.")] = None,
    score: Annotated[
        list[Path] | None, typer.Option(help="Score this session or try instead of flying. May be given again.")
    ] = None,
    keep: Annotated[
        Path | None, typer.Option(help="Write this session's log, script and run with every check instead of flying.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Fly the carry by hand in a window: keyboard, mouse or game controller; every try is kept as it is flown.

    Exit code: 0 done, 2 bad input, a session of other files, or no window can be opened here.
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

    name = scenario.resolve().name if scenario.is_dir() else scenario.stem
    with console.progress() as tell:
        show = ready(scenario, cockpit.next_folder(out or Path("runs") / f"{name}_by_hand"), mapping, seed, tell)
    raise typer.Exit(show())
