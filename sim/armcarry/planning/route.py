"""Routes: the free stretches of a carry flown with the largest proven margin, worksites as they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import FrameError, InputError, ReachError
from armcarry.files.documents.scenario import Move
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.motion.path import joint_segment
from armcarry.planning.blocked import why_none
from armcarry.planning.roadmap import Way as ArmWay
from armcarry.planning.roadmap import find_way
from armcarry.planning.script import write_with_moves
from armcarry.planning.space import ENOUGH_M, ArmSpace
from armcarry.scene.build import Scene
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.carry import timed
from armcarry.timeline.moves import PlannedMove, Way, goal_of
from armcarry.timeline.variants import plan_all
from armcarry.timeline.widen import widened

Tell = Callable[[str, float], None]

FREE_KINDS = ("to_joints", "one_joint", "to_pose", "to_worksite", "line")
#: branches of the arm that are tried at a goal that the script does not reach
GOALS = 4
#: margins that differ by less are the same, m; times, s
SAME_M, SAME_S = 0.01, 1.0


@dataclass(frozen=True, eq=False)
class Stretch:
    """A run of moves through free space and the way found for it.

    Attributes:
        carry: its name.
        first, count: moves of the carry, from 0.
        title: from where to where, in words.
        script_m, script_s: least proven margin and duration as scripted; -inf and inf where it cannot be flown.
        way: what was found.
        route_m, route_s: the same of the way; inf where it is not free.
        better: whether the way takes the place of the script's.
        reason: why it does not, or why there is none.
        moves: the moves to write, empty unless better.
    """

    carry: str
    first: int
    count: int
    title: str
    script_m: float
    script_s: float
    way: ArmWay | None
    route_m: float
    route_s: float
    better: bool
    reason: str
    moves: tuple[dict[str, Any], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is unknown is null."""
        numbers = {"script_m": self.script_m, "script_s": self.script_s, "route_m": self.route_m,
                   "route_s": self.route_s}  # fmt: skip
        return {
            "carry": self.carry, "first_move": self.first + 1, "moves": self.count, "title": self.title,
            **{key: value if np.isfinite(value) else None for key, value in numbers.items()},
            "better": self.better, "reason": self.reason,
        }  # fmt: skip

    def row(self) -> tuple[str, ...]:
        """Return a row for the terminal."""

        def told(value: float, unit: str, places: int) -> str:
            return f"{value:.{places}f} {unit}" if np.isfinite(value) else "none"

        return (
            f"{self.carry}: {self.title}", told(self.script_m, "m", 3), told(self.route_m, "m", 3),
            told(self.script_s, "s", 0), told(self.route_s, "s", 0), "new" if self.better else self.reason,
        )  # fmt: skip


def write_routes(stretches: tuple[Stretch, ...], source: Path, target: Path) -> int:
    """Write the scenario with every better stretch in place and return how many there are.

    Raises:
        InputError: target is the source.
        RecordError: it cannot be written.
    """
    replaced: dict[str, list[tuple[int, int, list[dict[str, Any]]]]] = {}
    better = [stretch for stretch in stretches if stretch.better]
    for stretch in better:
        replaced.setdefault(stretch.carry, []).append((stretch.first, stretch.count, list(stretch.moves)))
    write_with_moves(source, target, replaced, "found by armcarry route; every move ends at rest")
    return len(better)


HEADINGS = ("stretch", "margin scripted", "margin found", "time scripted", "time found", "outcome")


def find_routes(
    scene: Scene, *, carry: str | None = None, seed: int = 1, tell: Tell | None = None
) -> tuple[Stretch, ...]:
    """Find a way for every stretch of moves through free space.

    A stretch is a run of moves of the arm without relaxations; holds, switches and moves at worksites stay, and
    so do the joint positions at both of its ends. The margin is the least proven distance beyond what the rules
    ask, over all pairs and instants.

    Args:
        scene: of the scenario.
        carry: only this one.
        seed: of the search; the same seed gives the same routes.
        tell: told what is being done and the share of the whole.

    Raises:
        InputError: the scenario has no such carry, or no carry with moves of its own.
    """
    say = tell or (lambda words, share: None)
    carries = {item.name: item for item in scene.loaded.scenario.carries if item.moves}
    if carry is not None and carry not in carries:
        raise FrameError("carry with moves of its own", carry, carries)
    if not carries:
        raise InputError("the scenario has no carry with moves of its own, so there is nothing to route")
    say("planning the script", 0.0)
    way, shortfall = plan_all(scene, tuple(scene.loaded.scenario.carries), Way(scene.tree, scene.position))
    runs = [run for run in _free_runs(way.moves) if run[0].carry in carries and carry in (None, run[0].carry)]
    found = []
    for number, run in enumerate(runs):
        say(f"stretch {number + 1} of {len(runs)}", 0.1 + 0.8 * number / len(runs))
        found.append(_improved(scene, run, seed))
    if shortfall is not None and shortfall.carry in carries and carry in (None, shortfall.carry):
        say("the move that cannot be made", 0.9)
        move = carries[shortfall.carry].moves[shortfall.number - 1]
        found.append(_unmade(scene, way, shortfall.carry, shortfall.number - 1, move, seed))
    return tuple(found)


def _free_runs(moves: tuple[PlannedMove, ...]) -> list[list[PlannedMove]]:
    """Return the runs of moves of the arm through free space, in order; none ends where it begins."""
    runs: list[list[PlannedMove]] = []
    before: PlannedMove | None = None
    for planned in moves:
        free = planned.move.kind in FREE_KINDS and not planned.move.relax and planned.path is not None
        follows = before is not None and before.carry == planned.carry and runs and runs[-1][-1] is before
        # the way back is a stretch of its own: together with the way there it would lead nowhere
        if free and follows and not np.allclose(runs[-1][0].start, planned.end, rtol=0, atol=1e-6):
            runs[-1].append(planned)
        elif free:
            runs.append([planned])
        before = planned
    return runs


def _title(run: list[PlannedMove]) -> str:
    names = [planned.move.name or planned.words for planned in run]
    return names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"


def _improved(scene: Scene, run: list[PlannedMove], seed: int) -> Stretch:
    """Return a stretch that the script flies, with the way found for it."""
    columns = scene.arm_columns
    ends = np.stack([run[0].start[columns], run[-1].end[columns]])
    space = _space(scene, run[0].tree, run[0].start, ends)
    script_m = min(_path_margin(scene, space, planned) for planned in run)
    script_s = sum(_seconds(scene, planned) for planned in run)
    hints = np.array([planned.end[columns] for planned in run[:-1]]).reshape(-1, len(columns))
    way = find_way(space, run[0].start[columns], run[-1].end[columns][None], seed=seed, hints=hints)
    place = (run[0].carry, run[0].number - 1, len(run), _title(run), script_m, script_s)
    if not way.free:
        reason = why_none(scene, space, way, seed)
        return Stretch(*place, way, np.inf, np.inf, False, reason)
    options = {key: min(values) for key, values in _options(run).items() if values}
    moves = _written(scene, way, run[-1].move, options)
    route_m, route_s = way.least_m, _way_seconds(scene, run[0], way, moves)
    better = route_m > script_m + SAME_M or (route_m > script_m - SAME_M and route_s < script_s - SAME_S)
    reason = "" if better else "the script is as good"
    return Stretch(*place, way, route_m, route_s, better, reason, moves if better else ())


def _unmade(scene: Scene, at: Way, carry: str, number: int, move: Move, seed: int) -> Stretch:
    """Return the stretch of a move that the script cannot make: to its goal by another way, if there is one."""
    title = move.name or f"move {number + 1}"
    place = (carry, number, 1, title, -np.inf, np.inf)
    if move.kind not in FREE_KINDS or move.relax:
        return Stretch(*place, None, np.inf, np.inf, False, "a move at a worksite is not routed; change it by hand")
    if move.kind in ("to_joints", "one_joint"):
        return Stretch(*place, None, np.inf, np.inf, False, "joint positions beyond their travel")
    point, pose = goal_of(scene, at, move)
    chain = Chain.of(at.tree, WORLD, point, joints=scene.arm_joints, held=at.position)
    space = ArmSpace(scene, at.tree, at.position)
    try:
        goals = np.clip(solutions(chain, pose, what=title), *chain_limits(scene))
    except ReachError as error:
        reason = f"{error}; a base station nearer to it may open it: armcarry stations"
        return Stretch(*place, None, np.inf, np.inf, False, reason)
    room = space.margins(goals, goals).lower_m
    goals = goals[np.argsort(-room, kind="stable")[:GOALS]]
    way = find_way(space, at.position[scene.arm_columns], goals, seed=seed)
    if not way.free:
        return Stretch(*place, way, np.inf, np.inf, False, why_none(scene, space, way, seed))
    moves = _written(scene, way, move, {})
    start = PlannedMove(carry, number + 1, move, title, at.tree, at.tree, at.position, at.position, point)
    return Stretch(*place, way, way.least_m, _way_seconds(scene, start, way, moves), True, "", moves)


def _space(scene: Scene, tree: Tree, position: Array, ends: Array) -> ArmSpace:
    """Return the space in which margins are sought: beyond the budget where both ends allow it."""
    strict = ArmSpace(scene, tree, position, budget=True)
    if np.all(strict.margins(ends, ends).lower_m >= 0.0):
        return strict
    return ArmSpace(scene, tree, position)


def chain_limits(scene: Scene) -> tuple[Array, Array]:
    """Return lower and upper travel of the arm's joints (A,), (A,)."""
    limits = scene.tree.joint_limits[scene.arm_columns]
    return limits[:, 0], limits[:, 1]


def _path_margin(scene: Scene, space: ArmSpace, planned: PlannedMove) -> float:
    if planned.path is None or not len(space.asked_m):
        return ENOUGH_M
    motion = widened(scene, planned.path.curve, planned.start)
    bounds = space.prover.bounds(motion, report_distance_m=space.asked_m + ENOUGH_M, tolerance_m=5e-3)
    return float(min(ENOUGH_M, (np.maximum(bounds.lower_m, 0.0) - space.asked_m).min()))


def _seconds(scene: Scene, planned: PlannedMove) -> float:
    motion, _ = timed(scene, planned, 0.0)
    return 0.0 if motion is None else motion.duration_s


def _way_seconds(scene: Scene, like: PlannedMove, way: ArmWay, moves: tuple[dict[str, Any], ...]) -> float:
    """Return how long a way takes when it is timed like any other move."""
    total, full = 0.0, like.start.copy()
    for (start, end), written in zip(pairwise(way.points), moves, strict=True):
        first = full.copy()
        first[scene.arm_columns], full[scene.arm_columns] = start, end
        move = Move.model_validate(written)
        planned = replace(
            like, move=move, start=first, end=full.copy(), path=joint_segment(scene.arm_joints, start, end),
            tool=scene.tool(like.tree),
        )  # fmt: skip
        total += _seconds(scene, planned)
    return total


def _options(run: list[PlannedMove]) -> dict[str, list[float]]:
    """Return the speeds that the script asks for along a stretch; the slowest holds for all of the way."""
    return {
        "rate": [planned.move.rate for planned in run if planned.move.rate < 1.0],
        "tip_speed": [planned.move.tip_speed for planned in run if planned.move.tip_speed is not None],
    }


def _written(scene: Scene, way: ArmWay, last: Move, options: dict[str, float]) -> tuple[dict[str, Any], ...]:
    """Return the way as moves of a script, the last with the name and words of the move it stands for."""
    joints = scene.loaded.arm.document.joints
    speeds: dict[str, Any] = {}
    if "rate" in options:
        speeds["rate"] = options["rate"]
    if "tip_speed" in options:
        speeds["tip_speed"] = f"{options['tip_speed']:g} m/s"
    moves: list[dict[str, Any]] = []
    count = len(way.points) - 1
    for number, point in enumerate(way.points[1:], start=1):
        move: dict[str, Any] = {}
        if last.name is not None:
            move["name"] = last.name if number == count else f"{last.name[:38]}_by_{number}"
        if last.say and number == count:
            move["say"] = last.say
        degrees = np.degrees(point).tolist()
        move["to_joints"] = {joint: f"{value:.4f} deg" for joint, value in zip(joints, degrees, strict=True)}
        moves.append({**move, **speeds})
    return tuple(moves)
