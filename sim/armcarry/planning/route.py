"""Routes: the free stretches of a carry flown with a large proven margin, worksites as they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.asked.zones import Here
from armcarry.errors import FrameError, InputError, ReachError
from armcarry.files.documents.carries import Carry, Move
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.motion.path import rounded
from armcarry.planning.blocked import why_none
from armcarry.planning.other_goals import other_goals
from armcarry.planning.roadmap import find_way
from armcarry.planning.script import write_with_moves
from armcarry.planning.space import ArmSpace, space_between
from armcarry.planning.ways import Way as ArmWay
from armcarry.planning.ways import standing
from armcarry.scene.build import Scene
from armcarry.scene.tree import WORLD
from armcarry.timeline.carry import timed
from armcarry.timeline.moves import goal_of
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.variants import plan_all

Tell = Callable[[str, float], None]

#: a move that begins or ends this near a place that grants less is an approach, m
AT_PLACE_M = 0.5
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
        reason: why there is none, empty where there is a way.
        moves: the moves to write, empty unless better.
        other_branch: whether the goal is taken on another branch of the arm than the script's.
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
    other_branch: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is unknown is null."""
        numbers = {"script_m": self.script_m, "script_s": self.script_s, "route_m": self.route_m,
                   "route_s": self.route_s}  # fmt: skip
        return {
            "carry": self.carry, "first_move": self.first + 1, "moves": self.count, "title": self.title,
            **{key: value if np.isfinite(value) else None for key, value in numbers.items()},
            "better": self.better, "other_branch": self.other_branch, "reason": self.reason,
        }  # fmt: skip

    @property
    def outcome(self) -> str:
        """What became of it, in a few words."""
        if self.better:
            gained = "new, more room" if self.route_m > self.script_m + SAME_M else "new, quicker"
            return f"{gained}, other branch" if self.other_branch else gained
        return "as scripted" if self.way is not None and self.way.free else "no way"

    def row(self) -> tuple[str, ...]:
        """Return a row for the terminal."""

        def told(value: float, unit: str, places: int) -> str:
            return f"{value:.{places}f} {unit}" if np.isfinite(value) else "none"

        return (
            f"{self.carry}: {self.title}", told(self.script_m, "m", 3), told(self.route_m, "m", 3),
            told(self.script_s, "s", 0), told(self.route_s, "s", 0), self.outcome,
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
    write_with_moves(source, target, replaced, "found by armcarry route; via points are rounded without stopping")
    return len(better)


HEADINGS = ("stretch", "margin scripted", "margin found", "time scripted", "time found", "outcome")


def find_routes(
    scene: Scene, *, carry: str | None = None, seed: int = 1, nearer_m: float = 0.0, tell: Tell | None = None
) -> tuple[Stretch, ...]:
    """Find a way for every stretch of moves through free space.

    A stretch is a run of moves of the arm without relaxations; holds, switches and moves at worksites stay. Where a
    stretch starts stays too, and where it ends, except that a pose or worksite may be taken on another branch of the
    arm if all that comes behind it can be flown from there as well. The margin is that of ``ArmSpace``.

    Args:
        scene: of the scenario.
        carry: only this one.
        seed: of the search; the same seed gives the same routes.
        nearer_m: riders stay this much nearer to handrails than the rules' tether allows, where the ends do.
        tell: told what is being done and the share of the whole.

    Raises:
        InputError: the scenario has no such carry, or no carry with moves of its own.
    """
    say = tell or (lambda words, share: None)
    carries = {item.name: item for item in scene.loaded.scenario.carries}
    own = [name for name, item in carries.items() if item.moves]
    if carry is not None and carry not in own:
        raise FrameError("carry with moves of its own", carry, own)
    if not own:
        raise InputError("the scenario has no carry with moves of its own, so there is nothing to route")
    say("planning the script", 0.0)
    wanted, found = (own if carry is None else [carry]), list[Stretch]()
    script, shifted = tuple(carries.values()), dict.fromkeys(carries, 0)
    start = Way(scene.tree, scene.position)
    way, shortfall = plan_all(scene, script, start)
    number = 0
    while number < len(runs := [run for run in _free_runs(scene, way.moves) if run[0].carry in wanted]):
        say(f"stretch {number + 1} of {len(runs)}", 0.1 + 0.8 * number / len(runs))
        run = runs[number]
        stretch = _improved(scene, script, run, seed, nearer_m)
        found.append(replace(stretch, first=stretch.first + shifted[run[0].carry]))
        if stretch.other_branch:
            # what comes behind starts elsewhere now
            script = _with(script, stretch)
            shifted[run[0].carry] += stretch.count - len(stretch.moves)
            way, shortfall = plan_all(scene, script, start)
        number += 1
    if shortfall is not None and shortfall.carry in wanted:
        say("the move that cannot be made", 0.9)
        move = next(item for item in script if item.name == shortfall.carry).moves[shortfall.number - 1]
        stretch = _unmade(scene, way, shortfall.carry, shortfall.number - 1, move, seed)
        found.append(replace(stretch, first=stretch.first + shifted[shortfall.carry]))
    return tuple(found)


def _with(script: tuple[Carry, ...], stretch: Stretch) -> tuple[Carry, ...]:
    """Return the carries with a stretch's moves in place."""
    new = [Move.model_validate(move) for move in stretch.moves]
    return tuple(
        item if item.name != stretch.carry
        else item.model_copy(
            update={"moves": [*item.moves[: stretch.first], *new, *item.moves[stretch.first + stretch.count :]]}
        )
        for item in script
    )  # fmt: skip


def _free_runs(scene: Scene, moves: tuple[PlannedMove, ...]) -> list[list[PlannedMove]]:
    """Return the runs of moves of the arm through free space, in order; none ends where it begins."""
    runs: list[list[PlannedMove]] = []
    before: PlannedMove | None = None
    for planned in moves:
        free = planned.move.kind in FREE_KINDS and not planned.move.relax and planned.path is not None
        free = free and not _at_a_place(scene, planned)
        follows = before is not None and before.carry == planned.carry and runs and runs[-1][-1] is before
        # the way back is a stretch of its own: together with the way there it would lead nowhere
        if free and follows and not np.allclose(runs[-1][0].start, planned.end, rtol=0, atol=1e-6):
            runs[-1].append(planned)
        elif free:
            runs.append([planned])
        before = planned
    return runs


def _at_a_place(scene: Scene, planned: PlannedMove) -> bool:
    """Tell whether a move begins or ends where a place grants less to who is there: an approach, not a way."""
    tree = planned.tree
    here, moved = Here(scene, tree), {*scene.restraints_on_arm(tree), *scene.aboard(tree), *scene.carried(tree)}
    granted = [item for end in (planned.start, planned.end) for item in here.at(end, nearer_m=AT_PLACE_M)]
    return any(item.pattern_a.split("/", 1)[0] in moved for item in granted)


def _title(run: list[PlannedMove]) -> str:
    names = [planned.move.name or planned.words for planned in run]
    return names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"


def _improved(scene: Scene, script: tuple[Carry, ...], run: list[PlannedMove], seed: int, nearer_m: float) -> Stretch:
    """Return a stretch that the script flies, with the way found for it."""
    columns = scene.arm_columns
    ends = np.stack([run[0].start[columns], run[-1].end[columns]])
    space = space_between(scene, run[0].tree, run[0].start, ends, nearer_m)
    script_m = min(space.along(planned.path.curve) for planned in run if planned.path is not None)
    script_s = sum(_seconds(scene, planned) for planned in run)
    hints = np.array([planned.end[columns] for planned in run[:-1]]).reshape(-1, len(columns))
    goals = np.concatenate([ends[1:], other_goals(scene, script, run, space)])
    way = find_way(space, ends[0], goals, seed=seed, hints=hints)
    place = (run[0].carry, run[0].number - 1, len(run), _title(run), script_m, script_s)
    if not way.free:
        return Stretch(*place, way, np.inf, np.inf, False, why_none(scene, space, way, seed))
    moves = (written_way(scene, way.points, run[-1].move, _options(run)),)
    route_m = space.along(rounded(scene.arm_joints, way.points).curve)
    route_s = _way_seconds(scene, run[0], way, moves[0])
    better = route_m > script_m + SAME_M or (route_m > script_m - SAME_M and route_s < script_s - SAME_S)
    if not better:
        return Stretch(*place, way, route_m, route_s, False, "")
    other = not np.array_equal(way.points[-1], ends[1])
    return Stretch(*place, way, route_m, route_s, True, "", moves, other)


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
        goals = np.clip(solutions(chain, pose, what=title), space.limits[:, 0], space.limits[:, 1])
    except ReachError as error:
        reason = f"{error}; a base station nearer to it may open it: armcarry stations"
        return Stretch(*place, None, np.inf, np.inf, False, reason)
    room = space.margins(standing(goals)).lower_m
    goals = goals[np.argsort(-room, kind="stable")[:GOALS]]
    way = find_way(space, at.position[scene.arm_columns], goals, seed=seed)
    if not way.free:
        return Stretch(*place, way, np.inf, np.inf, False, why_none(scene, space, way, seed))
    written = written_way(scene, way.points, move, {})
    start = PlannedMove(carry, number + 1, move, title, at.tree, at.tree, at.position, at.position, point)
    margin = space.along(rounded(scene.arm_joints, way.points).curve)
    return Stretch(*place, way, margin, _way_seconds(scene, start, way, written), True, "", (written,))


def _seconds(scene: Scene, planned: PlannedMove) -> float:
    motion = timed(scene, planned, 0.0)
    return 0.0 if motion is None else motion.duration_s


def _way_seconds(scene: Scene, like: PlannedMove, way: ArmWay, written: dict[str, Any]) -> float:
    """Return how long a way takes when it is timed like any other move."""
    end = like.start.copy()
    end[scene.arm_columns] = way.points[-1]
    return _seconds(
        scene, replace(like, move=Move.model_validate(written), end=end, path=rounded(scene.arm_joints, way.points),
                       tool=scene.tool(like.tree)),
    )  # fmt: skip


def _options(run: list[PlannedMove]) -> dict[str, float]:
    """Return the speeds that the script asks for along a stretch; the slowest holds for all of the way."""
    asked = {
        "rate": [planned.move.rate for planned in run if planned.move.rate < 1.0],
        "tip_speed": [planned.move.tip_speed for planned in run if planned.move.tip_speed is not None],
    }
    return {key: min(values) for key, values in asked.items() if values}


def written_way(scene: Scene, way: Array, last: Move, options: dict[str, float]) -> dict[str, Any]:
    """Return a way (W, A) as a move of a script, with the name and words of the last move it stands for."""
    joints = scene.loaded.arm.document.joints
    turns = {joint.name for joint in scene.loaded.arm.model.joints if joint.kind == "revolute"}
    points = [
        {one: f"{np.degrees(q):.4f} deg" if one in turns else f"{q:.6f} m" for one, q in zip(joints, at, strict=True)}
        for at in way[1:].tolist()
    ]
    move: dict[str, Any] = {key: value for key, value in (("name", last.name), ("say", last.say)) if value}
    move["to_joints"] = points[-1]
    if len(points) > 1:
        move["via"] = points[:-1]
    if "rate" in options:
        move["rate"] = options["rate"]
    if "tip_speed" in options:
        move["tip_speed"] = f"{options['tip_speed']:g} m/s"
    return move
