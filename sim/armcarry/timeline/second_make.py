"""A move that cannot be made is asked of another solver too, once, before anybody is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from armcarry.files.documents.carries import Carry
from armcarry.geometry import poses
from armcarry.motion.toolbox import taken
from armcarry.scene.build import ARM, Scene
from armcarry.timeline.moves import goal_of
from armcarry.timeline.planned import Way
from armcarry.timeline.run import Shortfall
from armcarry.timeline.variants import repeated

#: searches of the other solver, each from a start of its own
SEEDS = 100
_SOLVER = "roboticstoolbox's own solver"


def asked_again(scene: Scene, carries: Sequence[Carry], way: Way, shortfall: Shortfall) -> Shortfall:
    """Return a shortfall with what roboticstoolbox's solver finds for the pose at the end of the move.

    Args:
        carries: among which the move is.
        way: the moves before it.
    """
    carry = next(one for one in repeated(scene, carries) if one.name == shortfall.carry)
    move = carry.moves[shortfall.number - 1]
    point, goal = goal_of(scene, way, move)
    arm = scene.loaded.arm
    base, tip = (way.tree.pose_of(f"{ARM}/{link}", way.position) for link in (arm.document.base, arm.document.tip))
    there = way.tree.pose_of(point, way.position)
    line = move.line
    if line is not None and line.free in ("x", "y", "z"):
        return shortfall  # it knows no turning about an axis of the point
    turned = line is None or line.free is None
    found = taken(arm, poses.inverse(base) @ goal, poses.inverse(tip) @ there, turned=turned, seeds=SEEDS)
    said = _said(found is not None, line is not None, bool(move.pin))
    return replace(shortfall, reason=f"{shortfall.reason}; {said}")


def _said(found: bool, line: bool, pinned: bool) -> str:
    what = "the end of the line" if line else "the pose"
    if not found:
        return f"{_SOLVER} does not reach {what} either, from {SEEDS} starts"
    if line:
        return f"{_SOLVER} does reach {what}: what stops the arm is on the way, or the branch it is on"
    if pinned:
        return f"{_SOLVER} does reach {what} with nothing pinned"
    return f"{_SOLVER} does reach {what}, so doubt this and look at both"
