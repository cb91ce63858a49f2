"""Other branches of the arm on which the end of a stretch can be taken, so that the rest can still be flown."""

from __future__ import annotations

import numpy as np

from armcarry.asked.tightness import Tightness
from armcarry.errors import ReachError
from armcarry.files.documents.carries import Carry
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.planning.space import ArmSpace
from armcarry.planning.ways import standing
from armcarry.scene.build import Scene
from armcarry.scene.tree import WORLD
from armcarry.timeline.moves import goal_of, plan_carries
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.widen import widened

#: branches with the largest margin whose sequel is planned
TRIED = 6
#: and this many of them, at most, are goals
GOALS = 3
#: the moves behind may lack this much more than the script's, m
SAME_M = 0.01


def other_goals(scene: Scene, script: tuple[Carry, ...], run: list[PlannedMove], space: ArmSpace) -> Array:
    """Return joint positions (G, A) that take the pose at the end of a run otherwise than the script does.

    From each of them the rest of the carry can be planned, and until the next free stretch nothing comes
    nearer than on the script's branch. None where the script pins a joint or names joint positions.

    Args:
        scene, script: what is flown.
        run: moves of one carry; the last of them ends at the pose.
        space: of the run.
    """
    last, none = run[-1], np.zeros((0, len(scene.arm_columns)))
    if last.move.kind not in ("to_pose", "to_worksite") or last.move.pin:
        return none
    point, pose = goal_of(scene, Way(last.tree, last.start), last.move)
    chain = Chain.of(last.tree, WORLD, point, joints=scene.arm_joints, held=last.start)
    found = solutions(chain, pose, what=last.words)
    kept = np.all((found >= space.limits[:, 0]) & (found <= space.limits[:, 1]), axis=1)
    kept &= np.abs(found - last.end[scene.arm_columns]).max(axis=1) > 0.05
    found = found[kept]
    room = space.margins(standing(found), give_up_m=0.0).lower_m if len(found) else np.zeros(0)
    order = [k for k in np.argsort(-room, kind="stable")[:TRIED].tolist() if room[k] >= 0.0]
    if not order:
        return none
    (carry,) = (item for item in script if item.name == last.carry)
    rest = carry.model_copy(update={"moves": carry.moves[last.number :]})
    tightness = Tightness(scene)
    allowed = _lacking(scene, tightness, rest, Way(last.after, last.end)) + SAME_M
    goals = []
    for q in found[order]:
        end = last.end.copy()
        end[scene.arm_columns] = q
        if _lacking(scene, tightness, rest, Way(last.after, end)) <= allowed:
            goals.append(q)
        if len(goals) == GOALS:
            break
    return np.array(goals) if goals else none


def flyable_goals(scene: Scene, carry: Carry, number: int, at: Way) -> tuple[Array, float]:
    """Return joint positions (G, A) that take a goal so that what follows can be flown, and what that lacks, m.

    What follows is the rest of the carry up to the next move whose way is found. Of all positions those are returned
    from which it comes least too near anything.

    Args:
        scene: documents and models.
        carry: whose move it is.
        number: of the move, from 0.
        at: where everything is before it.
    """
    move, none = carry.moves[number], np.zeros((0, len(scene.arm_columns)))
    if move.kind not in ("to_pose", "to_worksite") or move.pin:
        return none, np.inf
    point, pose = goal_of(scene, at, move)
    chain = Chain.of(at.tree, WORLD, point, joints=scene.arm_joints, held=at.position)
    try:
        found = solutions(chain, pose, what=move.say or move.kind)
    except ReachError:
        return none, np.inf
    space = ArmSpace(scene, at.tree, at.position)
    found = found[np.all((found >= space.limits[:, 0]) & (found <= space.limits[:, 1]), axis=1)]
    room = space.margins(standing(found)).lower_m if len(found) else np.zeros(0)
    tightness, goals = Tightness(scene, bending=True), list[tuple[float, Array]]()
    for k in np.argsort(-room, kind="stable")[: 2 * TRIED].tolist():
        end = at.position.copy()
        end[scene.arm_columns] = found[k]
        lacking = max(_lacking(scene, tightness, following(carry, number), Way(at.tree, end)), -float(room[k]))
        if np.isfinite(lacking):
            goals.append((lacking, found[k]))
    if not goals:
        return none, np.inf
    least = max(min(lacking for lacking, _ in goals), 0.0)
    return np.array([q for lacking, q in goals if lacking <= least + 0.1 * SAME_M][: 2 * GOALS]), least


def following(carry: Carry, number: int) -> Carry:
    """Return the moves of a carry behind one of them, up to the next whose way is found."""
    rest = carry.moves[number + 1 :]
    last = next((k for k, move in enumerate(rest) if move.way == "find"), len(rest))
    return carry.model_copy(update={"moves": rest[:last]})


def _lacking(scene: Scene, tightness: Tightness, rest: Carry, start: Way) -> float:
    """Return what the moves of a carry lack most, relaxations aside, m; inf where they cannot all be made."""
    if not rest.moves:
        return 0.0
    way, shortfall = plan_carries(scene, (rest,), start)
    if shortfall is not None:
        return float("inf")
    lacking = [
        tightness.lacking_m(planned.tree, widened(scene, planned.path.curve, planned.start))
        for planned in way.moves if planned.path is not None
    ]  # fmt: skip
    return max(lacking, default=0.0)
