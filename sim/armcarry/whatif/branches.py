"""Another way for the arm to hold its tool where it is: the remedy that a gap beside the arm itself may have.

What rides or is held stands the same on every branch of the arm, so only bodies of the arm get room by it. What is
said is computed for one instant; the way to it and from it is the script's, and is judged when it is rehearsed.
"""

from __future__ import annotations

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.clearance.distance import distances
from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.motion.inverse import solutions
from armcarry.record.record import Record
from armcarry.scene.rules import required_clearance_m
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
    scene, phase = record.scene, record.phase_at(time_s)
    tree, position, columns = phase.tree, record.motion.at(time_s), scene.arm_columns
    tool = scene.tool(tree)
    chain = Chain.of(tree, WORLD, tool, joints=scene.arm_joints, held=position)
    try:
        found = solutions(chain, tree.pose_of(tool, position), what="the tool's place")
    except ReachError:
        return ""
    now, turns = position[columns], chain.revolute
    other = [q for q in found if np.abs(_apart(q - now, turns)).max() > _OTHER_RAD and _roomy(record, chain, q)]
    if not other:
        return ""
    tried = np.repeat(position[None], len(other[:_TRIED]), axis=0)
    tried[:, columns] = other[:_TRIED]
    left = least_left_m(record, time_s, tried)
    best = int(np.argmax(left))
    if left[best] < 0.0:
        return ""
    return ", ".join(
        f"{plain_joint(joint)} {np.degrees(value):.0f} deg" if turns[k] else f"{plain_joint(joint)} {value:.2f} m"
        for k, (joint, value) in enumerate(zip(scene.arm_joints, other[best], strict=True))
        if abs(_apart(other[best] - now, turns)[k]) > _NAMED_RAD
    )


def least_left_m(record: Record, time_s: float, positions: Array) -> Array:
    """Return the least proven distance beyond what is required (N,) at joint vectors (N, n).

    Things hang as they do at the instant. Every pair counts that the arm can move against one another, also those
    that the run itself keeps far apart or at rest, with what is required of it then.
    """
    tree = record.phase_at(time_s).tree
    pairs, required = _asked(record, time_s)
    used, renumbered = np.unique(pairs, return_inverse=True)
    bodies = [tree.bodies[k] for k in used]
    world = forward(tree, positions, [body.link for body in bodies]) @ np.stack([body.pose for body in bodies])
    found = distances([body.shape for body in bodies], world, renumbered.reshape(-1, 2))
    return np.asarray((found.lower_m - required).min(axis=1, initial=np.inf))


def _asked(record: Record, time_s: float) -> tuple[np.ndarray, Array]:
    """Return pairs (P, 2) of bodies of the tree at an instant and what is required of them then (P,), m."""
    scene, tree = record.scene, record.phase_at(time_s).tree
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = record.motion.at(time_s)
    table[0, 1, scene.arm_columns] = 1e-3  # every joint of the arm moves, so every pair is there that it can move
    pairs, _ = judged_pairs(scene, tree, Motion(tree.joints, np.array([0.0, 1.0]), table))
    here: dict[tuple[str, str], float | None] = {}
    for row in record.pairs:
        if row.start_s <= time_s <= row.end_s:
            key, known = (row.body_a, row.body_b), here.get((row.body_a, row.body_b), np.inf)
            here[key] = None if row.required_m is None or known is None else min(row.required_m, known)
    names, classes = [body.name for body in tree.bodies], scene.body_classes(tree)
    required = [
        here.get((names[a], names[b]), required_clearance_m(scene.loaded.rules, classes[a], classes[b]))
        for a, b in pairs.tolist()
    ]
    asked = np.array([each is not None for each in required], dtype=bool)
    return pairs[asked], np.array([each for each in required if each is not None], dtype=float)


def _roomy(record: Record, chain: Chain, q: Array) -> bool:
    """Tell whether joints keep the margins of the rules from their ends of travel."""
    margins = record.scene.loaded.rules.margins
    margin = np.where(chain.revolute, margins.joint_position, margins.joint_travel)
    low, high = chain.limits.T
    return bool(np.all((q - low >= margin) & (high - q >= margin)))


def _apart(change: Array, turns: np.ndarray) -> Array:
    """Return a change of joints, whole turns taken out where they turn."""
    return np.where(turns, (change + np.pi) % (2 * np.pi) - np.pi, change)
