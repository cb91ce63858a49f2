"""The arm Heron: seven turning joints, no two of them alike, a long round boom and a shorter square one.

At zero the arm stands straight up from its base. The shoulder turns, swings and lifts, the elbow bends,
the wrist lifts, swings and turns. The two booms run side by side, so that the elbow can fold past half a turn.
The wrist hangs a little to the far boom's side of the shoulder.
"""

from __future__ import annotations

from dataclasses import dataclass

from writer import Array, Robot, at


@dataclass(frozen=True)
class Turn:
    """A joint: its travel and largest rate in degrees, and the mass of the link that it turns."""

    name: str
    travel_deg: tuple[float, float]
    rate_deg_s: float
    mass_kg: float


TURNS = (
    Turn("shoulder_turn", (-290.0, 250.0), 3.5, 82.0),
    Turn("shoulder_swing", (-160.0, 175.0), 3.2, 68.0),
    Turn("shoulder_lift", (-225.0, 260.0), 3.6, 215.0),
    Turn("elbow_bend", (-25.0, 240.0), 4.2, 150.0),
    Turn("wrist_lift", (-240.0, 265.0), 5.0, 48.0),
    Turn("wrist_swing", (-185.0, 200.0), 4.6, 41.0),
    Turn("wrist_turn", (-310.0, 255.0), 5.6, 36.0),
)
ABOUT_X, ABOUT_Y, ABOUT_Z = (1, 0, 0), (0, 1, 0), (0, 0, 1)
NEAR_M, FAR_M = 7.6, 6.5
#: the booms' axes lie this far beside the elbow's middle
NEAR_BESIDE_M, FAR_BESIDE_M = 0.31, -0.36
#: the wrist lies this far beside the elbow's middle
WRIST_BESIDE_M = -0.05


def build() -> Robot:
    """Return the arm."""
    arm = Robot("heron", "base", 66.0)
    arm.cylinder("base", "base_flange", 0.36, (0, 0, 0), (0, 0, 0.14), "grip")
    arm.cylinder("base", "base_drum", 0.29, (0, 0, 0.14), (0, 0, 0.44), "knuckle")
    _shoulder(arm)
    _near_boom(arm)
    _far_boom(arm)
    _wrist(arm)
    return arm


def _shoulder(arm: Robot) -> None:
    _joint(arm, 0, "shoulder_post", "base", at(0, 0, 0.5), ABOUT_Z)
    arm.cylinder("shoulder_post", "shoulder_post_drum", 0.25, (0, 0, -0.06), (0, 0, 0.18), "knuckle")
    arm.cylinder("shoulder_post", "shoulder_swing_drum", 0.21, (-0.3, 0, 0.46), (0.26, 0, 0.46), "knuckle")
    arm.capsule("shoulder_post", "shoulder_neck", 0.17, (0, 0, 0.17), (0, 0, 0.42), "grip")
    _joint(arm, 1, "shoulder_yoke", "shoulder_post", at(0, 0, 0.46), ABOUT_X)
    arm.capsule("shoulder_yoke", "shoulder_yoke_arm", 0.165, (0, 0, 0.1), (0, 0, 0.54), "grip")
    arm.cylinder("shoulder_yoke", "shoulder_lift_drum", 0.23, (0, -0.26, 0.68), (0, 0.11, 0.68), "knuckle")


def _near_boom(arm: Robot) -> None:
    """Add the boom from shoulder to elbow, a round tube; a band tells its middle."""
    link, y, middle = "boom_near", NEAR_BESIDE_M, NEAR_M / 2
    _joint(arm, 2, link, "shoulder_yoke", at(0, 0, 0.68), ABOUT_Y)
    arm.box(link, "boom_near_root", (0.32, 0.44, 0.36), at(0, y - 0.03, 0), "grip")
    arm.cylinder(link, "boom_near_tube", 0.165, (0, y, 0.17), (0, y, NEAR_M - 0.15), "boom")
    arm.cylinder(link, "boom_near_band", 0.185, (0, y, middle - 0.25), (0, y, middle + 0.25), "knuckle")
    arm.capsule(link, "boom_near_end", 0.17, (0, y, NEAR_M - 0.1), (0, y - 0.1, NEAR_M), "grip")
    arm.cylinder(link, "elbow_drum_near", 0.22, (0, 0.14, NEAR_M), (0, 0.5, NEAR_M), "knuckle")


def _far_boom(arm: Robot) -> None:
    """Add the boom from elbow to wrist, a square tube with a band and a camera beside its root."""
    link, y = "boom_far", FAR_BESIDE_M
    _joint(arm, 3, link, "boom_near", at(0, 0, NEAR_M), ABOUT_Y)
    arm.cylinder(link, "elbow_drum_far", 0.21, (0, -0.53, 0), (0, 0.11, 0), "knuckle")
    arm.box(link, "boom_far_root", (0.3, 0.42, 0.32), at(0, y + 0.03, 0), "grip")
    arm.box(link, "boom_far_tube", (0.27, 0.27, FAR_M - 0.3), at(0, y, FAR_M / 2), "boom")
    arm.box(link, "boom_far_band", (0.3, 0.3, 0.3), at(0, y, FAR_M / 2), "knuckle")
    arm.capsule(link, "boom_far_end", 0.15, (0, y, FAR_M - 0.1), (0, y + 0.1, FAR_M), "grip")
    arm.fixed("elbow_eye", link, at(0.0, -0.64, 0.6, pitch=-90.0))
    arm.box(link, "elbow_camera", (0.14, 0.14, 0.2), at(0, -0.57, 0.5), "camera")


def _wrist(arm: Robot) -> None:
    _joint(arm, 4, "wrist_yoke", "boom_far", at(0, WRIST_BESIDE_M, FAR_M), ABOUT_Y)
    arm.cylinder("wrist_yoke", "wrist_lift_drum", 0.19, (0, -0.1, 0), (0, 0.22, 0), "knuckle")
    arm.capsule("wrist_yoke", "wrist_yoke_arm", 0.14, (0, 0.0, 0.1), (0, 0, 0.46), "grip")
    _joint(arm, 5, "wrist_cross", "wrist_yoke", at(0, 0, 0.6), ABOUT_X)
    arm.cylinder("wrist_cross", "wrist_swing_drum", 0.17, (-0.21, 0, 0), (0.23, 0, 0), "knuckle")
    arm.capsule("wrist_cross", "wrist_neck", 0.13, (0, 0, 0.1), (0, 0, 0.25), "grip")
    _joint(arm, 6, "hand", "wrist_cross", at(0, 0, 0.4), ABOUT_Z)
    arm.cylinder("hand", "hand_drum", 0.18, (0, 0, -0.03), (0, 0, 0.27), "knuckle")
    arm.cylinder("hand", "hand_cup", 0.16, (0, 0, 0.27), (0, 0, 0.44), "boom")
    # the tip looks out of the arm along +x
    arm.fixed("tip", "hand", at(0, 0, 0.44, pitch=-90.0))
    arm.box("hand", "tip_camera", (0.12, 0.1, 0.16), at(0.23, 0, 0.12), "camera")
    arm.fixed("tip_eye", "hand", at(0.25, 0, 0.22, pitch=-90.0))


def _joint(arm: Robot, k: int, child: str, parent: str, pose: Array, axis: tuple[int, int, int]) -> None:
    turn = TURNS[k]
    arm.turning(turn.name, child, parent, pose, axis, turn.travel_deg, turn.rate_deg_s, turn.mass_kg)
