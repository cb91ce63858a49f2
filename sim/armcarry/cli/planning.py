"""Commands that look for a way, or at many runs: restraint, route, stations, disperse."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


class Place(StrEnum):
    """What stays put while the restraint's settings are searched."""

    stand = "stand"
    tip = "tip"
    socket = "socket"


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
        print_json(found.as_dict())
    else:
        Console().table(found.message, HEADINGS, found.rows())
    raise typer.Exit(0 if found.choices else 1)


@app.command()
def route(
    scenario: Annotated[Path, typer.Argument(help="The script, a YAML file.")],
    out: Annotated[Path, typer.Option(help="New scenario file to write; the script itself stays as it is.")],
    carry: Annotated[str | None, typer.Option(help="Only this carry.")] = None,
    seed: Annotated[int, typer.Option(help="The same seed gives the same routes.", min=0)] = 1,
    as_json: Json = False,
) -> None:
    """Fly the free stretches of carries with the largest proven margin; write the scenario and rehearse it.

    Moves with relaxations, holds and switches stay, and where a stretch starts and ends.
    Exit code: 0 the written scenario passes, 1 a stretch has no way or a check fails, 2 bad input or usage.
    """
    from armcarry.clearance.ready import make_ready
    from armcarry.files.load import load_scenario
    from armcarry.planning.route import HEADINGS, find_routes, write_routes
    from armcarry.record.finding import Verdict
    from armcarry.rehearsal import judge
    from armcarry.rehearsal import rehearse as compute
    from armcarry.scene.build import build_scene
    from armcarry.views.terminal import Console

    scene = build_scene(load_scenario(scenario))
    make_ready(lambda words: typer.echo(words, err=True))
    console = Console(quiet=as_json)
    with console.progress() as tell:
        found = find_routes(scene, carry=carry, seed=seed, tell=lambda words, share: tell(words, 0.5 * share))
        written = write_routes(found, scenario, out)
        record = compute(out, lambda words, share: tell(f"checking: {words}", 0.5 + 0.45 * share))
        failed = [finding for finding in judge(record) if finding.verdict is Verdict.FAIL]
    if as_json:
        print_json({"stretches": [stretch.as_dict() for stretch in found], "written": str(out), "new": written,
                    "failed": [finding.as_dict() for finding in failed]})  # fmt: skip
    else:
        console.table(f"{written} of {len(found)} stretches written anew", HEADINGS, [s.row() for s in found])
        some = "1 finding fails" if len(failed) == 1 else f"{len(failed)} findings fail"
        typer.echo(f"{out}: {some if failed else 'no finding fails'}")
        for finding in failed[:5]:
            typer.echo(f"  {finding.check}: {finding.message}")
    none = any(stretch.way is None or not stretch.way.free for stretch in found)
    raise typer.Exit(1 if failed or none else 0)


@app.command()
def disperse(
    scenario: Annotated[Path, typer.Argument(help="The script, a YAML file; its rules declare the distributions.")],
    out: Annotated[Path, typer.Option(help="Campaign folder; the same command goes on from what is in it.")],
    runs: Annotated[int, typer.Option(help="How many runs.", min=1)] = 100,
    seed: Annotated[int, typer.Option(help="The same seed gives the same runs.", min=0)] = 1,
    workers: Annotated[
        int | None, typer.Option(help="Processes of this machine; default one a core where Dask is installed.", min=1)
    ] = None,
    cluster: Annotated[str | None, typer.Option(help="Address of a Dask scheduler instead, tcp://host:8786.")] = None,
    views: Annotated[bool, typer.Option(help="Write plots into the campaign folder.")] = True,
    as_json: Json = False,
) -> None:
    """Prove many runs that differ as the rules declare; save tables, plots and the worst run, to be played.

    Exit code: 0 every run keeps what is required, 1 some do not, 2 bad input or usage.
    """
    from armcarry.clearance.ready import make_ready
    from armcarry.dispersion.campaign import disperse as compute
    from armcarry.dispersion.campaign import perturbed_record
    from armcarry.dispersion.engine import usual_workers
    from armcarry.dispersion.results import HEADINGS, WEIGHT_HEADINGS, Results, write_tables
    from armcarry.record.store import save
    from armcarry.views.terminal import Console

    make_ready(lambda words: typer.echo(words, err=True))
    console = Console(quiet=as_json)
    with console.progress() as tell:
        workers = workers or usual_workers()
        campaign = compute(scenario, runs, seed, out, workers=workers, cluster=cluster, progress=tell)
        results = Results(campaign)
        write_tables(results, out)
        tell("saving the worst run", 0.96)
        record, findings = perturbed_record(campaign, campaign.worst)
        save(record, findings, out / "worst", overwrite=True)
    if views:
        from armcarry.views.dispersion_plots import write_dispersion_plots

        write_dispersion_plots(results, out / "plots")
    if as_json:
        print_json({**results.as_dict(), "folder": str(out)})
    else:
        console.table("pairs that come nearest to what is required", HEADINGS, results.rows())
        console.table("what the least margin depends on", WEIGHT_HEADINGS, results.weight_rows())
        for line in results.lines:
            typer.echo(line)
        if campaign.taken_up:
            typer.echo(f"{campaign.taken_up} runs were done before and taken up")
        typer.echo(f"worst run: armcarry play {out / 'worst'}")
    raise typer.Exit(1 if results.overall.short else 0)


@app.command()
def stations(
    scenario: Annotated[Path, typer.Argument(help="The script, a YAML file.")],
    worksite: Annotated[
        list[str] | None, typer.Argument(help="Worksites in the order they are visited; default all of the platform.")
    ] = None,
    step: Annotated[str, typer.Option(help="Distance of stations along the rail.")] = "0.5 m",
    picture: Annotated[Path | None, typer.Option(help="Write a map as PNG.")] = None,
    as_json: Json = False,
) -> None:
    """Find the trolley stations and mounts from which worksites are reached with margin, and the fewest moves.

    Exit code: 0 every worksite is reached from somewhere, 1 one is not, 2 bad input or usage.
    """
    from armcarry.planning.stations import HEADINGS, station_map
    from armcarry.quantities import parse
    from armcarry.views.terminal import Console

    console = Console(quiet=as_json)
    with console.progress() as tell:
        found = station_map(scenario, worksite or (), parse(step, "length"), tell)
    if picture is not None:
        from armcarry.views.stations_map import write_stations_map

        write_stations_map(found, picture)
    if as_json:
        print_json(found.as_dict())
    else:
        console.table(found.message, HEADINGS, found.rows())
        if picture is not None:
            typer.echo(f"Map written to {picture}")
    raise typer.Exit(1 if found.unreached else 0)
