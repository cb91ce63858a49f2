"""Commands that compute or judge: rehearse, compare, validate."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armcarry.cli.base import Json, ScenarioFile, app, print_json, slip_of

if TYPE_CHECKING:
    from armcarry.errors import RecordError
    from armcarry.files.motion_log import MotionLog
    from armcarry.record.finding import Finding
    from armcarry.record.record import Record
    from armcarry.scene.build import Scene
    from armcarry.views.terminal import Console


class Between(StrEnum):
    """What is assumed between two rows of a log."""

    linear = "linear"
    cubic = "cubic"


Pieces = Annotated[
    Between, typer.Option(help="Motion between two rows of a log: straight, or smooth without overshoot.")
]
LeaveOut = Annotated[
    bool,
    typer.Option(
        "--leave-out", help="Leave out rows of a log that cannot be used and list them, instead of refusing the log."
    ),
]
Columns = Annotated[
    Path | None,
    typer.Option(
        "--log-columns", metavar="FILE",
        help="File that says which columns of a log are which joints, in which units; default the headings of the log.",
    ),
]
Every = Annotated[bool, typer.Option("--all", help="Print every finding in full.")]
SecondOpinion = Annotated[
    bool, typer.Option("--second-opinion", help="Have other engines measure the tightest pairs and late stops too.")
]


@app.command()
def rehearse(
    scenario: ScenarioFile,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="New run folder; default runs/<scenario name>, which is replaced."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an earlier run at --out.")] = False,
    views: Annotated[bool, typer.Option(help="Draw pictures and plots into the run folder.")] = True,
    slip: Annotated[
        list[str] | None,
        typer.Option(metavar="STEP=+20min", help="A step of the day takes longer; says what is left out. Repeatable."),
    ] = None,
    fail: Annotated[
        list[str] | None,
        typer.Option(metavar="STEP", help="A step of the day is tried and fails; its fallback follows. Repeatable."),
    ] = None,
    motion: Annotated[
        Path | None,
        typer.Option(metavar="LOG", help="Fly logged joint angles (CSV, Parquet) instead of the scenario's moves."),
    ] = None,
    pieces: Pieces = Between.linear,
    leave_out: LeaveOut = False,
    log_columns: Columns = None,
    second_opinion: SecondOpinion = False,
    every: Every = False,
    as_json: Json = False,
) -> None:
    """Compute and check a run of a scenario.

    The findings are printed; the run folder gets them too, with summary, motion, clearances and pictures.

    Exit code: 0 nothing failed, 1 a finding failed, 2 bad input or usage.
    """
    # what was given is looked at before anything is found or compiled: nobody waits to hear of a slip of the pen
    slips = dict(map(slip_of, slip or []))
    folder, overwrite = _run_folder(scenario, out, overwrite)
    scene, log = _read(scenario, motion, log_columns, leave_out, as_json)
    from armcarry.comparing.expected import outcome
    from armcarry.record.store import save
    from armcarry.rehearsal import judge
    from armcarry.rehearsal import rehearse as compute
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    console.ready()
    with console.progress() as tell:
        record = compute(scene, tell, slip=slips, failed=fail or [], motion=log, pieces=pieces.value, processes=None)
        if second_opinion:
            from armcarry.whatif.opinions import with_opinions

            tell("asking other engines", 0.9)
            record = with_opinions(record)
        tell("checking", 0.95)
        findings = judge(record, None)
    summary = save(record, findings, folder, overwrite=overwrite)
    came = outcome(record.scene.loaded.scenario.expect, findings)
    refused = _write_views(console, record, findings, folder) if views else None
    if as_json:
        told = [finding.as_dict() for finding in findings]
        print_json({**summary, "folder": str(folder), "expected": came.as_dict(), "findings": told})
    else:
        console.findings(record, findings, summary, folder, outcome=came.line, every=every)
        console.slip(record)
    if refused is not None:  # the findings are told first: they are written
        raise refused
    raise typer.Exit(1 if summary["verdict"] == "fail" else 0)


def _write_views(
    console: Console, record: Record, findings: tuple[Finding, ...], folder: Path
) -> RecordError | None:
    """Draw pictures into a run folder; return what kept them from being written, None if nothing did."""
    from armcarry.errors import RecordError
    from armcarry.views.rehearsed import write_views

    try:
        with console.progress() as tell:
            written = write_views(record, findings, folder / "views", tell)
    except RecordError as error:
        return error
    if written[-1].suffix == ".txt":  # the reason why there are no pictures
        typer.echo(written[-1].read_text(encoding="utf-8").strip(), err=True)
    return None


def _read(
    scenario: Path, motion: Path | None, columns: Path | None, leave_out: bool, quiet: bool
) -> tuple[Scene, MotionLog | None]:
    """Read the script, and the log that gives its motion if there is one."""
    from armcarry.errors import InputError
    from armcarry.files.load import load_scenario
    from armcarry.files.motion_log import read_motion_log
    from armcarry.record.beside import cores, side_by_side
    from armcarry.views.terminal import Console

    if columns is not None and motion is None:
        raise InputError("columns of a log, and no log", found=str(columns), accepted="--log-columns with --motion LOG")
    jobs: tuple[Callable[[], Any], ...] = (_get_ready, lambda: load_scenario(scenario))
    loaded = side_by_side(jobs, min(cores(), 2))[1]
    from armcarry.planning.left_open import settle
    from armcarry.scene.build import build_scene

    console = Console(quiet=True) if quiet else Console()
    with console.progress() as tell:
        scene = build_scene(settle(scenario, tell, loaded=loaded))
    return scene, None if motion is None else read_motion_log(motion, columns=columns, leave_out=leave_out)


def _get_ready() -> None:
    """Load what a rehearsal needs, while the script is read beside; nothing is compiled before that is in order."""
    import armcarry.record.store
    import armcarry.rehearsal  # noqa: F401
    from armcarry.clearance.ready import is_ready, make_ready

    if is_ready():
        make_ready()


def _run_folder(scenario: Path, out: Path | None, overwrite: bool) -> tuple[Path, bool]:
    """Return where to write: what was asked for and is free, or runs/<name>, replacing an earlier run of that name."""
    from armcarry.record.folder import check_target

    folder, overwrite = (Path("runs") / scenario.stem, True) if out is None else (out, overwrite)
    check_target(folder, overwrite=overwrite)
    return folder, overwrite


class Alignment(StrEnum):
    """How two runs are laid together in time."""

    steps = "steps"
    start = "start"
    best = "best"


@app.command()
def compare(
    first: Annotated[Path, typer.Argument(metavar="RUN", help="Run folder, the plan.")],
    second: Annotated[
        Path, typer.Argument(metavar="RUN_OR_LOG", help="Run folder, or logged joint angles (CSV, Parquet).")
    ],
    align: Annotated[
        Alignment | None,
        typer.Option(
            help="Step beside step, both starts at the same instant, or shifted until the joints agree best; a run is "
            "laid by steps and a log by its start unless this says else."
        ),
    ] = None,
    pieces: Pieces = Between.linear,
    leave_out: LeaveOut = False,
    log_columns: Columns = None,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for a page with all rows and a picture of both ways.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Print every row of every table.")] = False,
    as_json: Json = False,
) -> None:
    """Show how far a run or a log is from another run.

    Told are steps that came in, left, moved, last otherwise or go another way, clearances that changed, the worst new
    ones first, verdicts, deviations of joints and tip, stops, and rate limits passed.

    Exit code: 0 the second fails no check that the first passes, 1 it does, 2 bad input or usage.
    """
    from armcarry.comparing.runs import compare as side_by_side
    from armcarry.record.store import load
    from armcarry.rehearsal import second_run
    from armcarry.views.compared import compared
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    ours, found = load(first)
    with console.progress() as tell:
        theirs, found_too = second_run(
            first, second, tell, pieces=pieces.value, leave_out=leave_out, columns=log_columns
        )
    laid = (Alignment.steps if second.is_dir() else Alignment.start) if align is None else align
    result = side_by_side(ours, theirs, align=laid.value, findings=(found, found_too))
    if out is not None:
        from armcarry.views.compared_page import write_comparison

        for path in write_comparison(ours, theirs, result, out):
            typer.echo(str(path), err=as_json)
    if as_json:
        print_json(result.as_dict())
    else:
        for title, headings, rows in compared(result, every):
            if rows:
                console.table(title, headings, rows)
            else:
                typer.echo(title)
        for finding in found_too:
            if finding.check == "log" and finding.verdict != "pass":
                typer.echo(f"log {finding.subject}: {finding.message}")
    raise typer.Exit(1 if result.worse else 0)


@app.command()
def validate(
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="Scenarios and models (YAML, URDF).")],
    as_json: Json = False,
) -> None:
    """Check files without computing a run.

    A scenario is checked with every file that it names.

    Exit code: 0 all in order, 2 a file is wrong, or bad usage.
    """
    from armcarry.rehearsal import validate as problems_of

    problems = problems_of(files)
    if as_json:
        print_json({"files": [str(path) for path in files], "problems": [str(problem) for problem in problems]})
    else:
        for problem in problems:
            typer.echo(str(problem), err=True)
        if not problems:
            typer.echo(f"{len(files)} file{'s' if len(files) != 1 else ''} in order")
    raise typer.Exit(2 if problems else 0)
