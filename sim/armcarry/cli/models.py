"""Commands about models from elsewhere: inspect."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armcarry.cli.base import Json, app, print_json

if TYPE_CHECKING:
    from armcarry.files.import_model import Inspection


class Unit(StrEnum):
    """Units of a bare mesh."""

    m = "m"
    cm = "cm"
    mm = "mm"
    inch = "in"
    ft = "ft"


@app.command()
def inspect(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="URDF, an arm's table (CSV, ETS), or a mesh (STL, OBJ, GLB, DAE).")
    ],
    root: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder that holds the URDF's meshes; default the one above the URDF's own."),
    ] = None,
    unit: Annotated[Unit, typer.Option(help="Unit of an STL or OBJ given as FILE; they do not say theirs.")] = Unit.m,
    tolerance: Annotated[
        str, typer.Option(metavar="LENGTH", help="How far convex pieces may stick out of their mesh.")
    ] = "10 mm",
    modified: Annotated[
        bool, typer.Option("--modified", help="A table of parameters follows the modified convention.")
    ] = False,
    most_triangles: Annotated[
        int, typer.Option(metavar="N", min=1, help="Triangles of one mesh at most; more take longer and more memory.")
    ] = 500_000,
    picture: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Where to draw; default <name>_inspected.png in --write-model.")
    ] = None,
    draw: Annotated[bool, typer.Option(help="Draw what was understood, where there is a place for it.")] = True,
    write_model: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="New model folder: YAML to fill in, URDF and convex meshes."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show what is understood of an arm or platform from elsewhere.

    Meshes are cut into convex pieces that contain them, so a clearance proven of the pieces holds for the mesh.

    Exit code: 0 understood, 2 bad input or usage, or the disk is full.
    """
    from armcarry.clearance.neighbours import always_touching
    from armcarry.errors import ArmcarryError, RecordError
    from armcarry.files.import_model import inspect_file
    from armcarry.quantities import parse
    from armcarry.views import inspected

    seen = inspect_file(file, root=root, unit=unit.value, tolerance_m=parse(tolerance, "length"),
                        most_triangles=most_triangles, modified=modified)  # fmt: skip
    touching = always_touching(seen.model) if seen.is_arm else ()
    ignored = {(pair.body_a, pair.body_b): pair.reason for pair in touching}
    files = [] if write_model is None else [seen.write(write_model, ignored)]
    if picture is None and write_model is not None:
        picture = write_model / f"{file.stem}_inspected.png"
    refused: RecordError | None = None
    if draw and picture is not None:
        try:
            files.append(inspected.draw(seen, picture))
        except RecordError as error:  # a full disk
            refused = error
        except ArmcarryError as error:
            typer.echo(f"no picture: {error}", err=True)
    if as_json:
        written = [str(path) for path in files]
        print_json({**inspected.as_dict(seen), "not_judged": list(ignored.values()), "written": written})
    else:
        _say(seen)
        _say_written(seen, ignored.values(), files, model=write_model is not None)
    if refused is not None:  # what was understood is told first
        raise refused


def _say_written(seen: Inspection, reasons: Iterable[str], files: list[Path], *, model: bool) -> None:
    """Print what is not judged, what was written, and how a scenario names a model."""
    for reason in reasons:
        typer.echo(f"not judged: {reason}")
    for path in files:
        typer.echo(f"written: {path}")
    if model:
        key = "arm" if seen.is_arm else "platform"
        typer.echo(f"In a scenario here write: {key}: {files[0].as_posix()}")


def _say(seen: Inspection) -> None:
    """Print what was understood: joints, meshes, notes."""
    from armcarry.views import inspected
    from armcarry.views.terminal import Console

    console = Console()
    if seen.is_arm:
        title = f"{seen.name}: an arm of {len(seen.chain)} joints from {seen.model.root} to {seen.tip}"
    else:
        title = f"{seen.name}: a platform, root {seen.model.root} ({len(seen.chain)} joints in a row; an arm has 5)"
    typer.echo(f"{title}; {len(seen.model.links)} links, {len(seen.model.bodies)} convex bodies")
    if seen.model.movable():
        console.table("Joints", inspected.JOINT_HEADINGS, inspected.joint_rows(seen))
    if seen.imported.rows:
        console.table("Meshes", inspected.MESH_HEADINGS, inspected.mesh_rows(seen))
        typer.echo(f"Largest error: pieces stick out by at most {1e3 * seen.error_m:.1f} mm, always outward")
    for note in seen.imported.notes:
        typer.echo(f"note: {note}")
