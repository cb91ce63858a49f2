"""The command line: parse, call, print, exit code. Heavy libraries load in the command that needs them."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from armcarry import __version__
from armcarry.errors import ArmcarryError

app = typer.Typer(
    name="armcarry",
    help="Rehearse carrying a suited crewmember on a long manipulator.\n\n"
    "A rehearsal aid: results support, and do not replace, analysis and approval by the responsible robotics, "
    "safety and medical authorities and local rules. Never use it to command hardware.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document to standard output, nothing else.")]


class Place(StrEnum):
    """What stays put while the restraint's settings are searched."""

    stand = "stand"
    tip = "tip"
    socket = "socket"


class Between(StrEnum):
    """What is assumed between two rows of a log."""

    linear = "linear"
    cubic = "cubic"


def _version(value: bool) -> None:
    if value:
        typer.echo(f"armcarry {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    ctx: typer.Context,
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Show the traceback of an error.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    ctx.obj = {"verbose": verbose}


@app.command()
def rehearse(
    scenario: Annotated[Path, typer.Argument(help="The script, a YAML file.")],
    out: Annotated[Path | None, typer.Option(help="Run folder to write; default runs/<scenario name>.")] = None,
    overwrite: Annotated[bool, typer.Option(help="Put the new run in place of an old one at --out.")] = False,
    views: Annotated[bool, typer.Option(help="Write pictures and plots into the run folder.")] = True,
    slip: Annotated[
        list[str] | None, typer.Option(help="A step of the day takes longer: STEP=+20min. May be given again.")
    ] = None,
    fail: Annotated[
        list[str] | None, typer.Option(help="A step of the day is tried and fails; its fallback follows.")
    ] = None,
    motion: Annotated[
        Path | None,
        typer.Option(help="Logged joint angles, CSV or Parquet: the script gives the scene, the log the motion."),
    ] = None,
    pieces: Annotated[Between, typer.Option(help="How joints move between the rows of a log.")] = Between.linear,
    leave_out: Annotated[
        bool, typer.Option("--leave-out", help="Leave out rows of a log that cannot be used, and list them.")
    ] = False,
    second_opinion: Annotated[
        bool, typer.Option("--second-opinion", help="Ask other engines about the tightest pairs.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Compute a run, check it, write the run folder and print the findings.

    Exit code: 0 nothing failed, 1 a finding failed, 2 bad input or usage.
    """
    from armcarry.clearance.ready import make_ready
    from armcarry.files.motion_log import read_motion_log
    from armcarry.record.store import save
    from armcarry.rehearsal import judge
    from armcarry.rehearsal import rehearse as compute
    from armcarry.views.terminal import Console

    make_ready(lambda words: typer.echo(words, err=True))
    console = Console(quiet=as_json)
    with console.progress() as tell:
        log = None if motion is None else read_motion_log(motion, leave_out=leave_out)
        record = compute(
            scenario, tell, slip=dict(map(_slip, slip or [])), failed=fail or [], motion=log, pieces=pieces.value
        )
        if second_opinion:
            from armcarry.record.opinions import with_opinions

            tell("asking other engines", 0.9)
            record = with_opinions(record)
        tell("checking", 0.95)
        findings = judge(record)
    folder, overwrite = _run_folder(scenario, out, overwrite)
    summary = save(record, findings, folder, overwrite=overwrite)
    if views:
        from armcarry.views.rehearsed import write_views

        with console.progress() as tell:
            written = write_views(record, findings, folder / "views", tell)
        if written[-1].suffix == ".txt":  # the reason why there are no pictures
            typer.echo(written[-1].read_text(encoding="utf-8").strip(), err=True)
    if as_json:
        _print_json({**summary, "folder": str(folder), "findings": [finding.as_dict() for finding in findings]})
    else:
        console.findings(record, findings, summary, folder)
        console.slip(record)
    raise typer.Exit(1 if summary["verdict"] == "fail" else 0)


def _slip(text: str) -> tuple[str, float]:
    """Return step and seconds of ``STEP=+20min``."""
    from armcarry.errors import InputError
    from armcarry.quantities import parse

    step, sign, by = text.partition("=")
    if not (step and sign):
        raise InputError("not a slip", found=text, accepted="STEP=+20min")
    return step, parse(by, "time")


def _run_folder(scenario: Path, out: Path | None, overwrite: bool) -> tuple[Path, bool]:
    """Return where to write: what was asked for, or runs/<name>, replacing an earlier run of that name."""
    if out is not None:
        return out, overwrite
    return Path("runs") / scenario.stem, True


@app.command()
def validate(
    files: Annotated[list[Path], typer.Argument(help="YAML or URDF files to check.")],
    as_json: Json = False,
) -> None:
    """Check files only: scenarios with all they name, model documents, URDF."""
    from armcarry.files.load import validate_files

    problems = validate_files(files)
    if as_json:
        _print_json({"files": [str(path) for path in files], "problems": [str(problem) for problem in problems]})
    else:
        for problem in problems:
            typer.echo(str(problem), err=True)
        if not problems:
            typer.echo(f"{len(files)} file{'s' if len(files) != 1 else ''} in order")
    raise typer.Exit(2 if problems else 0)


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
        _print_json(found.as_dict())
    else:
        Console().table(found.message, HEADINGS, found.rows())
    raise typer.Exit(0 if found.choices else 1)


class PaperSize(StrEnum):
    """Sheets the printed parts of a briefing fit on."""

    a4 = "A4"
    letter = "Letter"


@app.command()
def brief(
    run: Annotated[Path, typer.Argument(help="A run folder that rehearse wrote.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default views/ in the run folder.")] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(help="Only this: page, gltf, movie, report, slides or cards. May be given again."),
    ] = None,
    paper: Annotated[PaperSize, typer.Option(help="Sheet of report and step cards.")] = PaperSize.a4,
    cut: Annotated[
        list[str] | None,
        typer.Option(help="A stretch of the movie: '400 s to 480 s, 20x, ev1' (from, to, speed, camera). Repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Write web page, glTF, movie, pictures, report, slides and step cards of a run.

    Exit code: 0 written, 2 bad input, or a part that was asked for by name could not be made.
    """
    from armcarry.record.store import load
    from armcarry.views.brief.write import check_parts, write_briefing
    from armcarry.views.movie import read_cut
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    parts, cuts = check_parts(part), tuple(map(read_cut, cut or []))
    record, findings = load(run)
    with console.progress() as tell:
        written = write_briefing(
            record, findings, out or run / "views", parts=parts, paper=paper.value, cuts=cuts or None, progress=tell
        )
    if as_json:
        _print_json({"files": [str(path) for path in written.files], "left_out": written.left_out})
    else:
        for path in written.files:
            typer.echo(str(path))
        for name, why in written.left_out.items():
            typer.echo(f"left out: {name}: {why}", err=True)
    raise typer.Exit(2 if part and written.left_out else 0)


@app.command()
def play(
    run: Annotated[Path, typer.Argument(help="A run folder, or a script that is rehearsed first.")],
    over: Annotated[
        Path | None, typer.Option(help="A second run folder or script, drawn over the first as a ghost.")
    ] = None,
) -> None:
    """Open a run in the player window; ? shows all keys.

    Exit code: 0 the window was closed, 2 bad input, a damaged run folder, or no window can be opened here.
    """
    from armcarry.views.player import ready
    from armcarry.views.terminal import Console

    with Console().progress() as tell:
        show = ready(run, over, tell)
    raise typer.Exit(show())


class Alignment(StrEnum):
    """How two runs are laid together in time."""

    start = "start"
    best = "best"


@app.command()
def compare(
    first: Annotated[Path, typer.Argument(help="A run folder, the plan.")],
    second: Annotated[Path, typer.Argument(help="Another run folder, or a log of joint angles (CSV or Parquet).")],
    align: Annotated[
        Alignment, typer.Option(help="In time: the starts together, or shifted until the joints deviate least.")
    ] = Alignment.start,
    pieces: Annotated[Between, typer.Option(help="How joints move between the rows of a log.")] = Between.linear,
    leave_out: Annotated[
        bool, typer.Option("--leave-out", help="Leave out rows of a log that cannot be used, and list them.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Show how far a second run or a log is from a first: joints, tip, clearances, stops and rate limits.

    Exit code: 0 the second fails nothing that the first does not, 1 it does, 2 bad input or usage.
    """
    from armcarry.record.compare import compare as side_by_side
    from armcarry.record.store import load
    from armcarry.rehearsal import second_run
    from armcarry.views.compared import compared
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    ours, found = load(first)
    with console.progress() as tell:
        theirs, found_too = second_run(first, second, tell, pieces=pieces.value, leave_out=leave_out)
    result = side_by_side(ours, theirs, align=align.value, findings=(found, found_too))
    if as_json:
        _print_json(result.as_dict())
    else:
        for title, headings, rows in compared(result):
            if rows:
                console.table(title, headings, rows)
            else:
                typer.echo(title)
    raise typer.Exit(1 if result.worse else 0)


def _print_json(value: dict[str, Any]) -> None:
    typer.echo(json.dumps(value, ensure_ascii=False, allow_nan=False))


def main() -> None:
    """Run the command line; errors of ours become one message and exit code 2."""
    try:
        app(standalone_mode=True)
    except ArmcarryError as error:
        if "-v" in sys.argv or "--verbose" in sys.argv:
            raise
        typer.echo(f"armcarry: {error}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("armcarry: stopped", err=True)
        sys.exit(130)
