"""Another way for the arm to hold its tool where it is: the remedy that a gap beside the arm itself may have.

What rides or is held stands the same on every branch of the arm, so only bodies of the arm get room by it. What is
said is computed for one instant; the way to it and from it is the script's, and is judged when it is rehearsed.
"""

from __future__ import annotations

import numpy as np

from armcarry.asked.pairs import arm_pairs
from armcarry.asked.requirement import Requirement
from armcarry.clearance.distance import distances
from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.inverse import solutions
from armcarry.record.record import Record
from armcarry.scene.tree import WORLD
from armcarry.scene.words import plain_joint

#: branches that are tried at one instant, widest joint margin first; a branch differs by at least this in some joint
_TRIED, _OTHER_RAD = 12, np.radians(20.0)
#: a joint that turns less than this to the other branch is not named
_NAMED_RAD = np.radians(5.0)


def other_branch(record: Record, time_s: float) -> str:
    """Say on which other branch the arm could stand at an instant so that every pair keeps its requirement then.

    Args:
        record: the run.
        time_s: the instant.

    Returns:
        The joints that stand elsewhere, ``elbow bend -96 deg, wrist lift 40 deg``; empty where no branch that was
        tried keeps all clearances and joint margins.
    """
    scene, best = record.scene, branch_at(record, time_s)
    if best is None:
        return ""
    turns = scene.tree.revolute[scene.arm_columns]
    turned = np.abs(_apart(best - record.motion.at(time_s)[scene.arm_columns], turns))
    return ", ".join(
        f"{plain_joint(joint)} {np.degrees(value):.0f} deg" if turns[k] else f"{plain_joint(joint)} {value:.2f} m"
        for k, (joint, value) in enumerate(zip(scene.arm_joints, best, strict=True)) if turned[k] > _NAMED_RAD
    )  # fmt: skip


def branch_at(record: Record, time_s: float) -> Array | None:
    """Return the joints of the arm (n,) on the branch of ``other_branch``, rad or m; None where there is none."""
    found, left = branches_at(record, time_s)
    best = int(np.argmax(left)) if len(left) else -1
    return None if best < 0 or left[best] < 0.0 else np.asarray(found[best])


def branches_at(record: Record, time_s: float) -> tuple[Array, Array]:
    """Return other branches on which the tool is where it is at an instant, with joint margins kept.

    Returns:
        (B, n) joints of the arm, rad or m, widest joint margin first; (B,) the least distance beyond what is required.
    """
    scene, phase = record.scene, record.phase_at(time_s)
    tree, position, columns = phase.tree, record.motion.at(time_s), scene.arm_columns
    tool = scene.tool(tree)
    chain = Chain.of(tree, WORLD, tool, joints=scene.arm_joints, held=position)
    try:
        found = solutions(chain, tree.pose_of(tool, position), what="the tool's place")
    except ReachError:
        return np.zeros((0, len(columns))), np.zeros(0)
    now, turns = position[columns], chain.revolute
    other = [q for q in found if np.abs(_apart(q - now, turns)).max() > _OTHER_RAD and _roomy(record, chain, q)]
    if not other:
        return np.zeros((0, len(columns))), np.zeros(0)
    tried = np.repeat(position[None], len(other[:_TRIED]), axis=0)
    tried[:, columns] = other[:_TRIED]
    return np.stack(other[:_TRIED]), least_left_m(record, time_s, tried)


def least_left_m(record: Record, time_s: float, positions: Array) -> Array:
    """Return the least proven distance beyond what is required (N,) at joint vectors (N, n).

    Things hang as they do at the instant. Every pair counts that the arm can move against one another, also those
    that the run itself keeps far apart or at rest, with what is required of it then.
    """
    scene, tree = record.scene, record.phase_at(time_s).tree
    asked = Requirement(scene, tree, arm_pairs(scene, tree), record.relaxed).at(time_s)
    asked = asked.take(~np.isnan(asked.required_m))
    if not len(asked.pairs):  # no rule names what the arm moves
        return np.full(len(positions), np.inf)
    used, renumbered = np.unique(asked.pairs, return_inverse=True)
    bodies = [tree.bodies[k] for k in used]
    world = forward(tree, positions, [body.link for body in bodies]) @ np.stack([body.pose for body in bodies])
    found = distances([body.shape for body in bodies], world, renumbered.reshape(-1, 2))
    return np.asarray((found.lower_m - asked.required_m).min(axis=1))


def _roomy(record: Record, chain: Chain, q: Array) -> bool:
    """Tell whether joints keep the margins of the rules from their ends of travel."""
    margins = record.scene.loaded.rules.margins
    margin = np.where(chain.revolute, margins.joint_position, margins.joint_travel)
    low, high = chain.limits.T
    return bool(np.all((q - low >= margin) & (high - q >= margin)))


def _apart(change: Array, turns: np.ndarray) -> Array:
    """Return a change of joints, whole turns taken out where they turn."""
    return np.where(turns, (change + np.pi) % (2 * np.pi) - np.pi, change)
