"""A free worker's motion along handrails: six free joints, at rest at every corner."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.crew import FREE_JOINTS
from armcarry.timeline.handrails import RailRoute

#: a turn is made in steps of at most this, so that the gloves stay at the rail to a few centimetres, rad
TURN_STEP = math.radians(30.0)
#: boots come this far straight off a plate or stand before the body turns, and as far straight down onto it, m
RISE_M = 0.3
#: below this cosine of pitch, yaw and roll turn about the same axis
LOCKED = 1e-7


@dataclass(frozen=True)
class Pace:
    """How fast a worker goes. Only the speed is the crew model's; the rest are assumptions."""

    speed_m_s: float
    acceleration_m_s2: float = 0.1
    turn_rad_s: float = 0.2
    turn_rad_s2: float = 0.1

    def __post_init__(self) -> None:
        if not min(self.speed_m_s, self.acceleration_m_s2, self.turn_rad_s, self.turn_rad_s2) > 0.0:
            raise MotionError("a worker's speeds and accelerations must be above 0")


def body_poses(
    route: RailRoute,
    grip_m: ArrayLike,
    start: Array | None = None,
    goal: Array | None = None,
    turns: Array | None = None,
) -> Array:
    """Return the poses T_world_boots (K, 4, 4) a worker goes through on a route.

    The gloves, at grip_m (3,) in the boots frame, are on the rail. Corners come twice, before and after
    the turn.

    Args:
        turns: rotation of the body on every leg (K, 3, 3); by default the head (+z) leads and the chest
            (+x) faces the rail.
        start, goal: boots poses (4, 4) before and after the route, such as a hatch and a worksite's
            stand; None to begin and end on the rail.
    """
    grip = np.asarray(grip_m, dtype=float)
    keys = [] if start is None else [start]
    for leg, (a, b) in enumerate(pairwise(route.points)):
        turn = facing(b - a, route.aways[leg]) if turns is None else turns[leg]
        for corner in (a, b):
            pose = poses.identity()
            pose[:3, :3] = turn
            pose[:3, 3] = corner - turn @ grip
            keys.append(pose)
    if goal is not None:
        keys.append(goal)
    return np.stack(keys)


def lifted(pose: Array) -> Array:
    """Return the pose (4, 4) of boots straight over where they stand."""
    return pose @ poses.translation((0.0, 0.0, RISE_M))


def translate_path(
    keys: Array, grip_m: ArrayLike, pace: Pace, joints: Sequence[str], *, start_s: float = 0.0
) -> Motion:
    """Return the Motion of the six free joints through boots poses keys (K, 4, 4).

    Between keys the grip point goes straight and the body turns about one axis, a turn cut into steps
    of at most 30 deg; every step goes from rest to rest, its speed a trapezoid. Angles never jump: each
    pose takes the yaw, pitch, roll nearest to the pose before it.

    Args:
        joints: full names of the free joints, order as armcarry.scene.crew.FREE_JOINTS.

    Raises:
        MotionError: not six joints, or no way to go.
    """
    if len(joints) != len(FREE_JOINTS):
        raise MotionError(f"a worker moves on {len(FREE_JOINTS)} free joints, not {len(joints)}")
    positions = joint_positions(_fine(keys, np.asarray(grip_m, dtype=float)))
    breaks, tables = [start_s], []
    for a, b in pairwise(positions):
        for duration, table in _trapezoid(a, b, pace):
            breaks.append(breaks[-1] + duration)
            tables.append(table)
    if not tables:
        raise MotionError("the worker is there already; there is no way to go")
    return Motion(tuple(joints), np.array(breaks), np.stack(tables))


def joint_positions(keys: Array, before: ArrayLike | None = None) -> Array:
    """Return x, y, z, yaw, pitch, roll (K, 6) of poses (K, 4, 4), each angle nearest to the one before.

    Args:
        before: yaw, pitch, roll (3,) to be near to at first; default 0.
    """
    near = np.zeros(3) if before is None else np.asarray(before, dtype=float)
    rows = []
    for key in keys:
        near = _nearest_angles(key[:3, :3], near)
        rows.append(np.concatenate([key[:3, 3], near]))
    return np.stack(rows)


def _nearest_angles(r: Array, near: Array) -> Array:
    """Return the yaw, pitch, roll of a rotation that need the least turning from ``near``.

    A rotation has two such triples, each up to whole turns; where pitch is +-90 deg a whole line of
    them, of which the one that keeps roll is taken.
    """
    cosine = math.hypot(r[0, 0], r[1, 0])
    if cosine < LOCKED:
        pitch = math.atan2(-r[2, 0], cosine)
        sign = 1.0 if pitch > 0 else -1.0
        # r[0, 1] = -sin(yaw - sign roll), r[1, 1] = cos(yaw - sign roll)
        together = math.atan2(-r[0, 1], r[1, 1])
        candidates = [np.array([together + sign * near[2], pitch, near[2]])]
    else:
        yaw, roll = math.atan2(r[1, 0], r[0, 0]), math.atan2(r[2, 1], r[2, 2])
        pitch = math.atan2(-r[2, 0], cosine)
        candidates = [np.array([yaw, pitch, roll]), np.array([yaw + math.pi, math.pi - pitch, roll + math.pi])]
    whole = [c + 2.0 * math.pi * np.round((near - c) / (2.0 * math.pi)) for c in candidates]
    return min(whole, key=lambda c: float(np.abs(c - near).sum()))


def facing(along: Array, away: Array) -> Array:
    """Return the rotation (3, 3) of a body whose head leads along and whose chest faces against away."""
    head = along / np.linalg.norm(along)
    front = -(away - np.dot(away, head) * head)
    if np.linalg.norm(front) < 1e-6:  # no side given, or along it: any front square to the way
        front = np.cross(head, np.eye(3)[int(np.argmin(np.abs(head)))])
    front = front / np.linalg.norm(front)
    return np.column_stack([front, np.cross(head, front), head])


def _fine(keys: Array, grip: Array) -> Array:
    """Cut every turn into steps of at most TURN_STEP, the grip point going straight meanwhile."""
    fine = [keys[0]]
    for a, b in pairwise(keys):
        vector = poses.rotation_vector(poses.inverse(a) @ b)
        angle = float(np.linalg.norm(vector))
        count = max(math.ceil(angle / TURN_STEP - 1e-9), 1)
        from_m, to_m = poses.apply(a, grip), poses.apply(b, grip)
        for step in range(1, count):
            share = step / count
            pose = a @ poses.rotation_about(vector / angle, share * angle)
            pose[:3, 3] = (1.0 - share) * from_m + share * to_m - pose[:3, :3] @ grip
            fine.append(pose)
        fine.append(b)
    return np.stack(fine)


def _trapezoid(a: Array, b: Array, pace: Pace) -> list[tuple[float, Array]]:
    """Return pieces (duration, coefficients (3, 6)) from rest at a (6,) to rest at b (6,), none if equal."""
    delta = b - a
    distance, turn = float(np.linalg.norm(delta[:3])), float(np.abs(delta[3:]).max())
    if distance < 1e-9 and turn < 1e-9:
        return []
    rate = min(pace.speed_m_s / max(distance, 1e-12), pace.turn_rad_s / max(turn, 1e-12))  # of the share, 1/s
    ramp = min(pace.acceleration_m_s2 / max(distance, 1e-12), pace.turn_rad_s2 / max(turn, 1e-12))
    ramp_s = min(rate / ramp, math.sqrt(1.0 / ramp))
    rate = ramp * ramp_s
    cruise_s = max(1.0 / rate - ramp_s, 0.0)
    edge = 0.5 * rate * ramp_s
    pieces = [(ramp_s, (0.0, 0.0, 0.5 * ramp))]
    if cruise_s > 1e-9:
        pieces.append((cruise_s, (edge, rate, 0.0)))
    pieces.append((ramp_s, (1.0 - edge, rate, -0.5 * ramp)))
    result = []
    for duration, share in pieces:
        table = np.outer(share, delta)
        table[0] += a
        result.append((duration, table))
    return result
