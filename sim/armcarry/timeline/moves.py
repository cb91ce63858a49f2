"""From the moves of a carry to paths of the arm: which way it takes, before any time is given to it.

A pose can be taken on many branches of the arm. Several ways are carried along side by side, from the first
move to the last, and the one with the least travel and the widest joint margin is kept: so the branch chosen
at one waypoint is one from which the straight lines behind it can be flown too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from armcarry.asked.tightness import Tightness
from armcarry.errors import MotionError, ReachError
from armcarry.files.documents.carries import Carry, Line, Move
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions, unwind
from armcarry.motion.line import straight_line
from armcarry.motion.path import Path, rounded
from armcarry.scene.build import PLATFORM, Scene, hang
from armcarry.scene.limits import joint_rates
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.describe import describe
from armcarry.timeline.memory import Memory
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.run import Event, Shortfall
from armcarry.timeline.widen import widened

#: ways carried along side by side, and branches looked at a pose
BEAM = 4
BRANCHES = 24
#: branches whose clearance is measured, cheapest first, and what a metre too near costs
MEASURED = 8
TIGHT_COST = 30.0
#: joint positions nearer than this are one way
_SAME = 1e-3


def plan_carries(
    scene: Scene,
    carries: tuple[Carry, ...],
    start: Way,
    tell: Callable[[int, int], None] | None = None,
    memory: Memory | None = None,
) -> tuple[Way, Shortfall | None]:
    """Plan all moves of carries one after another.

    Args:
        scene: documents and models.
        carries: what to do, in order.
        start: where everything is.
        tell: told how many of how many moves are planned.
        memory: what was planned of this scene before.

    Returns:
        The best way, and the first move that cannot be made (the way then ends before it), if any.
    """
    ways = [start]
    known = memory or Memory()
    tightness = Tightness(scene)
    total, done = sum(len(carry.moves) for carry in carries), 0
    for carry in carries:
        for number, move in enumerate(carry.moves, start=1):
            before = [(way, _closing(way, carry.name, move)) for way in ways]
            if known.full(move, before):
                return _best(ways), None
            found: list[Way] = []
            refusals: list[ReachError] = []
            for way, near in before:
                try:
                    make = partial(_extend, scene, tightness, way, carry.name, number, move)
                    found += known.extended(way, (carry.name, number), move, near, make)
                except ReachError as error:
                    refusals.append(error)
            if not found:
                nearest = min(refusals, key=lambda error: (error.short_m, error.short_rad))
                return _best(ways), _shortfall(scene, carry, number, move, nearest)
            ways = _prune(found)
            done += 1
            if tell is not None:
                tell(done, total)
    return _best(ways), None


def _best(ways: list[Way]) -> Way:
    return min(ways, key=lambda way: way.cost)


def _prune(ways: list[Way]) -> list[Way]:
    kept: list[Way] = []
    for way in sorted(ways, key=lambda way: way.cost):
        if all(np.abs(way.position - other.position).max() > _SAME for other in kept):
            kept.append(way)
        if len(kept) == BEAM:
            break
    return kept


def _extend(scene: Scene, tightness: Tightness, way: Way, carry: str, number: int, move: Move) -> list[Way]:
    """Return the ways on which one more move is made."""
    planned = PlannedMove(
        carry, number, move, describe(scene, move), way.tree, way.tree, way.position, way.position,
        scene.tool(way.tree),
    )
    kind = move.kind
    if kind in ("to_joints", "one_joint"):
        points = [way.position]
        for settings in (*move.via, move.to_joints or move.one_joint or {}):
            point = points[-1].copy()
            for joint, value in settings.items():
                point[scene.tree.column(f"arm/{joint}")] = value
            points.append(point)
        return [_flown(scene, way, replace(planned, path=_segment(scene, *points), end=points[-1]))]
    if kind in ("to_pose", "to_worksite"):
        return _to_pose(scene, tightness, way, planned)
    return [_flown(scene, way, _along_line(scene, way, planned)) if kind == "line" else _standing(scene, way, planned)]


def _flown(scene: Scene, way: Way, planned: PlannedMove) -> Way:
    """Return the way with a move of the arm added, and its cost: travel in time, and lost joint margin."""
    columns = scene.arm_columns
    rates = joint_rates(scene.loaded.arm.document, scene.load(planned.tree)[1])
    ends = [planned.start, planned.end]
    travel = np.abs(planned.end - planned.start)[columns]
    if planned.path is not None and (planned.path.length_m or planned.move.via):
        low, high = planned.path.curve.extremes()
        ends += [_spread(planned.start, columns, low), _spread(planned.start, columns, high)]
    limits = scene.tree.joint_limits[columns]
    margin = min(float(np.minimum(q[columns] - limits[:, 0], limits[:, 1] - q[columns]).min()) for q in ends)
    if planned.move.via and planned.path is not None:
        travel = np.abs(np.diff(planned.path.curve.at(planned.path.curve.breaks_s), axis=0)).sum(axis=0)
    wanted = 1.5 * scene.loaded.rules.margins.joint_position
    cost = float(np.max(travel / rates)) * float(rates.max()) + 20.0 * max(0.0, wanted - margin)
    return Way(planned.after, planned.end, (*way.moves, planned), way.cost + cost)


def _spread(position: Array, columns: np.ndarray, arm: Array) -> Array:
    full = position.copy()
    full[columns] = arm
    return full


def _segment(scene: Scene, *points: Array) -> Path | None:
    """Return the way of the arm past whole joint vectors; None where it does not move."""
    arm = np.stack(points)[:, scene.arm_columns]
    return rounded(scene.arm_joints, arm) if np.any(arm != arm[0]) else None


# -- poses and lines ------------------------------------------------------------------------------------


def _chain(scene: Scene, way: Way, point: str) -> Chain:
    return Chain.of(way.tree, WORLD, point, joints=scene.arm_joints, held=way.position)


def _point(scene: Scene, way: Way, named: str | None) -> str:
    point = scene.tool(way.tree) if named is None else named
    way.tree.index(point)
    return point


def goal_of(scene: Scene, way: Way, move: Move) -> tuple[str, Array]:
    """Return the point a move to a pose, a worksite or along a line steers, and T_world_goal (4, 4)."""
    if move.line is not None:
        point = _point(scene, way, move.line.point)
        return point, _line_goal(way, move.line, point)
    if move.to_worksite is not None:
        stand = scene.loaded.platform.document.worksites[move.to_worksite].stand
        return scene.tool(way.tree), way.tree.pose_of(f"{PLATFORM}/{stand}", way.position)
    goal = move.to_pose
    if goal is None:
        raise MotionError(f"a move of kind {move.kind} has no pose")
    frame = way.tree.pose_of(goal.frame, way.position)
    return _point(scene, way, goal.point), frame @ poses.from_xyz_rpy(goal.position, goal.rotation)


def _to_pose(scene: Scene, tightness: Tightness, way: Way, planned: PlannedMove) -> list[Way]:
    """Return the ways on the cheapest branches, those that come too near something last."""
    point, pose = goal_of(scene, way, planned.move)
    chain = _chain(scene, way, point)
    pinned = {f"arm/{joint}": value for joint, value in planned.move.pin.items()}
    found = solutions(chain, pose, pinned=pinned or None, what=planned.words)
    here = way.position[scene.arm_columns]
    near = np.array([unwind(chain, q, here) for q in found])
    order = np.argsort(np.abs(near - here).max(axis=1), kind="stable")[:BRANCHES]
    ways = []
    for q in near[order]:
        end = _spread(way.position, scene.arm_columns, q)
        moved = replace(planned, tool=point, path=_segment(scene, way.position, end), end=end)
        ways.append(_flown(scene, way, moved))
    roomy = []
    for candidate in sorted(ways, key=lambda other: other.cost)[:MEASURED]:
        path = candidate.moves[-1].path
        lacking = 0.0
        if path is not None:
            lacking = tightness.lacking_m(way.tree, widened(scene, path.curve, way.position))
        roomy.append(replace(candidate, cost=candidate.cost + TIGHT_COST * lacking))
    return _prune(roomy)


def _line_goal(way: Way, line: Line, point: str) -> Array:
    """Return T_world_goal (4, 4) of a straight line from where the point is."""
    frame = way.tree.pose_of(line.frame, way.position)
    here = way.tree.pose_of(point, way.position)
    goal = here.copy()
    if line.to is not None:
        goal[:3, 3] = poses.apply(frame, line.to)
    else:
        goal[:3, 3] += frame[:3, :3] @ np.asarray(line.by)
    if line.rotation is not None:
        goal[:3, :3] = (frame @ poses.from_xyz_rpy((0, 0, 0), line.rotation))[:3, :3]
    return goal


def _along_line(scene: Scene, way: Way, planned: PlannedMove) -> PlannedMove:
    line = planned.move.line
    if line is None:
        raise MotionError("a straight line without a goal")
    point = _point(scene, way, line.point)
    chain = _chain(scene, way, point)
    here = way.tree.pose_of(point, way.position)
    goal = _line_goal(way, line, point)
    if np.linalg.norm(goal[:3, 3] - here[:3, 3]) < 1e-9 and np.linalg.norm(goal - here) < 1e-9:
        return replace(planned, tool=point)
    pinned = tuple(f"arm/{joint}" for joint in planned.move.pin)
    start = way.position[scene.arm_columns]
    began = _closing(way, planned.carry, planned.move)
    near = None if began is None else began[scene.arm_columns]
    path = straight_line(chain, start, goal, pinned=pinned, free=line.free or "", near=near)
    return replace(planned, tool=point, path=path, end=_spread(way.position, scene.arm_columns, path.end))


def _closing(way: Way, carry: str, move: Move) -> Array | None:
    """Return where the lines in a row began that close with this one, None for a move that closes with none.

    They are alike in what is held, and the arm stands still between them.
    """
    line = move.line
    if line is None or not line.closes:
        return None
    begun, pins = way.position, move.pin.keys()
    for earlier in reversed(way.moves):
        other = earlier.move.line
        alike = other is not None and other.closes and other.free == line.free and earlier.move.pin.keys() == pins
        if earlier.carry != carry or (earlier.path is not None and not alike):
            break
        begun = earlier.start if alike else begun
    return begun


# -- moves in which the arm stands still ------------------------------------------------------------------


def _standing(scene: Scene, way: Way, planned: PlannedMove) -> Way:
    move = planned.move
    if move.hold is not None:
        planned = replace(planned, lasting_s=move.hold)
    elif (goal := still_goal(scene, way.position, move)) is not None:
        planned = replace(planned, end=goal[0], lasting_s=goal[1])
    else:
        after, event = switch(scene, way.tree, way.position, move)
        planned = replace(planned, after=after, event=event)
    return Way(planned.after, planned.end, (*way.moves, planned), way.cost)


def still_goal(scene: Scene, position: Array, move: Move) -> tuple[Array, float] | None:
    """Return where an appendage or posture move ends (n,) and how long it takes; None for other moves."""
    if move.appendage is not None:
        name, state = next(iter(move.appendage.items()))
        appendage = scene.loaded.platform.document.appendages[name]
        targets = {f"{PLATFORM}/{joint}": value for joint, value in appendage.states[state].items()}
        return _set(scene, position, targets), appendage.turning_time
    if move.posture is not None:
        who = move.posture.who
        posture = scene.loaded.crew[who].document.postures[move.posture.posture]
        return _set(scene, position, {f"{who}/{joint}": value for joint, value in posture.items()}), move.posture.over
    return None


def _set(scene: Scene, position: Array, targets: dict[str, float]) -> Array:
    end = position.copy()
    for joint, value in targets.items():
        end[scene.tree.column(joint)] = value
    return end


def switch(scene: Scene, tree: Tree, position: Array, move: Move) -> tuple[Tree, Event]:
    """Return the tree after an attach or detach, and the event (its time is set when timed)."""
    item = move.attach or move.detach
    if item is None:
        raise MotionError(f"a move of kind {move.kind} attaches nothing")
    meeting = scene.meeting_frame(item.what, item.to)
    gap = tree.pose_of(meeting, position, relative_to=item.to)
    root = f"{item.what}/{tree.mounting(item.what).model.root}"
    if item.seat:
        after = hang(scene, tree, item.what, item.to, position)
    else:
        after = tree.attach(item.what, item.to, tree.pose_of(root, position, relative_to=item.to))
    event = Event(
        0.0, move.kind, item.what, item.to, float(np.linalg.norm(gap[:3, 3])),
        float(np.linalg.norm(poses.rotation_vector(gap))),
    )
    return after, event


def _shortfall(scene: Scene, carry: Carry, number: int, move: Move, error: ReachError) -> Shortfall:
    title = move.name or f"{carry.name} move {number} ({describe(scene, move)})"
    stopped = ", ".join(error.stopped_by)
    remedy = "move the base nearer or choose another goal"
    if stopped:
        remedy = f"choose a goal, a base station or a restraint setting that asks less of {stopped}"
    return Shortfall(
        carry.name, number, title, move.to_worksite or move.kind, error.short_m, error.short_rad,
        f"{error}", remedy, 0.0,
    )
