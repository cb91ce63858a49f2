"""The arm Heron: seven turning joints, offsets at shoulder, elbow and wrist, two booms of 7 m.

At zero the arm stands straight up from its base. The shoulder turns, swings and lifts, the elbow bends,
the wrist lifts, swings and turns. The two booms run side by side, so that the elbow can fold past half a turn.
"""

from __future__ import annotations

from writer import Robot, at

BOOM_M = 7.0
#: the booms' axes lie this far either side of the elbow's middle
BESIDE_M = 0.32
TRAVEL_DEG = (-270.0, 270.0)
RATE_DEG_S = 4.0
JOINTS = (
    "shoulder_turn", "shoulder_swing", "shoulder_lift", "elbow_bend", "wrist_lift", "wrist_swing", "wrist_turn",
)


def build() -> Robot:
    """Return the arm."""
    arm = Robot("heron", "base", 60.0)
    arm.cylinder("base", "base_flange", 0.36, (0, 0, 0), (0, 0, 0.12), "grip")
    arm.cylinder("base", "base_drum", 0.27, (0, 0, 0.12), (0, 0, 0.4), "knuckle")
    _joint(arm, 0, "shoulder_post", "base", at(0, 0, 0.45), (0, 0, 1), 70.0)
    arm.cylinder("shoulder_post", "shoulder_post_drum", 0.24, (0, 0, -0.05), (0, 0, 0.22), "knuckle")
    arm.cylinder("shoulder_post", "shoulder_swing_drum", 0.22, (-0.28, 0, 0.5), (0.28, 0, 0.5), "knuckle")
    arm.capsule("shoulder_post", "shoulder_neck", 0.16, (0, 0, 0.2), (0, 0, 0.45), "grip")
    _joint(arm, 1, "shoulder_yoke", "shoulder_post", at(0, 0, 0.5), (1, 0, 0), 60.0)
    arm.capsule("shoulder_yoke", "shoulder_yoke_arm", 0.17, (0, 0, 0.1), (0, 0, 0.5), "grip")
    arm.cylinder("shoulder_yoke", "shoulder_lift_drum", 0.22, (0, -0.24, 0.62), (0, 0.1, 0.62), "knuckle")
    _joint(arm, 2, "boom_near", "shoulder_yoke", at(0, 0, 0.62), (0, 1, 0), 190.0)
    _boom(arm, "boom_near", BESIDE_M, 0.1)
    arm.cylinder("boom_near", "elbow_drum_near", 0.2, (0, 0.14, BOOM_M), (0, 0.5, BOOM_M), "knuckle")
    _joint(arm, 3, "boom_far", "boom_near", at(0, 0, BOOM_M), (0, 1, 0), 190.0)
    arm.cylinder("boom_far", "elbow_drum_far", 0.2, (0, -0.5, 0), (0, 0.12, 0), "knuckle")
    _boom(arm, "boom_far", -BESIDE_M, -0.1)
    arm.fixed("elbow_eye", "boom_far", at(0.0, -0.62, 0.6, pitch=-90.0))
    arm.box("boom_far", "elbow_camera", (0.14, 0.14, 0.2), at(0, -0.55, 0.5), "camera")
    _joint(arm, 4, "wrist_yoke", "boom_far", at(0, 0, BOOM_M), (0, 1, 0), 55.0)
    arm.cylinder("wrist_yoke", "wrist_lift_drum", 0.2, (0, -0.08, 0), (0, 0.24, 0), "knuckle")
    arm.capsule("wrist_yoke", "wrist_yoke_arm", 0.15, (0, 0.0, 0.1), (0, 0, 0.4), "grip")
    _joint(arm, 5, "wrist_cross", "wrist_yoke", at(0, 0, 0.55), (1, 0, 0), 50.0)
    arm.cylinder("wrist_cross", "wrist_swing_drum", 0.18, (-0.24, 0, 0), (0.24, 0, 0), "knuckle")
    arm.capsule("wrist_cross", "wrist_neck", 0.14, (0, 0, 0.1), (0, 0, 0.3), "grip")
    _joint(arm, 6, "hand", "wrist_cross", at(0, 0, 0.45), (0, 0, 1), 45.0)
    arm.cylinder("hand", "hand_drum", 0.2, (0, 0, -0.03), (0, 0, 0.25), "knuckle")
    arm.cylinder("hand", "hand_cup", 0.16, (0, 0, 0.25), (0, 0, 0.4), "boom")
    # the tip looks out of the arm along +x
    arm.fixed("tip", "hand", at(0, 0, 0.4, pitch=-90.0))
    arm.box("hand", "tip_camera", (0.12, 0.1, 0.16), at(0.25, 0, 0.12), "camera")
    arm.fixed("tip_eye", "hand", at(0.27, 0, 0.22, pitch=-90.0))
    return arm


def _joint(arm: Robot, k: int, child: str, parent: str, pose: object, axis: tuple[int, int, int], mass: float) -> None:
    arm.turning(JOINTS[k], child, parent, pose, axis, TRAVEL_DEG, RATE_DEG_S, mass)  # type: ignore[arg-type]


def _boom(arm: Robot, link: str, y: float, y_inner: float) -> None:
    """Add a boom along z: root and end pieces at the joints, a tube between, a band that tells the two apart."""
    sign = 1 if y > 0 else -1
    arm.box(link, f"{link}_root", (0.3, abs(y) - abs(y_inner) + 0.22, 0.34), at(0, y - sign * 0.03, 0), "grip")
    arm.cylinder(link, f"{link}_tube", 0.165, (0, y, 0.15), (0, y, BOOM_M - 0.15), "boom")
    arm.cylinder(link, f"{link}_band", 0.18, (0, y, BOOM_M / 2 - 0.2), (0, y, BOOM_M / 2 + 0.2), "knuckle")
    arm.capsule(link, f"{link}_end", 0.17, (0, y, BOOM_M - 0.1), (0, y - sign * 0.1, BOOM_M), "grip")
