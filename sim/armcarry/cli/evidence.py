"""Commands that say what results rest on: verify, assumptions, doctor."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, RunFolder, app, print_json


@app.command()
def verify(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder to write into.")] = Path("verification"),
    every: Annotated[bool, typer.Option("--all", help="Rehearse every scenario that comes along; takes long.")] = False,
    as_json: Json = False,
) -> None:
    """Run the shipped evidence on this machine.

    Published values, engines of others where installed, and scenarios with the verdicts they state. Written are
    verification.json with a digest and verification.md, a page to sign.

    Exit code: 0 nothing differs, 1 something does, 2 bad usage.
    """
    from armcarry.evidence.row import AGREES
    from armcarry.evidence.verify import verify as run_evidence
    from armcarry.evidence.verify import write_verification
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    console.ready()
    with console.progress() as tell:
        found = run_evidence(every, tell)
    written = write_verification(found, out)
    if as_json:
        print_json({**found.as_dict(), "files": [str(path) for path in written]})
    else:
        others = [row for row in found.rows if row.verdict != AGREES]
        if others:
            rows: list[tuple[str, ...]] = [(row.verdict, row.name, row.ours, row.wanted) for row in others]
            console.table("What differs or was not run", ("verdict", "what", "here", "shipped"), rows)
        console.line(", ".join(f"{count} {verdict}" for verdict, count in found.counts.items()))
        console.line(f"SHA-256 {found.as_dict()['sha256']}")
        for path in written:
            console.line(f"written: {path}")
    raise typer.Exit(0 if found.agrees else 1)


@app.command()
def assumptions(
    run: RunFolder,
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the whole table for a spreadsheet.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Print those too whose turning value is not known.")] = False,
    as_json: Json = False,
) -> None:
    """List every assumption of a run and what would turn a verdict.

    Told are value, the checks that use it, and the value at which the tightest verdict turns where that follows from
    the run. The last column is yours: where the number comes from. State that under sources in the file.

    Exit code: 0 listed, 2 bad input or usage.
    """
    from armcarry.evidence.assumptions import as_csv, deciding
    from armcarry.evidence.assumptions import assumptions as all_of
    from armcarry.files.atomic import write_text_atomic
    from armcarry.record.store import load
    from armcarry.views.terminal import Console

    found = all_of(*load(run))
    if table is not None:
        write_text_atomic(table, as_csv(found))
    if as_json:
        print_json({"assumptions": [one.as_dict() for one in found]})
        return
    console = Console()
    shown = found if every else deciding(found)
    rows: list[tuple[str, ...]] = [(one.number.file.rsplit("/", 1)[-1], *one.cells()[1:3], *one.cells()[5:6],
                                    *one.cells()[7:9]) for one in shown]  # fmt: skip
    if rows:
        title = "Assumptions, those first by which a verdict turns soonest"
        console.table(title, ("file", "key", "value", "finding", "turns at", "room"), rows)
    left = len(found) - len(deciding(found))
    console.line(f"{len(found)} assumptions; of {left} it is not worked out at which value a verdict would turn")
    if table is not None:
        console.line(f"written: {table}")


@app.command()
def doctor(as_json: Json = False) -> None:
    """Say what is installed here, and whether it can draw.

    Looked at are libraries and extras, what each missing one would add, examples, compiled kernels, room for runs,
    drawing without a window and the window itself. Nothing is written.

    Exit code: 0 the main job can run, 1 something that it needs is missing.
    """
    from armcarry.views.machine import look
    from armcarry.views.terminal import Console

    machine = look(Path("runs"))
    if as_json:
        print_json(machine.as_dict())
    else:
        console = Console()
        rows: list[tuple[str, ...]] = [
            (part.name, part.state, part.adds, "; ".join(filter(None, (part.words, part.remedy))))
            for part in machine.parts
        ]
        console.table("This machine", ("part", "state", "serves", "what was found"), rows)
        console.line("ready to rehearse" if machine.ready else "something that rehearsing needs is missing")
    raise typer.Exit(0 if machine.ready else 1)
