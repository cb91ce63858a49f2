"""A run as it would be after a fault: standing where the arm is nearest to what it comes too near to.

Findings about faults hold the positions of the arm's joints there. A run that stands in that posture is drawn, and
looked at, by all that draws and looks at a run.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.views.groups import Group

#: what a fault moves less than this is where it was, m
_SAME_M = 1e-3


def held(record: Record, time_s: float, joints: tuple[float, ...]) -> Record:
    """Return a run that stands still, through the phase of an instant, as it is then but for the arm's joints (n,)."""
    phase = record.phase_at(time_s)
    motion = Motion.hold(record.motion.joints, position(record, time_s, joints), phase.start_s, phase.end_s)
    return replace(record, phases=(phase,), motion=motion, kept=record.ledger)


def position(record: Record, time_s: float, joints: tuple[float, ...]) -> Array:
    """Return the joint vector of an instant with other positions of the arm's joints (n,)."""
    found = np.array(record.motion.at(time_s), dtype=float).reshape(-1)
    found[record.scene.arm_columns] = joints
    return found


def displaced(
    record: Record, time_s: float, joints: tuple[float, ...], groups: tuple[Group, ...]
) -> list[tuple[Group, Array]]:
    """Return the groups that stand elsewhere with other positions of the arm's joints (n,), each with T_world_link."""
    moving = [group for group in groups if group.moves and group.drawn_arm is None]
    if not moving:
        return []
    tree, links = record.phase_at(time_s).tree, [group.link for group in moving]
    now, then = (forward(tree, at, links) for at in (record.motion.at(time_s), position(record, time_s, joints)))
    off_m = np.linalg.norm(then[:, :3, 3] - now[:, :3, 3], axis=1) + np.abs(then - now)[:, :3, :3].max(axis=(1, 2))
    return [(group, pose) for group, pose, off in zip(moving, then, off_m, strict=True) if off > _SAME_M]
