"""Commands to begin with: what comes along, new files to fill in, and what a key means."""

from __future__ import annotations

from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


class Kind(StrEnum):
    """Kinds of document."""

    scenario = "scenario"
    arm = "arm"
    platform = "platform"
    crew = "crew"
    hardware = "hardware"
    restraint = "restraint"
    rules = "rules"


@app.command()
def new(
    kind: Annotated[
        Kind, typer.Argument(metavar="KIND", help="scenario, arm, platform, crew, hardware, restraint, rules.")
    ],
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the new file: lower case, digits, underscores.")],
    to: Annotated[Path, typer.Option(metavar="DIR", help="Folder of your scenarios and of models/.")] = Path(),
    platform: Annotated[str | None, typer.Option(metavar="NAME", help="Platform a new scenario names.")] = None,
    arm: Annotated[str | None, typer.Option(metavar="NAME", help="Arm a new scenario names.")] = None,
    rules: Annotated[str | None, typer.Option(metavar="NAME", help="Rules a new scenario names.")] = None,
    as_json: Json = False,
) -> None:
    """Write a new commented file that can be rehearsed.

    A model goes to models/, where scenarios of the folder find it by its name. Every number is an assumption.

    Exit code: 0 written, 2 something stands there already, or bad usage.
    """
    from armcarry.errors import InputError
    from armcarry.files.starts import write_new

    named = {key: value for key, value in (("platform", platform), ("arm", arm), ("rules", rules)) if value is not None}
    if named and kind != Kind.scenario:
        raise InputError(f"--{next(iter(named))} goes with a scenario", found=kind.value, accepted="scenario")
    files = write_new(kind.value, name, to, named)
    if as_json:
        print_json({"written": [str(path) for path in files]})
        return
    for path in files:
        typer.echo(f"written: {path}")
    after = f"armcarry rehearse {files[0]}" if kind == Kind.scenario else f"armcarry validate {files[0]}"
    typer.echo(f"Now type: {after}")


@app.command()
def examples(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Example to copy; left out, all are listed.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder to copy into, with all it needs; default ./NAME.")
    ] = None,
    as_json: Json = False,
) -> None:
    """List the scenarios that come along, or copy one.

    A copy has every model, log and schema it needs, to read and to change.

    Exit code: 0 listed or copied, 2 no such example, or bad usage.
    """
    from armcarry.files.examples import copy_example
    from armcarry.files.examples import examples as find
    from armcarry.views.terminal import Console

    if name is not None:
        files = copy_example(name, to or Path(name))
        if as_json:
            print_json({"written": [str(path) for path in files]})
            return
        logs = "".join(f" --motion {path}" for path in files if path.suffix == ".csv")
        typer.echo(f"written: {files[0]} and {len(files) - 1} files it needs")
        typer.echo(f"Now type: armcarry rehearse {files[0]}{logs}")
        return
    found = find()
    if as_json:
        print_json({"examples": [one.as_dict() for one in found]})
        return
    rows: list[tuple[str, ...]] = [(one.name, one.expected, one.purpose) for one in found]
    Console().table("Examples", ("Name", "Expected", "Purpose"), rows)
    typer.echo("armcarry rehearse NAME runs one; armcarry examples NAME copies it to work on")


@app.command("list")
def list_names(
    model: Annotated[
        str | None, typer.Argument(metavar="[MODEL]", help="Model by name, or its YAML file; left out, all models.")
    ] = None,
    as_json: Json = False,
) -> None:
    """List the models, or all that a script may name in one.

    Of a platform: worksites, seats, mounts, carts, appendages with their states, handrails. Of an arm its joints, of
    crew sizes and postures, of hardware fasteners, of a restraint its settings.

    Exit code: 0 listed, 2 no such model, or bad usage.
    """
    from armcarry.files.listing import MODELS, NAMES, model_rows, rows_of
    from armcarry.views.terminal import Console

    rows = model_rows() if model is None else rows_of(model)
    headings = MODELS if model is None else NAMES
    if as_json:
        print_json({"names": [dict(zip((head.lower() for head in headings), row, strict=True)) for row in rows]})
        return
    Console().table("Models" if model is None else f"Names of {model}", headings, list(rows))


@app.command()
def explain(
    key: Annotated[
        str, typer.Argument(metavar="KEY", help="Key of a document, or its path: rate, moves.rate, arm.base.")
    ],
    as_json: Json = False,
) -> None:
    """Say what a key of a document means.

    Unit, range, default and an example too. All keys: shared/reference.

    Exit code: 0 explained, 2 no such key, or bad usage.
    """
    from armcarry.files.reference import explain as find

    found = find(key)
    if as_json:
        print_json({"keys": [{**asdict(one), "path": one.spelled} for one in found]})
        return
    told: dict[tuple[str, ...], list[str]] = {}
    for one in found:
        default = "it must be there" if one.required else one.default or "none"
        lines = [one.meaning, *([f"one of: {one.takes}" if ", " in one.takes else one.takes] if one.takes else [])]
        lines += [f"default: {default}", f"example: {one.example}"]
        lines += [f"holds: {', '.join(one.holds)}"] if one.holds else []
        told.setdefault(tuple(lines), []).append(f"{one.document}: {one.spelled}")
    for words, places in told.items():
        typer.echo("\n".join([*places, *(f"  {line}" for line in words)]))


@app.command()
def expand(
    scenario: Annotated[Path, typer.Argument(metavar="SCENARIO", help="Scenario file, or the name of an example.")],
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it here; left out, it is printed.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write a scenario with all that is by intent spelled out.

    Each stretch says which line of the scenario it came from. What the scenario leaves open (start of the arm, place of
    its base, settings of the restraint, ways) is found first where it is not yet, and kept beside the scenario.

    Exit code: 0 written, 2 bad input or usage.
    """
    from armcarry.files.atomic import write_text_atomic
    from armcarry.files.expand_text import expanded_text
    from armcarry.planning.left_open import settle
    from armcarry.views.terminal import Console

    with Console(quiet=as_json).progress() as tell:
        text = expanded_text(settle(scenario, tell))
    if out is not None:
        write_text_atomic(out, text)
    if as_json:
        print_json({"scenario": text, "written": None if out is None else str(out)})
    else:
        typer.echo(text if out is None else f"written: {out}", nl=out is not None)
