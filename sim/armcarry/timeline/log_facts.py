"""What there is to say of a log that is replayed: gaps, rows left out, whole turns, how the pieces matter."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from armcarry.files.motion_log import Gap, MotionLog
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.merge import difference
from armcarry.motion.rows import Pieces, interpolated
from armcarry.scene.build import Scene
from armcarry.timeline.describe import describe
from armcarry.timeline.variants import repeated


@dataclass(frozen=True)
class Jump:
    """A step of about a whole turn between two rows, as a logger makes that wraps angles."""

    line: int
    time_s: float
    joint: str
    by_rad: float


@dataclass(frozen=True)
class Step:
    """The largest change of one joint between two rows: rad or m, at the row of ``line``."""

    joint: str
    line: int
    time_s: float
    by: float


@dataclass(frozen=True)
class Logged:
    """What a run knows of the log it replays.

    Attributes:
        name, sha256: the file and its digest.
        pieces: how the joints move between rows.
        rows, first: how many rows, and the time of the first as logged, which is 0 in the run.
        gaps, left_out: where the log is silent, and rows left out because the user asked for it.
        jumps, largest: whole turns between rows, and the largest step between two rows.
        between_rad: how far the two kinds of pieces differ at most between rows.
        unmarked: attaching and leaving moves of the script that no row marks.
        start_off: largest difference between the first row and the script's start, and its joint.
        changed: joint -> what was done to the numbers of its column besides their unit, because the user said so.
        passed_over: headings of columns that the user gave no meaning.
    """

    name: str
    sha256: str
    pieces: Pieces
    rows: int
    first: str
    gaps: tuple[Gap, ...]
    left_out: tuple[str, ...]
    jumps: tuple[Jump, ...]
    largest: Step
    between_rad: float
    unmarked: tuple[str, ...]
    start_off: float
    start_joint: str
    changed: dict[str, str] = field(default_factory=dict)
    passed_over: tuple[str, ...] = ()


def log_facts(
    scene: Scene, log: MotionLog, pieces: Pieces, arm: Motion, table: Array, marked: set[tuple[str, int]]
) -> Logged:
    """Return what there is to say of a log.

    Args:
        scene, log, pieces: what is replayed, where and how.
        arm: the interpolated motion of the log's joints.
        table: (T, k) its positions in rad or m.
        marked: carry and number of the moves that rows mark.
    """
    steps = np.abs(np.diff(table, axis=0))
    row, column = np.unravel_index(int(np.argmax(steps)), steps.shape)
    other = interpolated(arm.joints, log.times_s, table, "cubic" if pieces == "linear" else "linear")
    low, high = difference(arm, other).extremes()
    revolute = np.array([scene.tree.revolute[scene.tree.column(joint)] for joint in arm.joints])
    turns = np.abs(steps - 2 * np.pi) < np.pi / 4
    columns = arm.columns_of(scene.arm_joints)
    off = np.abs(table[0, columns] - scene.position[scene.arm_columns])
    switches = [
        move.name or describe(scene, move)
        for carry in repeated(scene, scene.loaded.scenario.carries)
        for number, move in enumerate(carry.moves, start=1)
        if move.kind in ("attach", "detach") and (carry.name, number) not in marked
    ]
    return Logged(
        name=log.path.name,
        sha256=log.sha256,
        pieces=pieces,
        rows=len(log.times_s),
        first=log.first,
        gaps=log.gaps,
        left_out=log.left_out,
        jumps=tuple(
            Jump(
                int(log.lines[k + 1]), float(log.times_s[k]), arm.joints[j], float(table[k + 1, j] - table[k, j])
            )
            for k, j in np.argwhere(turns & revolute).tolist()
        ),
        largest=Step(
            arm.joints[column], int(log.lines[row + 1]), float(log.times_s[row]), float(steps[row, column])
        ),
        between_rad=float(np.maximum(-low, high)[columns].max()),
        unmarked=tuple(switches),
        start_off=float(off.max()),
        start_joint=scene.arm_joints[int(np.argmax(off))],
        changed={column.joint: column.words for column in log.columns if column.words},
        passed_over=log.passed_over,
    )
