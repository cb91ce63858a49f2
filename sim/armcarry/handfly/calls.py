"""The rider's voice: where the goal lies, in the directions of the rider's own body; and ways out of a corner."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import rotation_vector
from armcarry.handfly.control import Pilot
from armcarry.handfly.live import Readings
from armcarry.scene.words import plain, plain_joint

#: nearer than this along a direction nothing is said of it, m; turned by less than this neither, rad
_SAME_M, _SAME_RAD = 0.02, np.radians(1.5)
#: a way off a close pair is told while it has less than this to spare, m
_NEAR_M = 0.1
_WAYS = (("forward", "back"), ("to your left", "to your right"), ("up", "down"))
_TURNS = (("lean to your right", "lean to your left"), ("tip forward", "tip back"), ("turn left", "turn right"))


def call(pilot: Pilot) -> str:
    """Say where the end of the leg that is flown lies, largest part first, as a rider would call it.

    Directions are those of the rider's chest (+x forward, +y left, +z up); of the tool when nobody rides.
    """
    goal = pilot.course.legs[pilot.course.goal_from(pilot.leg)]
    here, axes = pilot.tool_pose(), pilot.axes("rider")
    way = axes.T @ (goal.goal[:3, 3] - here[:3, 3])
    turn = axes.T @ here[:3, :3] @ rotation_vector(np.linalg.inv(here[:3, :3]) @ goal.goal[:3, :3])
    parts = [
        f"{spoken(abs(way[k]))} {_WAYS[k][0 if way[k] > 0 else 1]}"
        for k in np.argsort(-np.abs(way), kind="stable") if abs(way[k]) > _SAME_M
    ]  # fmt: skip
    k = int(np.argmax(np.abs(turn)))
    if abs(turn[k]) > _SAME_RAD:
        parts.append(f"{_TURNS[k][0 if turn[k] > 0 else 1]} {np.degrees(abs(turn[k])):.0f} degrees")
    if parts:
        return ", ".join(parts)
    return "that is it, hold" if goal.span.kind != "hold" else "hold there"


def spoken(distance_m: float) -> str:
    """Say a distance as people call it: a hand, half a metre, two metres."""
    if distance_m < 0.08:
        return f"{max(round(distance_m * 100), 1)} centimetres"
    if distance_m < 0.75:
        tenths = round(distance_m * 10)
        return "half a metre" if tenths == 5 else f"{max(tenths, 1) * 10} centimetres"
    halves = round(distance_m * 2) / 2
    return "one metre" if halves == 1 else f"{halves:g} metres"


def ways_off(pilot: Pilot, readings: Readings) -> tuple[str, ...]:
    """Say what can be done now, the likeliest first: which way leads off what is close, met or lost.

    Each is true of the instant it is said at; none is flown by itself.
    """
    said: list[str] = []
    close = readings.pairs[0] if readings.pairs else None
    if pilot.fault is not None and pilot.runs_away:
        said.append(f"brake: {plain_joint(pilot.scene.arm_joints[pilot.fault.joint])} runs away")
    if readings.warning_pair is not None and not pilot.resting:
        said.append(f"stop or turn away: {' and '.join(map(plain, readings.warning_pair))} meet their limit in "
                    f"{readings.warning_s:.0f} s")  # fmt: skip
    if close is not None and readings.closeness.joints and close.margin_m < _NEAR_M:
        away = pilot.axes("rider").T @ readings.closeness.away
        k = int(np.argmax(np.abs(away)))
        said.append(f"move {_WAYS[k][0 if away[k] > 0 else 1]}, in the rider's directions: off {plain(close.body_a)} "
                    f"and {plain(close.body_b)}")  # fmt: skip
    margins = pilot.scene.loaded.rules.margins
    tight = [k for k, left in enumerate(readings.joint_left) if left < margins.joint_position]
    for k in tight:
        low, high = pilot.chain.limits[k]
        sign = "+" if pilot.q[k] - low < high - pilot.q[k] else "-"
        said.append(f"turn {plain_joint(pilot.scene.arm_joints[k])} {sign}: it is near the end of its travel")
    if readings.singular < margins.smallest_singular_value:
        k = _opens(pilot)
        name = plain_joint(pilot.scene.arm_joints[abs(k) - 1])
        said.append(f"turn {name} {'+' if k > 0 else '-'}: the arm has nearly lost a direction of motion")
    if pilot.asked is not None and pilot.resting:
        said.append("let go of the brake to fly on")
    return tuple(said) or ("nothing is close: fly on",)


def _opens(pilot: Pilot) -> int:
    """Return the joint, from 1 and signed, whose turning raises the smallest singular value most."""
    from armcarry.motion.jacobian import smallest_singular_value

    length = pilot.scene.loaded.arm.document.characteristic_length
    steps = np.concatenate([np.eye(pilot.chain.size), -np.eye(pilot.chain.size)]) * 0.05
    values = smallest_singular_value(pilot.chain, pilot.q + steps, length_m=length)
    k = int(np.argmax(values))
    return k + 1 if k < pilot.chain.size else -(k - pilot.chain.size + 1)
