"""Commands that keep runs: freeze."""

from __future__ import annotations

from typing import Annotated

import typer

from armcarry.cli.base import Json, RunFolder, app, print_json


@app.command()
def freeze(
    run: RunFolder,
    date: Annotated[str, typer.Option(metavar="DATE", help="The day it is frozen, as 2031-03-20; it is yours to say.")],
    by: Annotated[list[str], typer.Option(metavar="NAME", help="Who looked it through. Repeatable.")],
    as_json: Json = False,
) -> None:
    """Freeze a run: a digest of all of it, the date, and who reviewed it.

    Report and procedures then say whether what they show is the frozen run, which is never written over.

    Exit code: 0 frozen, 2 bad input or usage, a damaged run, or one that is frozen already.
    """
    from dataclasses import asdict

    from armcarry.record.frozen import freeze as keep
    from armcarry.record.store import FORMAT

    made = keep(run, date, by, FORMAT)
    if as_json:
        print_json({**asdict(made), "folder": str(run)})
    else:
        typer.echo(f"{run}: {made.words}")
