"""Commands that choose an order: schedule, replan."""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armcarry.cli.base import Json, RunFolder, ScenarioFile, app, may_write, print_json, slip_of

if TYPE_CHECKING:
    from armcarry.scheduling.flown import Flown
    from armcarry.scheduling.proven import Proven
    from armcarry.scheduling.turn import Turn
    from armcarry.views.terminal import Console


class Goal(StrEnum):
    """What is made best."""

    shortest = "shortest"
    worth = "worth"
    slack = "slack"


@app.command()
def schedule(
    scenario: ScenarioFile,
    out: Annotated[Path, typer.Option(metavar="FILE", help="New scenario file to write.")],
    goal: Annotated[
        Goal,
        typer.Option("--for", help="The earliest end, the most worth within the limits, or the most time to spare "
                     "before limits and latest ends."),
    ] = Goal.shortest,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same order.", min=0)] = 1,
    work: Annotated[
        float, typer.Option(metavar="N", help="How hard to look at most, in units of the solver's work.", min=1.0)
    ] = 10.0,
    overwrite: Annotated[bool, typer.Option(help="Write over a file that is there.")] = False,
    as_json: Json = False,
) -> None:
    """Find the best order of a day.

    What may vary stands under 'may_vary' of the day. The order is solved for, flown, its times corrected, and solved
    for again until they agree; then it is rehearsed with every check. The file gets it, NAME.schedule.json beside it
    what was found (needs pip install 'armcarry[plan]').

    Exit code: 0 found, 1 the best order fails a check that the script does not expect to fail, 2 bad input or usage.
    """
    from armcarry.scheduling.model import cp_sat
    from armcarry.scheduling.proven import best_proven, write_best
    from armcarry.scheduling.solve import Effort
    from armcarry.views.terminal import Console

    may_write(out, overwrite)
    cp_sat()
    console = Console(quiet=as_json)
    console.ready()
    with console.progress() as tell:
        found = best_proven(scenario, goal.value, Effort(seed, work), tell)
    told = write_best(found, out)
    if as_json:
        print_json({**found.as_dict(), "written": [str(out), str(told)]})
    else:
        _show(console, found)
        typer.echo(f"Written to {out}, what was found to {told}")
    raise typer.Exit(1 if found.against else 0)


@app.command()
def replan(
    run: RunFolder,
    at: Annotated[str, typer.Option(metavar="TIME", help="The instant, from the start of the day, as 2:35.")],
    late: Annotated[
        list[str] | None, typer.Option(metavar="STEP=+70min", help="A step takes longer. Repeatable.")
    ] = None,
    failed: Annotated[
        list[str] | None, typer.Option(metavar="STEP", help="A step is tried and fails. Repeatable.")
    ] = None,
    unable: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="A crewmember who can only go home. Repeatable.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="New folder for a page of all side by side and a folder a way: its script, "
                     "procedures and cards from then. From RUN/views/ways the run's page and report take them too."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Find ways on when a day goes wrong.

    Home now comes first, then up to three others, the best first: each with what it keeps, drops, reorders and hands
    over, when it ends and what is left of each limit. Each is flown from the instant on, side by side: clearances and
    ways home are proven, ways of the arm that begin elsewhere found. What failed in the run already is told apart
    (needs pip install 'armcarry[plan]').

    Exit code: 0 a way on besides home keeps every limit and fails nothing new, 1 none does, 2 bad input or usage.
    """
    from armcarry.quantities import clock, parse
    from armcarry.record.beside import cores
    from armcarry.record.store import load
    from armcarry.scheduling.model import cp_sat
    from armcarry.scheduling.replan import ways_on
    from armcarry.scheduling.turn import Turn
    from armcarry.views.terminal import Console
    from armcarry.views.ways_chart import write_ways
    from armcarry.views.ways_on import show_ways

    if out is not None:
        may_write(out, overwrite=None, makes=run / "views")
    cp_sat()
    console = Console(quiet=as_json)
    record, known = load(run)
    turn = Turn(parse(at, "time"), dict(map(slip_of, late or [])), tuple(failed or ()), tuple(unable or ()))
    with console.progress() as tell:
        tell(f"looking for ways on from {clock(turn.at_s)}", 0.1)
        files = partial(_kept, since_s=turn.at_s) if out is not None else None
        found = ways_on(record, turn, known=known, processes=cores(), files=files)
    written = [] if out is None or record.plan is None else write_ways(out, found, record.plan, turn.at_s)
    if as_json:
        print_json({"at_s": turn.at_s, "ways": [way.as_dict() for way in found], "written": list(map(str, written))})
    else:
        show_ways(console, found, turn.at_s)
        if out is not None:
            typer.echo(f"Side by side: {out}/ways.html")
        for folder in written:
            again = f"armcarry rehearse {folder}/scenario/scenario.yaml{_again(turn)}"
            typer.echo(f"Written to {folder}; all of it is judged by: {again}")
    raise typer.Exit(0 if any(way.holds for way in found[1:]) else 1)


def _kept(flown: Flown, since_s: float) -> dict[str, bytes]:
    from armcarry.views.brief.rest import rest_files

    return rest_files(flown, since_s)


def _again(turn: Turn) -> str:
    """Return the options with which a way on is rehearsed as it was flown."""
    late = [f" --slip {name}=+{seconds:g}s" for name, seconds in turn.late_s.items()]
    return "".join((*late, *(f" --fail {name}" for name in turn.failed)))


def _show(console: Console, found: Proven) -> None:
    from armcarry.quantities import clock

    best = found.best
    ends = best.after.schedule.end_s
    bound = clock(best.bound_s)
    sure = "no order ends earlier" if best.solved.optimal and best.agrees else f"no order ends before {bound}"
    typer.echo(f"As written the day ends at {clock(best.before.schedule.end_s)}, now at {clock(ends)}: {sure}, "
               "by the times that were flown")  # fmt: skip
    for who, words in (("moved", ", ".join(best.moved)), ("left out", ", ".join(best.change.left_out))):
        if words:
            typer.echo(f"  {who}: {words}")
    for name, (one, other) in best.change.handed.items():
        typer.echo(f"  {name}: {other} instead of {one}")
    for going in best.change.goings:
        typer.echo(f"  {going.who} goes to {going.to} before {going.before}")
    rows = [(one.name, clock(best.solved.at(one.name).start_s), one.after, one.why) for one in best.solved.chain]
    console.table("what binds", ("step", "begins", "after", "because of"), rows)
    if not best.agrees:
        typer.echo(f"solved for {clock(best.solved.end_s)}; it does not agree with what was flown: "
                   f"{best.rounds[-1].against or 'waits that the script does not state'}")  # fmt: skip
    for words in found.against[:5]:
        typer.echo(f"  {words}")
