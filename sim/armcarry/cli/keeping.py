"""Commands that keep runs and tell several as one: freeze, series, index."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armcarry.cli.base import Json, RunFolder, app, print_json

if TYPE_CHECKING:
    from armcarry.files.series import LoadedSeries
    from armcarry.views.series.told import Told
    from armcarry.views.terminal import Console


@app.command()
def freeze(
    run: RunFolder,
    date: Annotated[str, typer.Option(metavar="DATE", help="The day it is frozen, as 2031-03-20; it is yours to say.")],
    by: Annotated[list[str], typer.Option(metavar="NAME", help="Who looked it through. Repeatable.")],
    as_json: Json = False,
) -> None:
    """Freeze a run: its digest, the date, and who reviewed it.

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


@app.command()
def series(
    file: Annotated[Path, typer.Argument(metavar="SERIES", help="File that lists scenarios in order, YAML.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder of all: a run folder an outing, page and deck.")],
    as_json: Json = False,
) -> None:
    """Rehearse several outings in order and tell them as one.

    Each must begin as the one before it ended: who, what and where, fasteners, appendages, carts, base and arm. A run
    of the same files that is in DIR already is taken as it is.

    Exit code: 0 all pass and fit, 1 a finding failed or an outing begins otherwise for no stated reason, 2 bad input.
    """
    from armcarry.errors import ArmcarryError, RecordError
    from armcarry.files.load import load_series
    from armcarry.record.finding import Verdict
    from armcarry.views.series.told import joins, unexplained
    from armcarry.views.series.write import joined_words, write_index, write_series_deck
    from armcarry.views.terminal import Console

    loaded, console = load_series(file), Console(quiet=as_json)
    runs = _runs(loaded, out, console)
    found, told = joins(runs), loaded.document
    written = write_index(runs, found, out, told.title, told.purpose)
    try:
        written.append(write_series_deck(runs, found, written[1], out / "series.pptx", told.title, told.purpose))
    except RecordError:
        raise
    except ArmcarryError as error:  # no library for slides
        typer.echo(f"left out: slides: {error}", err=True)
    failed = any(run.verdict is Verdict.FAIL for run in runs) or unexplained(found)
    if as_json:
        print_json({
            "files": [str(path) for path in written], "failed": bool(failed),
            "outings": {run.name: str(run.verdict) for run in runs},
            "otherwise": [[{"what": one.what, "left": one.left, "begins": one.begins, "why": one.why} for one in join]
                          for join in found],
        })  # fmt: skip
    else:
        for run in runs:
            typer.echo(f"{run.name}: {run.words}")
        for run, join in zip(runs[1:], found, strict=True):
            for one in join:
                typer.echo(f"{run.name}: {one.what} was left {one.left}, begins {one.begins}"
                           f"{f' ({one.why})' if one.why else ', and no reason is given'}")
        typer.echo(joined_words(found) or "One outing alone.")
        for path in written:
            typer.echo(str(path))
    raise typer.Exit(1 if failed else 0)


@app.command()
def index(
    run: Annotated[list[Path], typer.Argument(metavar="RUN", help="Run folders that rehearse wrote.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for index.html and the time line.")],
    as_json: Json = False,
) -> None:
    """Write an index page over several run folders.

    Exit code: 0 written, 2 bad input or usage.
    """
    from armcarry.record.store import load
    from armcarry.views.series.told import Told
    from armcarry.views.series.write import write_index

    told = []
    for folder in run:
        record, findings = load(folder)
        told.append(Told(folder.name, record.scene.loaded.scenario.title, folder, record, findings))
    written = write_index(told, (), out, f"{len(told)} run{'s' if len(told) != 1 else ''}")
    if as_json:
        print_json({"files": [str(path) for path in written]})
    else:
        for path in written:
            typer.echo(str(path))


def _runs(loaded: LoadedSeries, out: Path, console: Console) -> list[Told]:
    """Return the run of each outing: the one that is there of the same files, else rehearsed now."""
    from armcarry.clearance.ready import make_ready
    from armcarry.record.store import load, save
    from armcarry.rehearsal import judge, rehearse
    from armcarry.scene.build import build_scene
    from armcarry.views.series.told import Told

    made = []
    for outing, scenario in loaded.outings:
        folder = out / outing.name
        same = {item.role_path: item.sha256 for item in scenario.inputs}
        if (folder / "summary.json").is_file():
            record, findings = load(folder)
            there = {item.role_path: item.sha256 for item in record.scene.loaded.inputs}
        else:
            there = {}
        if there != same:
            make_ready(lambda words: typer.echo(words, err=True))
            with console.progress() as tell:
                record = rehearse(build_scene(scenario), tell)
                tell("checking", 0.95)
                findings = judge(record)
            save(record, findings, folder, overwrite=True)
        title = outing.title or scenario.scenario.title
        made.append(Told(outing.name, title, folder, record, findings, outing.date, outing.changes))
    return made
