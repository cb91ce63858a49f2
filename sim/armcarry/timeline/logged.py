"""A logged motion as a run: the scenario gives the scene, the log every position of the arm over time.

Between two rows the joints move in straight pieces or on a monotone cubic (Fritsch and Carlson, SIAM J. Numer.
Anal. 17, 1980, as scipy's PchipInterpolator); either is said to be so, as the log does not know. Joints that
the log does not name stand where the script has them at the start, or turn where a marked move turns them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.documents.carries import Move
from armcarry.files.motion_log import MotionLog
from armcarry.files.validate import raise_all
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.merge import combined
from armcarry.motion.path import joint_segment
from armcarry.motion.rows import PIECES, Pieces, interpolated
from armcarry.motion.timing import compose, smooth
from armcarry.quantities import parse
from armcarry.scene.build import ARM, Scene
from armcarry.timeline.carry import Clock
from armcarry.timeline.describe import describe
from armcarry.timeline.log_facts import Logged, log_facts
from armcarry.timeline.moves import still_goal, switch
from armcarry.timeline.run import MoveSpan, Run
from armcarry.timeline.variants import repeated

#: names of what the arm does where no row marks a move
UNNAMED, STANDING = "logged motion", "logged stand-still"
#: without marks, a stretch of at least STILL_S in which no joint of the arm is faster than this stands still;
#: rad/s or m/s, well above the last digit of a logger and well below any move
STILL_RATE, STILL_S = np.radians(0.02), 10.0


def run_log(scene: Scene, log: MotionLog, pieces: Pieces = "linear") -> tuple[Run, Logged]:
    """Replay a log in a scene.

    Args:
        scene: where everything starts; the log takes the place of its carries.
        log: joint positions over time.
        pieces: how joints move between rows.

    Raises:
        InputError: columns that are no joint, a joint of the arm without a column, or marks that no move has.
    """
    table, joints = _positions(scene, log)
    marked = _marked(scene, log)
    arm = interpolated(joints, log.times_s, table, pieces)
    whole = combined(_others(scene, log, marked), arm)
    run = _on_the_clock(scene, whole, _filled(marked, whole, scene))
    return run, log_facts(scene, log, pieces, arm, table, {(place.carry, place.number) for place in marked})


# -- what the columns are -----------------------------------------------------------------------------------


def _positions(scene: Scene, log: MotionLog) -> tuple[Array, tuple[str, ...]]:
    """Return positions (T, k) in rad or m, and the full names of the joints."""
    tree = scene.tree
    known = dict(zip(tree.joints, tree.revolute.tolist(), strict=True))
    problems: list[InputError] = []
    joints: list[str] = []
    factors: list[float] = []
    zeros: list[float] = []
    for column in log.columns:
        name = column.joint if "/" in column.joint else f"{ARM}/{column.joint}"
        if name not in known:
            problems.append(
                InputError(
                    f"no joint named '{column.joint[:80]}'", file=log.path, line=log.header_line,
                    accepted=names.accepted(name, known, "joint"),
                )
            )
            continue
        kind = "angle" if known[name] else "length"
        try:
            factors.append(parse(f"1 {column.unit}", kind) * (-1.0 if column.reversed else 1.0))
            zeros.append(column.zero)
        except InputError as error:
            problem = f"joint '{name}' {'turns' if known[name] else 'slides'}"
            problems.append(
                InputError(
                    problem, file=log.path, line=log.header_line, found=column.unit, accepted=error.accepted
                )
            )
        if name in joints:
            problems.append(InputError(f"a second column for '{name}'", file=log.path, line=log.header_line))
        joints.append(name)
    missing = [joint for joint in scene.arm_joints if joint not in joints]
    if missing and not problems:
        problems.append(
            InputError(
                f"no column for {', '.join(missing)}", file=log.path, line=log.header_line,
                accepted="every joint of the arm",
            )
        )
    raise_all(problems)
    return log.values * np.array(factors) + np.array(zeros), tuple(joints)


# -- moves that rows mark --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Place:
    """A move that begins at a time; without one, a stretch that no row marks."""

    time_s: float
    carry: str = "log"
    number: int = 1
    move: Move | None = None
    standing: bool = False


def _marked(scene: Scene, log: MotionLog) -> list[_Place]:
    """Return the moves that rows mark, in order of time."""
    by_name: dict[str, tuple[str, int, Move]] = {}
    for carry in repeated(scene, scene.loaded.scenario.carries):
        for number, move in enumerate(carry.moves, start=1):
            for name in filter(None, (move.name, f"{carry.name}/{number}")):
                by_name.setdefault(name, (carry.name, number, move))
    problems: list[InputError] = []
    places: list[_Place] = []
    seen: dict[tuple[str, int], int] = {}
    for mark in log.marks:
        for name in mark.moves:
            found = by_name.get(name)
            if found is None:
                known = names.accepted(name, by_name, "move")
                problems.append(InputError(f"no move '{name[:80]}'", file=log.path, line=mark.line, accepted=known))
            elif found[:2] in seen:
                problem = f"move '{name}' begins a second time, first in line {seen[found[:2]]}"
                problems.append(InputError(problem, file=log.path, line=mark.line))
            else:
                seen[found[:2]] = mark.line
                places.append(_Place(mark.time_s, *found))
    raise_all(problems)
    if not places or places[0].time_s > 0:
        places.insert(0, _Place(0.0))
    return places


def _filled(places: list[_Place], motion: Motion, scene: Scene) -> list[_Place]:
    """Return the places with what no row marks cut into stretches of moving and of standing still.

    What follows a move that attaches or leaves something, which takes no time, is not marked either.
    """
    cuts = _still_cuts(motion, scene)
    filled: list[_Place] = []
    number = 0
    for place, end_s in zip(places, [*(p.time_s for p in places[1:]), motion.end_s], strict=True):
        if place.move is not None:
            filled.append(place)
            if place.move.kind not in ("attach", "detach") or end_s <= place.time_s:
                continue
        before = [cut for cut in cuts if cut[0] <= place.time_s][-1:]
        inside = [cut for cut in cuts if place.time_s < cut[0] < end_s]
        for start_s, standing in [*((place.time_s, still) for _, still in before), *inside]:
            number += 1
            filled.append(_Place(start_s, number=number, standing=standing))
    return filled


def _still_cuts(motion: Motion, scene: Scene) -> list[tuple[float, bool]]:
    """Return the times from which the arm moves or stands still, in turn, and which of the two."""
    breaks = motion.breaks_s
    steps = np.abs(np.diff(motion.at(breaks)[:, scene.arm_columns], axis=0)).max(axis=1)
    still = steps <= STILL_RATE * np.diff(breaks)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(still)) + 1])
    cuts: list[tuple[float, bool]] = []
    for start, end in zip(starts, [*starts[1:], len(still)], strict=True):
        standing = bool(still[start]) and breaks[end] - breaks[start] >= STILL_S
        if not cuts or cuts[-1][1] != standing:
            cuts.append((float(breaks[start]), standing))
    return cuts


def _others(scene: Scene, log: MotionLog, marked: list[_Place]) -> Motion:
    """Return the motion of the whole joint vector as the script has it, the arm standing still."""
    end_s = float(log.times_s[-1])
    position, joints = scene.position, scene.tree.joints
    clock = Clock(scene, scene.tree, position)
    motion: Motion | None = None
    for place in marked:
        goal = None if place.move is None else still_goal(scene, clock.position, place.move)
        if goal is None:
            continue
        end, lasting_s = goal
        clock.wait(place.time_s)
        if lasting_s > 0 and not np.array_equal(end, clock.position):
            turning = joint_segment(joints, clock.position, end)
            clock.motions.append(compose(turning.curve, smooth(lasting_s), clock.now_s))
            clock.now_s += lasting_s
        clock.position = end
    clock.wait(end_s)
    for part in clock.motions:
        motion = part if motion is None else motion.then(part)
    if motion is None:
        return Motion.hold(joints, position, 0.0, end_s)
    return motion.between(0.0, end_s)  # what still turns then is cut off


def _on_the_clock(scene: Scene, motion: Motion, marked: list[_Place]) -> Run:
    clock = Clock(scene, scene.tree, motion.at(motion.start_s))
    ends = [place.time_s for place in marked[1:]] + [motion.end_s]
    for place, end_s in zip(marked, ends, strict=True):
        clock.now_s = place.time_s
        move = place.move
        clock.position = motion.at(clock.now_s)
        load, _ = scene.load(clock.tree)
        kind, words = ("hold", STANDING) if place.standing else ("logged", UNNAMED)
        if move is not None:
            kind, words = move.kind, describe(scene, move)
            if kind in ("attach", "detach"):
                after, event = switch(scene, clock.tree, clock.position, move)
                clock.events.append(replace(event, time_s=clock.now_s))
                clock.switch(after)
                load, _ = scene.load(after)
        name, say = (move.name or "", move.say) if move is not None else ("", "")
        clock.moves.append(MoveSpan(place.carry, place.number, name, kind, place.time_s, end_s, load, say, words))
        if move is not None:
            clock.relaxations.extend((item, place.time_s, end_s, len(clock.moves)) for item in move.relax)
    clock.now_s = motion.end_s
    clock.position = motion.at(motion.end_s)
    clock.motions = [motion]
    return clock.run()


__all__ = ["PIECES", "Logged", "Pieces", "run_log"]
