"""Files from elsewhere to a model folder of ours: an arm from a URDF, a platform from a URDF or a mesh."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from armcarry.errors import InputError
from armcarry.files.arm_table import SUFFIXES as TABLES
from armcarry.files.arm_table import read_table, urdf_of
from armcarry.files.import_mesh import READ, UNITS_M, import_mesh
from armcarry.files.import_urdf import ImportedUrdf, import_urdf, obj_text
from armcarry.files.meshes import MAX_TRIANGLES, SUFFIXES
from armcarry.files.together import write_together
from armcarry.files.urdf import read_urdf
from armcarry.files.yaml_write import yaml_document
from armcarry.geometry.model import Joint, Model
from armcarry.quantities import LARGEST, write

#: an arm has at least this many movable joints from base to tip
ARM_JOINTS = 5
#: shares of a URDF's own rate that a document written here begins with; assumptions, to be replaced
RATE_SHARE = {"free": 0.2, "rider": 0.1, "rider_and_hardware": 0.05}
#: rate where the URDF gives none, rad/s or m/s; an assumption
PLAIN_RATE = 0.5
#: what was passed over or taken otherwise, so many at most, is written into the document's notes; inspect tells all
_NOTES = 40


@dataclass(frozen=True, eq=False)
class Inspection:
    """What was understood of a file.

    Attributes:
        name: of the robot or mesh.
        model: links, joints and convex bodies, as the strict reader gives them.
        chain: movable joints from the root to the far end of the longest chain.
        tip: link at that end.
        imported: URDF text, meshes, rows and notes.
        source: the file.
    """

    name: str
    model: Model
    chain: tuple[Joint, ...]
    tip: str
    imported: ImportedUrdf
    source: Path

    @property
    def is_arm(self) -> bool:
        """Whether the longest chain has joints enough for an arm."""
        return len(self.chain) >= ARM_JOINTS

    @property
    def error_m(self) -> float:
        """The most by which a piece sticks out of its mesh, 0 without meshes."""
        return max((mesh.pieces.error_m for _, mesh in self.imported.rows), default=0.0)

    def write(self, folder: Path, ignored: Mapping[tuple[str, str], str] | None = None) -> Path:
        """Write a model folder, whole or not at all: YAML document, URDF and meshes. Returns the YAML.

        Args:
            folder: new, or without files of these names.
            ignored: pairs of bodies that an arm's document leaves unjudged, and why.

        Raises:
            InputError: the document exists, or another file that would be written over.
            RecordError: it cannot be written.
        """
        name = folder.name
        document = _arm_document(self, name, ignored or {}) if self.is_arm else _platform_document(self, name)
        head = f"{name}.yaml"
        files = {**self.imported.files(name), head: yaml_document(document).encode()}
        write_together(folder, files, head, "a new folder")
        return folder / head


def inspect_file(
    path: Path,
    *,
    root: Path | None = None,
    unit: str = "m",
    tolerance_m: float = 0.01,
    most: int = 16,
    modified: bool = False,
    most_triangles: int = MAX_TRIANGLES,
) -> Inspection:
    """Read a URDF, an arm given by parameters, or a mesh as a platform of one link.

    Args:
        path: URDF, CSV or ETS (parameters of an arm), STL, OBJ, GLB or DAE.
        root: folder that holds a URDF's meshes.
        unit: of a bare STL or OBJ, which do not say theirs: m, cm, mm, in, ft. GLB and DAE say theirs.
        tolerance_m, most, most_triangles: as ``import_mesh``.
        modified: whether a table of parameters follows the modified convention.

    Raises:
        InputError: the file, or one it names, cannot be read.
    """
    suffix = path.suffix.lower()
    if suffix in READ:
        if unit != "m" and suffix not in SUFFIXES:
            raise InputError("the file says its unit itself", file=path, found=f"--unit {unit}", accepted="no --unit")
        imported = _platform_of(path, UNITS_M[unit], tolerance_m, most, most_triangles)
    elif suffix in (".urdf", ".xml"):
        imported = import_urdf(path, root, tolerance_m=tolerance_m, most=most, most_triangles=most_triangles)
    elif suffix in TABLES:
        with TemporaryDirectory() as folder:
            urdf = Path(folder) / f"{path.stem}.urdf"
            urdf.write_text(urdf_of(read_table(path, modified)), encoding="utf-8")
            imported = import_urdf(urdf, None, tolerance_m=tolerance_m, most=most)
        imported.notes.append("a cylinder stands for each link, from joint to joint: put the arm's own shapes there")
    else:
        accepted = f".urdf, {', '.join(TABLES)}, {', '.join(READ)}"
        raise InputError("a file of a kind that is not imported", file=path, found=path.suffix, accepted=accepted)
    with TemporaryDirectory() as folder:
        written = Path(folder) / "model"
        write_together(written, imported.files("model"), "model.urdf", "a new folder")
        try:
            model = read_urdf(written / "model.urdf")
        except InputError as error:
            # lines of the written URDF mean nothing to the user; joints and links are named in the words
            first = getattr(error, "problems", (error,))[0]
            raise InputError(first.problem, file=path, found=first.found, accepted=first.accepted) from error
    chain, tip = _longest_chain(model, imported.drivers)
    _odd_axes(model, imported)
    return Inspection(imported.name, model, chain, tip, imported, path)


def _platform_of(path: Path, scale: float, tolerance_m: float, most: int, most_triangles: int) -> ImportedUrdf:
    mesh = import_mesh(path, scale, tolerance_m=tolerance_m, most=most, most_triangles=most_triangles)
    name = re.sub(r"\W+", "_", path.stem, flags=re.ASCII)[:60]
    result = ImportedUrdf(name, rows=[("platform", mesh)], notes=[f"{mesh.name}: {n}" for n in mesh.notes])
    lines = []
    for k, piece in enumerate(mesh.pieces.shapes, start=1):
        result.meshes[f"meshes/platform_{k}.obj"] = obj_text(piece)
        shape = f'<geometry><mesh filename="meshes/platform_{k}.obj"/></geometry>'
        lines.append(f'    <collision name="platform_{k}">{shape}</collision>')
    body = "\n".join(lines)
    result.urdf = (
        f'<?xml version="1.0"?>\n<robot name="platform">\n  <link name="platform">\n{body}\n  </link>\n'
        '  <link name="mount"/>\n  <joint name="to_mount" type="fixed"><parent link="platform"/>'
        '<child link="mount"/></joint>\n</robot>\n'
    )
    result.notes.append("link 'mount' was added at the origin: move it to where the arm's base sits")
    return result


def _longest_chain(model: Model, drivers: set[str]) -> tuple[tuple[Joint, ...], str]:
    """Return the movable joints of the longest chain from the root, and the link at its end.

    Of equal chains the one whose end hangs on most fixed joints counts: a flange rather than the last link.
    """
    way: dict[str, tuple[Joint, ...]] = {model.root: ()}
    depth = {model.root: 0}
    for joint in model.joints:
        moving = (joint,) if joint.kind != "fixed" else ()
        way[joint.child] = (*way[joint.parent], *moving)
        depth[joint.child] = depth[joint.parent] + 1
    # a gripper's fingers move too: a branch of sliding joints behind the wrist is not the arm
    tip = max(way, key=lambda link: (len(_without_fingers(model, way[link], drivers)), depth[link], -len(way[link])))
    chain = _without_fingers(model, way[tip], drivers)
    if len(chain) < len(way[tip]):
        tip = next(joint.parent for joint in model.joints if joint is way[tip][len(chain)])
    return chain, tip


def _without_fingers(model: Model, chain: tuple[Joint, ...], drivers: set[str]) -> tuple[Joint, ...]:
    """Return a chain up to the link where fingers begin, if it has joints enough.

    Fingers are several movable joints of one link, or a joint that another one follows.
    """
    for count, joint in enumerate(chain):
        beside = [other for other in model.movable() if other.parent == joint.parent]
        if count >= ARM_JOINTS and (len(beside) > 1 or joint.name in drivers):
            return chain[:count]
    return chain


def _odd_axes(model: Model, imported: ImportedUrdf) -> None:
    """Note what looks like another unit or another upward axis."""
    for joint in model.movable():
        most = max(abs(joint.lower), abs(joint.upper))
        if joint.kind == "revolute" and math.isfinite(most) and most > 13:
            imported.notes.append(f"joint '{joint.name}' may turn to {most:.4g} rad: degrees by mistake?")
        if joint.kind != "fixed" and joint.lower == joint.upper:
            imported.notes.append(f"joint '{joint.name}' has no travel")
    if not model.bodies:
        imported.notes.append("no link has a body: nothing can be said of clearance")


# -- documents --------------------------------------------------------------------------------------------


def home_of(joint: Joint) -> float:
    """Return 0 where the travel has it, else its middle, or the end nearest 0 where the other has none."""
    if joint.lower <= 0 <= joint.upper:
        return 0.0
    middle = (joint.lower + joint.upper) / 2
    return middle if math.isfinite(middle) else min(joint.lower, joint.upper, key=abs)


def _arm_document(seen: Inspection, name: str, ignored: Mapping[tuple[str, str], str]) -> dict[str, Any]:
    def limits(share: float) -> dict[str, Any]:
        rates = {
            j.name: share * (j.velocity if 0 < j.velocity < math.inf else PLAIN_RATE) for j in seen.chain
        }
        kind = {j.name: "angular_" if j.kind == "revolute" else "" for j in seen.chain}

        def spelled(word: str, factor: float) -> dict[str, str]:
            return {j: write(rate * factor, f"{kind[j]}{word}") for j, rate in rates.items()}

        return {
            "joint_rate": spelled("speed", 1.0),
            "joint_acceleration": spelled("acceleration", 0.5),
            "brake_deceleration": spelled("acceleration", 2.0),
            "tip_speed": write(_reach(seen) * share * 0.5, "speed"),
        }

    home = {joint.name: home_of(joint) for joint in seen.model.movable()}
    for joint in seen.model.movable():
        if joint.follows is not None:
            home[joint.name] = joint.follows.factor * home[joint.follows.joint] + joint.follows.offset
    why = "".join(f" Not judged: {reason}." for reason in ignored.values())
    why += "".join(f" {note}." for note in seen.imported.notes[:_NOTES])
    return {
        "format": "armcarry arm 1",
        "title": f"{seen.name}, from {seen.source.name}",
        "basis": "assumption",
        "notes": "Rates are shares of the URDF's; accelerations, brakes, times and errors are plausible and no more. "
        f"Put your own arm's numbers here.{why}",
        "urdf": f"{name}.urdf",
        "base": seen.model.root,
        "tip": seen.tip,
        "joints": [joint.name for joint in seen.chain],
        "home": {
            j.name: write(home[j.name], "angle" if j.kind == "revolute" else "length") for j in seen.model.movable()
        },
        "loads": {load: limits(share) for load, share in RATE_SHARE.items()},
        "reaction_time": "0.6 s",
        "detection_time": "0.3 s",
        "characteristic_length": write(_reach(seen) / 3, "length"),
        "tip_positioning": write(0.003 * _reach(seen), "length"),
        **({"ignore_pairs": [list(pair) for pair in ignored]} if ignored else {}),
    }


def _reach(seen: Inspection) -> float:
    """Return the sum of the distances between joints, m: what the arm reaches when stretched, or a metre."""
    total = sum(float(np.linalg.norm(joint.origin[:3, 3])) for joint in seen.model.joints)
    return min(total, LARGEST["speed"]) or 1.0  # rates are made of it too


def _platform_document(seen: Inspection, name: str) -> dict[str, Any]:
    frames = [link for link in seen.model.links if link == "mount"] or [seen.model.root]
    return {
        "format": "armcarry platform 1",
        "title": f"{seen.name}, from {seen.source.name}",
        "basis": "assumption",
        "notes": " ".join(f"{note}." for note in seen.imported.notes[:_NOTES]),
        "urdf": f"{name}.urdf",
        "mounts": {"main": {"frame": frames[0]}},
        "worksites": {},
    }
