"""The suited body in three sizes: lengths from published measurements, suited girths assumed.

The root is ``boots``: on the restraint's plate, x forward, z up. Both legs bend together.
Joints at zero: standing straight, arms hanging. Positive lift raises an arm forward, positive spread
raises it sideways, positive twist turns the forearm inward, positive elbow bends it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from writer import Array, Robot, at

from armcarry.geometry import poses


@dataclass(frozen=True)
class Size:
    """Lengths in metres of one size; the measured ones name the percentile in the crew document's sources."""

    name: str
    stature: float
    acromion: float
    sitting: float
    shoulder_elbow: float
    forearm_hand: float
    bideltoid: float
    foot: float
    mass_kg: float

    @property
    def ankle(self) -> float:
        """Height of the ankle above the sole: 0.039 of stature (assumption) and 30 mm of boot sole."""
        return 0.039 * self.stature + 0.03

    @property
    def leg(self) -> float:
        """Length of thigh and of shin, taken equal: hip joint 85 mm above the seat (assumption)."""
        return (self.stature - self.sitting + 0.085 - 0.039 * self.stature) / 2

    @property
    def back(self) -> float:
        """Height of the shoulder joint above the hip joint; the joint lies 50 mm under the acromion (assumption)."""
        return self.acromion - 0.05 - (self.stature - self.sitting + 0.085)

    @property
    def half_shoulders(self) -> float:
        """Shoulder joint to the middle: half the bideltoid breadth less 60 mm of muscle, plus 30 mm of suit."""
        return self.bideltoid / 2 - 0.03

    @property
    def grip(self) -> float:
        """Elbow to the middle of the grip: forearm-hand length less 85 mm (assumption)."""
        return self.forearm_hand - 0.085


SIZES = (
    Size("small", 1.525, 1.242, 0.803, 0.307, 0.404, 0.406, 0.226, 165.0),
    Size("medium", 1.755, 1.439, 0.918, 0.363, 0.480, 0.509, 0.271, 200.0),
    Size("large", 1.870, 1.546, 0.977, 0.394, 0.520, 0.567, 0.293, 230.0),
)

#: posture -> joint angles in degrees; joints not named stand at zero
POSTURES: dict[str, dict[str, float]] = {
    "neutral": {
        "ankles": 22, "knees": -48, "hips": 32, "left_lift": 30, "left_spread": 22, "left_elbow": 75, "left_twist": 25,
        "right_lift": 30, "right_spread": 22, "right_elbow": 75, "right_twist": 25,
    },
    "carry": {
        "ankles": 18, "knees": -36, "hips": 18, "left_lift": 20, "left_spread": 10, "left_elbow": 75, "left_twist": 18,
        "right_lift": 20, "right_spread": 10, "right_elbow": 75, "right_twist": 18,
    },
    "work_two_hands": {
        "ankles": 22, "knees": -34, "hips": 24, "left_lift": 50, "left_spread": 6, "left_elbow": 46, "left_twist": 22,
        "right_lift": 50, "right_spread": 6, "right_elbow": 46, "right_twist": 22,
    },
    "reach": {
        "ankles": 24, "knees": -34, "hips": 16, "left_lift": 25, "left_spread": 12, "left_elbow": 70, "left_twist": 20,
        "right_lift": 92, "right_spread": 4, "right_elbow": 8,
    },
    "climb": {
        "ankles": 4, "knees": -24, "hips": 26, "left_lift": 112, "left_spread": 8, "left_elbow": 38, "left_twist": 8,
        "right_lift": 112, "right_spread": 8, "right_elbow": 38, "right_twist": 8,
    },
}

_TRAVEL = {
    "ankles": (-20, 35), "knees": (-110, 0), "hips": (-15, 95), "waist": (-35, 35), "left_lift": (-30, 165),
    "left_spread": (0, 100), "left_twist": (-40, 90), "left_elbow": (0, 130),
}
_RATE_DEG_S = 30.0


def _legs(robot: Robot, size: Size) -> None:
    foot = size.foot + 0.09
    for side, y in (("left", 0.125), ("right", -0.125)):
        robot.box("boots", f"boot_{side}", (foot, 0.14, 0.13), at(foot / 2 - 0.12, y, 0.065), "suit_shade")
    robot.turning("ankles", "shins", "boots", at(0, 0, size.ankle), (0, 1, 0), _TRAVEL["ankles"], _RATE_DEG_S, 18.0)
    robot.turning("knees", "thighs", "shins", at(0, 0, size.leg), (0, 1, 0), _TRAVEL["knees"], _RATE_DEG_S, 26.0)
    robot.turning("hips", "pelvis", "thighs", at(0, 0, size.leg), (0, 1, 0), _TRAVEL["hips"], _RATE_DEG_S, 20.0)
    for side, y in (("left", 0.125), ("right", -0.125)):
        robot.capsule("shins", f"shin_{side}", 0.085, (0, y, 0.06), (0, y, size.leg - 0.03), "suit")
        robot.capsule("thighs", f"thigh_{side}", 0.105, (0, y, 0.03), (0, y * 0.95, size.leg - 0.05), "suit")
    robot.capsule("pelvis", "pelvis_brief", 0.15, (0, -0.07, 0.03), (0, 0.07, 0.03), "suit_shade")


def _torso(robot: Robot, size: Size) -> None:
    robot.turning("waist", "torso", "pelvis", at(0, 0, 0.12), (0, 0, 1), _TRAVEL["waist"], _RATE_DEG_S, 45.0)
    top, half = size.back - 0.12, size.half_shoulders
    low, high = 0.02, top + 0.05
    points = [
        (x, y * w, z)
        for z, depth, w in ((low, 0.15, 0.19), (0.55 * high, 0.21, half - 0.01), (high, 0.17, half - 0.03))
        for x in (-0.17, depth)
        for y in (-1, 1)
    ]
    robot.mesh("torso", f"torso_{size.name}", np.array(points), at(), "suit")
    robot.box("torso", "pack", (0.26, 0.58, high + 0.22), at(-0.31, 0, (high + 0.22) / 2 + 0.02), "suit_shade")
    robot.box("torso", "chest_panel", (0.10, 0.24, 0.20), at(0.24, 0, 0.48 * high), "suit_shade")
    crown = size.stature - size.acromion + 0.05
    robot.cylinder("torso", "collar", 0.15, (0.02, 0, high - 0.02), (0.02, 0, high + 0.06), "collar")
    robot.ball("torso", "helmet", 0.175, (0.03, 0, top + crown - 0.11), "suit")
    robot.ball("torso", "visor_bowl", 0.145, (0.085, 0, top + crown - 0.12), "visor")
    robot.fixed("chest", "torso", at(0.0, 0, top))
    # the gaze goes 20 degrees down
    robot.fixed("visor", "torso", at(0.21, 0, top + crown - 0.10, pitch=20.0))
    for side, sign in (("left", 1), ("right", -1)):
        robot.fixed(f"{side}_shoulder", "torso", at(0.0, sign * half, top))


def _arm(robot: Robot, size: Size, side: str, sign: int) -> None:
    def joint(kind: str, child: str, parent: str, pose: Array, axis: tuple[int, int, int], mass_kg: float) -> None:
        travel = _TRAVEL[f"left_{kind}"]
        robot.turning(f"{side}_{kind}", f"{side}_{child}", parent, pose, axis, travel, _RATE_DEG_S, mass_kg)

    joint("lift", "shoulder_lifted", f"{side}_shoulder", at(), (0, -1, 0), 0.0)
    joint("spread", "shoulder_spread", f"{side}_shoulder_lifted", at(), (sign, 0, 0), 0.0)
    joint("twist", "upper_arm", f"{side}_shoulder_spread", at(), (0, 0, -sign), 7.0)
    upper, fore = size.shoulder_elbow, size.grip
    robot.capsule(f"{side}_upper_arm", f"upper_arm_{side}", 0.08, (0, 0, -0.02), (0, 0, 0.03 - upper), "suit")
    joint("elbow", "forearm", f"{side}_upper_arm", at(0, 0, -upper), (0, -1, 0), 5.0)
    robot.capsule(f"{side}_forearm", f"forearm_{side}", 0.07, (0, 0, -0.01), (0, 0, 0.14 - fore), "suit")
    # the glove's frame: x along the fingers, at the middle of the grip
    robot.fixed(f"{side}_glove", f"{side}_forearm", at(0, 0, -fore, pitch=90.0), 1.5)
    robot.capsule(f"{side}_glove", f"glove_{side}", 0.06, (-0.06, 0, 0), (0.03, 0, 0), "glove")


def build(size: Size) -> Robot:
    """Return the suited body of one size."""
    robot = Robot(f"suited_{size.name}", "boots", 8.0)
    _legs(robot, size)
    _torso(robot, size)
    for side, sign in (("left", 1), ("right", -1)):
        _arm(robot, size, side, sign)
    robot.fixed("hands", "torso", hands_in_torso(size))
    # the masses above are shares; together they weigh what the size weighs
    shares = sum(link.mass_kg for link in robot.links.values())
    for link in robot.links.values():
        link.mass_kg *= size.mass_kg / shares
    return robot


def _turn(axis: tuple[int, int, int], degrees: float) -> Array:
    return poses.rotation_about(axis, np.radians(degrees))


def hands_in_torso(size: Size, posture: str = "carry") -> Array:
    """Return where held hardware hangs, T_torso_hands: between the gloves of a posture, axes as the torso's."""
    angles = POSTURES[posture]
    upright = (
        at(0.0, size.half_shoulders, size.back - 0.12)
        @ _turn((0, -1, 0), angles["left_lift"]) @ _turn((1, 0, 0), angles["left_spread"])
        @ _turn((0, 0, -1), angles["left_twist"]) @ at(0, 0, -size.shoulder_elbow)
        @ _turn((0, -1, 0), angles["left_elbow"]) @ at(0, 0, -size.grip)
    )
    return at(upright[0, 3], 0.0, upright[2, 3])


def hands_in_boots(size: Size, posture: str = "carry") -> Array:
    """Return T_boots_hands in a posture."""
    angles = POSTURES[posture]
    return (
        at(0, 0, size.ankle) @ _turn((0, 1, 0), angles["ankles"]) @ at(0, 0, size.leg)
        @ _turn((0, 1, 0), angles["knees"]) @ at(0, 0, size.leg) @ _turn((0, 1, 0), angles["hips"])
        @ at(0, 0, 0.12) @ hands_in_torso(size)
    )


MEDIUM = SIZES[1]
