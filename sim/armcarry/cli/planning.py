"""Commands that look for a way, or at many runs: restraint, route, stations, disperse."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, ScenarioFile, app, may_write, print_json


class Place(StrEnum):
    """What stays put while the restraint's settings are searched."""

    stand = "stand"
    tip = "tip"
    socket = "socket"


@app.command()
def restraint(
    scenario: ScenarioFile,
    worksite: Annotated[str, typer.Argument(metavar="WORKSITE", help="Worksite of its platform, by name.")],
    crew: Annotated[
        str | None, typer.Option(metavar="NAME", help="Crewmember; default the rider, else the first.")
    ] = None,
    place: Annotated[
        Place | None,
        typer.Option(
            help="What stays put: plate on its stand, tip of the arm, or socket on the structure; default socket where "
            "the restraint is not on the arm and the worksite has one, else stand."
        ),
    ] = None,
    which: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Restraint; default the one that the crewmember stands in, else the one on the arm."
        ),
    ] = None,
    limit: Annotated[int, typer.Option(metavar="N", help="How many choices to show.", min=1)] = 10,
    as_json: Json = False,
) -> None:
    """Find restraint settings with the work in reach and sight.

    Each is told with its posture and margins, the best first.

    Exit code: 0 found, 1 there are none (the message says what prevents it), 2 bad input or usage.
    """
    from armcarry.planning.choices import HEADINGS
    from armcarry.planning.restraint import restraint_table
    from armcarry.views.terminal import Console

    found = restraint_table(
        scenario, worksite, crew=crew, place=None if place is None else place.value, restraint=which, limit=limit
    )
    if as_json:
        print_json(found.as_dict())
    else:
        Console().table(found.message, HEADINGS, found.rows())
    raise typer.Exit(0 if found.choices else 1)


@app.command()
def route(
    scenario: Annotated[Path, typer.Argument(metavar="SCENARIO", help="Scenario file, YAML; it stays as it is.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="New scenario file to write.")],
    carry: Annotated[str | None, typer.Option(metavar="NAME", help="Only this carry.")] = None,
    seed: Annotated[
        int, typer.Option(metavar="N", help="Start of the search; the same seed gives the same way.", min=0)
    ] = 1,
    overwrite: Annotated[bool, typer.Option(help="Write over a file that is there.")] = False,
    as_json: Json = False,
) -> None:
    """Find free ways with a proven margin that pass every check.

    They are written as a scenario and rehearsed; where a check fails because of them, two more seeds are tried. Moves
    with relaxed clearances, pauses and worksites stay as they are.

    Exit code: 0 found, 1 a stretch has no way or a check fails that the script passes, 2 bad input or usage.
    """
    from armcarry.planning.left_open import settle
    from armcarry.planning.passing import write_passing
    from armcarry.planning.route import HEADINGS
    from armcarry.rehearsal import judge, rehearse
    from armcarry.scene.build import build_scene
    from armcarry.views.terminal import Console

    may_write(out, overwrite)
    scene = build_scene(settle(scenario))
    console = Console(quiet=as_json)
    console.ready()
    with console.progress() as tell:
        routed = write_passing(
            scene, scenario, out, lambda path, say: judge(rehearse(path, say)), carry=carry, seed=seed, tell=tell
        )
    found, failed, caused = routed.stretches, routed.failed, routed.caused
    if as_json:
        print_json({"stretches": [stretch.as_dict() for stretch in found], "written": str(out), "new": routed.new,
                    "seed": routed.seed, "failed": [finding.as_dict() for finding in failed],
                    "caused": [finding.as_dict() for finding in caused]})  # fmt: skip
    else:
        console.table(f"{routed.new} of {len(found)} stretches written anew", HEADINGS, [s.row() for s in found])
        for stretch in found:
            if stretch.reason:
                typer.echo(f"{stretch.carry}, {stretch.title}: {stretch.reason}")
        some = "1 finding fails" if len(failed) == 1 else f"{len(failed)} findings fail"
        new = ", all of them in the script too" if failed and not caused else f", {len(caused)} not in the script"
        typer.echo(f"{out}: {some + new if failed else 'no finding fails'}")
        for finding in (caused or failed)[:5]:
            typer.echo(f"  {finding.check}: {finding.message}")
    raise typer.Exit(1 if caused or not routed.complete else 0)


TlsFile = Annotated[
    Path | None,
    typer.Option(metavar="PEM", help="Authority, certificate or key by which --cluster is known; all three."),
]


@app.command()
def disperse(
    scenario: ScenarioFile,
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder of the campaign; after a stop the same command goes on there.")
    ],
    runs: Annotated[int, typer.Option(metavar="N", help="How many runs.", min=1)] = 100,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed draws the same runs.", min=0)] = 1,
    workers: Annotated[
        int | None,
        typer.Option(metavar="N", help="Processes on this machine; default up to one a core if Dask is there.", min=1),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Dask scheduler that runs them instead, as tls://host:8786."),
    ] = None,
    tls_ca: TlsFile = None,
    tls_cert: TlsFile = None,
    tls_key: TlsFile = None,
    views: Annotated[bool, typer.Option(help="Draw plots into the folder.")] = True,
    as_json: Json = False,
) -> None:
    """Prove many runs that differ by small random errors.

    Errors and their spread stand under 'dispersion' in the rules of the scenario. The folder gets tables, plots and
    the worst run, to be played.

    Exit code: 0 every run keeps what is required, 1 some do not, 2 bad input or usage.
    """
    from armcarry.dispersion.campaign import disperse as compute
    from armcarry.dispersion.campaign import perturbed_record
    from armcarry.dispersion.engine import tls_of, usual_workers
    from armcarry.dispersion.results import HEADINGS, WEIGHT_HEADINGS, Results, write_tables
    from armcarry.record.store import save
    from armcarry.views.terminal import Console

    tls = tls_of(tls_ca, tls_cert, tls_key, cluster)
    console = Console(quiet=as_json)
    console.ready()
    with console.progress() as tell:
        workers = workers or usual_workers(runs)
        campaign = compute(scenario, runs, seed, out, workers=workers, cluster=cluster, tls=tls, progress=tell)
        results = Results(campaign)
        write_tables(results, out)
        tell("judging the worst run", 0.96)
        record, findings = perturbed_record(campaign, campaign.worst)
        save(record, findings, out / "worst", overwrite=True)
    if views and not results.nothing_varies:
        from armcarry.views.dispersion_plots import write_dispersion_plots

        write_dispersion_plots(results, out / "plots")
    if as_json:
        print_json({**results.as_dict(), "folder": str(out)})
    else:
        if not results.nothing_varies:
            console.table("margins beyond what each pair asks, m: the ten with least", HEADINGS, results.rows())
            console.table("what the least margin of a run goes with", WEIGHT_HEADINGS, results.weight_rows())
        for line in results.lines:
            typer.echo(line)
        if campaign.taken_up:
            typer.echo(f"{campaign.taken_up} runs were done before and taken up")
        typer.echo(f"worst run: armcarry play {out / 'worst'}")
    raise typer.Exit(1 if results.overall.short else 0)


@app.command()
def stations(
    scenario: ScenarioFile,
    worksite: Annotated[
        list[str] | None,
        typer.Argument(metavar="WORKSITE", help="Worksites in the order of the visits; default all of the platform."),
    ] = None,
    step: Annotated[str, typer.Option(metavar="LENGTH", help="Distance between stations on the rail.")] = "0.5 m",
    picture: Annotated[Path | None, typer.Option(metavar="PNG", help="Map to draw.")] = None,
    as_json: Json = False,
) -> None:
    """Find where the arm's base must stand to reach worksites.

    Told are trolley stations and mounts with their margins, and the fewest moves of the base.

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
