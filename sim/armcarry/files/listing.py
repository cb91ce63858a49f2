"""What can be named: the models that are found here, and in one of them everything a script may speak of."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from armcarry.errors import InputError
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.model_files import open_model
from armcarry.files.names import accepted
from armcarry.files.places import ModelKind, known_models, models_folder
from armcarry.files.validate import read_any
from armcarry.quantities import show

#: headings of the tables
MODELS, NAMES = ("Kind", "Name", "Title"), ("What", "Name", "About it")

#: kinds of models in the order in which they are listed
MODEL_KINDS: tuple[ModelKind, ...] = get_args(ModelKind)

Row = tuple[str, str, str]


def models_here(folder: Path | None = None) -> dict[tuple[str, str], Path]:
    """Return kind and name -> YAML of every model under models/ here and of those that come with armcarry."""
    found: dict[tuple[str, str], Path] = {}
    for place in (models_folder(), (folder or Path()) / "models"):  # one's own of that name goes before
        for kind in MODEL_KINDS:
            found |= {(kind, name): place / kind / name / f"{name}.yaml" for name in known_models(kind, place)}
    return dict(sorted(found.items(), key=lambda item: (MODEL_KINDS.index(item[0][0]), item[0][1])))


def model_rows() -> list[Row]:
    """Return a row for each model: kind, name, title."""
    return [(kind, name, read_any(path).document.title) for (kind, name), path in models_here().items()]


def rows_of(wanted: str) -> list[Row]:
    """Return a row for everything in a model that a script may name: what it is, its name, a few words.

    Args:
        wanted: name of a model, of whatever kind, or the path of its YAML file.

    Raises:
        InputError: no such model; the nearest are named. Or its file is wrong.
    """
    known = models_here()
    paths = [path for (_, name), path in known.items() if name == wanted]
    if not paths and Path(wanted).suffix in (".yaml", ".yml"):
        paths = [Path(wanted)]
    if not paths:
        names = accepted(wanted[:200], {name for _, name in known}, "model")
        raise InputError(f"no model named '{wanted[:80]}'", accepted=f"{names}; or the path of its YAML file")
    return [row for path in paths for row in _rows(path)]


def _rows(path: Path) -> Iterator[Row]:
    file = open_model(read_any(path))
    match document := file.document:
        case PlatformDocument():
            yield from _platform(document, file)
        case ArmDocument():
            yield from _arm(document, file)
        case CrewDocument():
            yield from (("size", name, f"reach {show(size.reach.one_hand, 'length', 2)}")
                        for name, size in document.sizes.items())  # fmt: skip
            yield from (("posture", name, "") for name in document.postures)
            yield from _groups(document.groups)
        case HardwareDocument():
            yield from (("fastener", name, f"{one.kind}, {one.count}") for name, one in document.fasteners.items())
            yield "hold", document.hold, f"before it is carried: {', '.join(document.before_carry) or 'nothing'}"
            yield from _groups(document.groups)
        case RestraintDocument():
            for name, one in document.settings.items():
                low, high, step = (show(value, "angle", 0) for value in (one.lowest, one.highest, one.step))
                yield "setting", name, f"{low} to {high} in steps of {step}"
            yield from _groups(document.groups)
        case RulesDocument():
            yield "rules", path.stem, document.title
        case _:
            raise InputError("not a model", file=path, accepted="a platform, arm, crew, hardware, restraint or rules")


def _platform(document: PlatformDocument, file: Any) -> Iterator[Row]:
    joints = {joint.name: joint for joint in file.model().joints}
    for name, site in document.worksites.items():
        beside = {"seat": site.seat, "handrail": site.handrail, "socket": site.socket}
        yield "worksite", name, "; ".join([site.title, *(f"{key} {value}" for key, value in beside.items() if value)])
    for name, seat in document.seats.items():
        yield "seat", name, f"takes {', '.join(seat.accepts)}; {seat.bolts} bolts, {seat.connectors} connectors"
    for name, mount in document.mounts.items():
        rail = joints.get(mount.joint or "")
        travel = "stands still" if rail is None else f"{show(rail.lower, 'length')} to {show(rail.upper, 'length')}"
        yield "mount", name, travel
    for name, cart in document.carts.items():
        rail = joints[cart.joint]
        yield "cart", name, f"{show(rail.lower, 'length')} to {show(rail.upper, 'length')}"
    for name, one in document.appendages.items():
        yield "appendage", name, f"states {', '.join(one.states)}"
    yield from (("handrail", name, f"{rail.start} to {rail.end}") for name, rail in document.handrails.items())
    yield from (("zone", name, zone.frame) for name, zone in document.zones.items())
    yield from (("camera", name, camera.title) for name, camera in document.cameras.items())
    if document.airlock is not None:
        yield "airlock", "airlock", f"frame {document.airlock}"
    if document.vehicle_urdf is not None:
        yield "vehicle", "vehicle", "docked or absent"


def _arm(document: ArmDocument, file: Any) -> Iterator[Row]:
    joints = {joint.name: joint for joint in file.model().joints}
    for name in document.joints:
        kind = "angle" if joints[name].kind != "prismatic" else "length"
        low, high = (show(value, kind, 1) for value in (joints[name].lower, joints[name].upper))
        yield "joint", name, f"{low} to {high}"
    yield from (("camera", name, camera.title) for name, camera in document.cameras.items())
    yield from _groups(document.groups)


def _groups(groups: dict[str, list[str]]) -> Iterator[Row]:
    yield from (("group", name, ", ".join(patterns)) for name, patterns in groups.items())
