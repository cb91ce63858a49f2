"""Commands that show or export a run: brief, play, envelope."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armcarry.cli.base import Json, RunFolder, app, print_json

if TYPE_CHECKING:
    from armcarry.comparing.flown import Flown
    from armcarry.record.record import Record


class PaperSize(StrEnum):
    """Sheets the printed parts of a briefing fit on."""

    a4 = "A4"
    letter = "Letter"


@app.command()
def brief(
    run: RunFolder,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder to write into; default views/ in the run folder.")
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PART", help="Only this: page, gltf, movie, report, slides, procedure, cards or script. Repeatable."
        ),
    ] = None,
    paper: Annotated[PaperSize, typer.Option(help="Paper of what is printed.")] = PaperSize.a4,
    cut: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CUT", help="Stretch of the movie: from, to, speed, camera, as '4 s to 80 s, 20x, ev1'. Repeatable."
        ),
    ] = None,
    words: Annotated[
        Path | None,
        typer.Option(metavar="SCENARIO", help="Take words and pictures from this edited scenario, alike in all else."),
    ] = None,
    actual: Annotated[
        Path | None,
        typer.Option(
            metavar="TIMES", help="When steps were flown: CSV with step, start, end, remark, or the run of a log."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Write page, movie, report, slides, procedures and cards.

    What cannot be made here is left out and told, unless --part asked for it.

    Exit code: 0 written, 2 bad input or usage, or a part that --part asked for could not be made, or the disk is full.
    """
    from armcarry.record.frozen import NOT_FROZEN, frozen_state
    from armcarry.record.rewritten import rewritten
    from armcarry.record.store import load
    from armcarry.views.bookmarks import read_bookmarks
    from armcarry.views.brief.write import check_parts, write_briefing
    from armcarry.views.cuts import read_cut
    from armcarry.views.terminal import Console
    from armcarry.views.ways_kept import read_ways

    console = Console(quiet=as_json)
    parts, cuts = check_parts(part), tuple(map(read_cut, cut or []))
    (record, findings), frozen = load(run), frozen_state(run)
    told = NOT_FROZEN if frozen is None else frozen.words
    if words is not None:
        record, told = rewritten(record, words), f"{told} Its words are those of {words.name}."
    flown = () if actual is None else _flown(record, actual)
    with console.progress() as tell:
        written = write_briefing(
            record, findings, out or run / "views", parts=parts, paper=paper.value, cuts=cuts or None, progress=tell,
            frozen=told, flown=flown, marks=read_bookmarks(run / "views"), ways=read_ways(run / "views"),
        )
    if as_json:
        print_json({"files": [str(path) for path in written.files], "left_out": written.left_out})
    else:
        for path in written.files:
            typer.echo(str(path))
        for name, why in written.left_out.items():
            typer.echo(f"left out: {name}: {why}", err=True)
    raise typer.Exit(2 if written.refused or (part and written.left_out) else 0)


def _flown(record: Record, actual: Path) -> tuple[Flown, ...]:
    """Return the steps of a run beside the times of a table, or of the run of a log."""
    from armcarry.comparing.flown import against_plan, step_names, times_of_log
    from armcarry.files.actual import read_actual
    from armcarry.record.store import load

    day = record.scene.loaded.scenario.day
    if actual.is_dir():
        times = times_of_log(record, load(actual)[0])
    else:
        times = read_actual(actual, step_names(record), None if day is None else day.start)
    return against_plan(record, times)


@app.command()
def play(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Run folder, or a scenario, which is rehearsed first.")],
    over: Annotated[
        Path | None, typer.Option(metavar="RUN", help="Second run or scenario, drawn over the first as a ghost.")
    ] = None,
) -> None:
    """Open a run in the player window.

    Press ? there for all keys.

    Exit code: 0 the window was closed, 2 bad input or usage, or no window can be opened here.
    """
    from armcarry.views.player import ready
    from armcarry.views.terminal import Console

    with Console().progress() as tell:
        show = ready(run, over, tell)
    raise typer.Exit(show())


@app.command()
def envelope(
    run: RunFolder,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Mesh to write, .stl, .obj or .glb; default views/envelope.stl of the run."),
    ] = None,
    carry: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Only what this carry sweeps. Repeatable.")
    ] = None,
    cell: Annotated[
        str, typer.Option(metavar="LENGTH", help="Cells of the grid it is made on; smaller ones hug closer.")
    ] = "0.15 m",
    as_json: Json = False,
) -> None:
    """Write the room swept by arm, rider and hardware as a mesh.

    The mesh is closed and surely encloses all that is swept; metres, z up.

    Exit code: 0 written, 2 bad input or usage, or the file cannot be written.
    """
    from armcarry.clearance.mesh_files import maker_of, write_mesh
    from armcarry.files.atomic import inner_folder
    from armcarry.quantities import parse
    from armcarry.record.store import load
    from armcarry.whatif.swept import envelope as swept

    path = out or run / "views" / "envelope.stl"
    maker_of(path)  # a wrong ending is told before the work
    record, _ = load(run)
    made = swept(record, carry or [], parse(cell, "length"))
    if out is None:
        inner_folder(path.parent)  # a run rehearsed with --no-views has none yet
    write_mesh(path, made.vertices_m, made.faces, "swept envelope")
    count, excess = len(made.faces), made.excess_m
    if as_json:
        print_json({"file": str(path), "faces": count, "cell_m": made.cell_m, "too_large_by_at_most_m": excess})
    else:
        typer.echo(f"{path}: {count} faces; encloses all that is swept and is at most {excess:.2f} m too large")
