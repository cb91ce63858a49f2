"""Arms given by parameters: a Denavit-Hartenberg table or a sequence of elementary transforms, made into a URDF.

roboticstoolbox turns the table into transforms; each run of constant ones becomes the origin of the next joint. What no
table says is put in plainly: a cylinder stands for each link from joint to joint, not quite as long.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import InputError, QuantityError
from armcarry.files.yaml_text import read_bytes
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.quantities import parse

#: suffixes of tables and of sequences
SUFFIXES = (".csv", ".ets")
COLUMNS = ("joint", "a", "alpha", "d", "theta", "lower", "upper")
_MAX_BYTES = 100_000
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,47}")
_VARIABLE = re.compile(r"q(?:\s*([+-].*))?")
_STEP = re.compile(r"(-?)\s*(R|t)([xyz])\s*\(([^()]*)\)")
_ACCEPTED_STEP = "Rz(turn, -160 deg, 160 deg) for a joint, tx(4 m) or Rx(-90 deg) for what stands still"


@dataclass(frozen=True)
class TableJoint:
    """A joint of a table: name, whether it turns, travel, the constant pose before it (4, 4) and its axis (3,)."""

    name: str
    turns: bool
    lower: float
    upper: float
    before: Array
    axis: Array


@dataclass(frozen=True)
class TableArm:
    """An arm as a table gives it: joints from base to tip, and the pose of the tip behind the last (4, 4)."""

    name: str
    joints: tuple[TableJoint, ...]
    tip: Array


def read_table(path: Path, modified: bool = False) -> TableArm:
    """Read an arm given by parameters.

    Args:
        path: ``.csv`` with the columns of COLUMNS, a row a joint, in which ``q`` (or ``q + 90 deg``) stands for the
            variable: in theta where a joint turns, in d where it slides. Or ``.ets``, transforms in order.
        modified: whether a table follows the modified convention (a, alpha before the joint).

    Raises:
        InputError: the file and line of what is not understood.
    """
    text = read_bytes(path, _MAX_BYTES, "table").decode("utf-8", "replace")
    name = re.sub(r"\W+", "_", path.stem, flags=re.ASCII)[:48] or "arm"
    arm = _sequence(path, name, text) if path.suffix.lower() == ".ets" else _table(path, name, text, modified)
    names = [joint.name for joint in arm.joints]
    for joint in names:
        if names.count(joint) > 1:
            raise InputError(f"two joints are named '{joint}'", file=path, accepted="each name once")
    return arm


def _quantity(text: str, kind: str, path: Path, line: int, what: str) -> float:
    try:
        return parse(text, kind)
    except QuantityError as error:
        raise InputError(
            f"{what}: {error.problem}", file=path, line=line, found=text[:80], accepted=error.accepted
        ) from error


def _travel(lower: str, upper: str, kind: str, path: Path, line: int) -> tuple[float, float]:
    low, high = (_quantity(text, kind, path, line, key) for text, key in ((lower, "lower"), (upper, "upper")))
    if not low < high:
        raise InputError("lower is not below upper", file=path, line=line, found=f"{lower}, {upper}"[:80])
    return low, high


def _name(text: str, path: Path, line: int) -> str:
    if not _NAME.fullmatch(text):
        raise InputError("not a joint's name", file=path, line=line, found=text[:80], accepted="letters, digits, _")
    return text


# -- tables ---------------------------------------------------------------------------------------------------


def _table(path: Path, name: str, text: str, modified: bool) -> TableArm:
    import roboticstoolbox as rtb

    lines = [(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip(" ,")]
    rows = [(number, [cell.strip() for cell in row]) for (number, _), row in zip(
        lines, csv.reader(line for _, line in lines), strict=True) if not row[0].startswith("#")]  # fmt: skip
    if not rows or tuple(rows[0][1]) != COLUMNS:
        found = ",".join(rows[0][1]) if rows else ""
        raise InputError("not a table of an arm", file=path, line=1, found=found[:80], accepted=",".join(COLUMNS))
    if len(rows) == 1:
        raise InputError("a table without a joint", file=path, accepted="a row a joint")
    links, kept = [], []
    for line, cells in rows[1:]:
        if len(cells) != len(COLUMNS):
            wanted = f"{len(COLUMNS)} cells: {', '.join(COLUMNS)}"
            raise InputError("a row of another length", file=path, line=line, found=len(cells), accepted=wanted)
        row = dict(zip(COLUMNS, cells, strict=True))
        turns, given = _link(row, path, line)
        if turns:
            links.append((rtb.RevoluteMDH if modified else rtb.RevoluteDH)(**given))
        else:
            links.append((rtb.PrismaticMDH if modified else rtb.PrismaticDH)(**given))
        low, high = _travel(row["lower"], row["upper"], "angle" if turns else "length", path, line)
        kept.append((_name(row["joint"], path, line), low, high))
    return _from_transforms(name, rtb.DHRobot(links).ets(), kept)


def _link(row: dict[str, str], path: Path, line: int) -> tuple[bool, dict[str, float]]:
    """Return whether the joint of a row turns, and its parameters."""
    variable = [(key, match) for key in ("d", "theta") if (match := _VARIABLE.fullmatch(row[key]))]
    if len(variable) != 1:
        accepted = "q in theta for a joint that turns, q in d for one that slides"
        found = ", ".join(row.values())[:80]
        raise InputError("not one variable in a row", file=path, line=line, found=found, accepted=accepted)
    (key, match), = variable
    turns = key == "theta"
    plus = re.sub(r"^([+-])\s+", r"\1", match.group(1) or "")
    constant, kind = ("d", "length") if turns else ("theta", "angle")
    return turns, {
        "a": _quantity(row["a"], "length", path, line, "a"),
        "alpha": _quantity(row["alpha"], "angle", path, line, "alpha"),
        "offset": _quantity(plus, "angle" if turns else "length", path, line, key) if plus else 0.0,
        constant: _quantity(row[constant], kind, path, line, constant),
    }


# -- sequences ------------------------------------------------------------------------------------------------


def _sequence(path: Path, name: str, text: str) -> TableArm:
    from roboticstoolbox import ET, ETS

    steps, kept = [], []
    for line, words in enumerate(text.splitlines(), start=1):
        words = words.partition("#")[0]
        rest = _STEP.sub("", words)
        if rest.strip(" \t*,;"):
            problem = "not an elementary transform"
            raise InputError(problem, file=path, line=line, found=rest.strip()[:80], accepted=_ACCEPTED_STEP)
        for sign, what, axis, inside in _STEP.findall(words):
            kind, make = ("angle" if what == "R" else "length"), getattr(ET, f"{what}{axis}")
            parts = [part.strip() for part in inside.split(",")]
            if len(parts) == 3:
                low, high = _travel(parts[1], parts[2], kind, path, line)
                kept.append((_name(parts[0], path, line), low, high))
                steps.append(make(flip=bool(sign)))
            elif len(parts) == 1:
                value = _quantity(parts[0], kind, path, line, f"{what}{axis}")
                steps.append(make(-value if sign else value))
            else:
                problem = "neither a joint nor a constant transform"
                raise InputError(problem, file=path, line=line, found=inside[:80], accepted=_ACCEPTED_STEP)
    if not kept:
        raise InputError("a sequence without a joint", file=path, line=1, accepted=_ACCEPTED_STEP)
    return _from_transforms(name, ETS(steps), kept)


def _from_transforms(name: str, ets: Any, kept: list[tuple[str, float, float]]) -> TableArm:
    """Gather constant transforms into the pose before each joint."""
    before, joints = poses.identity(), list[TableJoint]()
    for step in ets:
        if not step.isjoint:
            before = before @ np.asarray(step.A(), dtype=float)
            continue
        joint, low, high = kept[len(joints)]
        axis = np.eye(3)["xyz".index(step.kind[1])] * (-1.0 if step.isflip else 1.0)
        joints.append(TableJoint(joint, step.kind[0] == "R", low, high, before, axis))
        before = poses.identity()
    return TableArm(name, tuple(joints), before)


# -- a URDF ---------------------------------------------------------------------------------------------------


def urdf_of(arm: TableArm) -> str:
    """Return the URDF of an arm: links ``base``, ``link_1`` and so on, ``tip``; cylinders that stand for the links."""
    offsets = [joint.before[:3, 3] for joint in arm.joints[1:]] + [arm.tip[:3, 3]]
    reach = sum(float(np.linalg.norm(offset)) for offset in offsets) or 1.0
    names = ["base", *(f"link_{k}" for k in range(1, len(arm.joints) + 1))]
    lines = ['<?xml version="1.0"?>', f'<robot name="{arm.name}">', '  <link name="base"/>']
    for name, offset in zip(names[1:], offsets, strict=True):
        lines.append(f'  <link name="{name}">{_cylinder(offset, reach / 60)}</link>')
    for k, joint in enumerate(arm.joints):
        kind, speed = ("revolute", 0.05) if joint.turns else ("prismatic", 0.02 * reach)
        lines.append(
            f'  <joint name="{joint.name}" type="{kind}">{_origin(joint.before)}<parent link="{names[k]}"/>'
            f'<child link="{names[k + 1]}"/><axis xyz="{_row(joint.axis)}"/>'
            f'<limit lower="{joint.lower!r}" upper="{joint.upper!r}" effort="1" velocity="{speed!r}"/></joint>'
        )
    lines += [
        '  <link name="tip"/>',
        f'  <joint name="to_tip" type="fixed">{_origin(arm.tip)}<parent link="{names[-1]}"/><child link="tip"/>'
        "</joint>",
        "</robot>",
    ]
    return "\n".join(lines) + "\n"


def _cylinder(offset: Array, radius: float) -> str:
    """Return a cylinder along a link, a sixth of it free at either end so that neighbours do not touch."""
    length = float(np.linalg.norm(offset))
    if length < 6 * radius:
        return ""
    yaw, pitch = math.atan2(offset[1], offset[0]), math.atan2(math.hypot(offset[0], offset[1]), offset[2])
    return (
        f'<collision><origin xyz="{_row(offset / 2)}" rpy="0 {pitch!r} {yaw!r}"/>'
        f'<geometry><cylinder radius="{radius!r}" length="{2 * length / 3!r}"/></geometry></collision>'
    )


def _origin(pose: Array) -> str:
    return f'<origin xyz="{_row(pose[:3, 3])}" rpy="{_row(poses.rpy(pose))}"/>'


def _row(values: Any) -> str:
    return " ".join(repr(float(value)) for value in values)
