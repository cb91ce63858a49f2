"""What new files begin with: plain, whole and small, so that each line can be read and replaced."""

from __future__ import annotations

from typing import Any


def _load(share: float) -> dict[str, Any]:
    return {
        "joint_rate": {"default": f"{3 * share:g} deg/s"},
        "joint_acceleration": {"default": f"{0.6 * share:g} deg/s^2"},
        "brake_deceleration": {"default": f"{3 * share:g} deg/s^2"},
        "runaway_rate": {"default": f"{3.5 * share:g} deg/s"},
        "tip_speed": f"{0.3 * share:g} m/s",
        "near_structure": 0.5,
        "runaway_near": 0.3,
    }


ARM: dict[str, Any] = {
    "format": "armcarry arm 1",
    "title": "six turning joints, two booms of 4 m",
    "basis": "assumption",
    "urdf": "",
    "base": "base",
    "tip": "tip",
    "joints": ["turn", "lift", "bend", "wrist_lift", "wrist_swing", "wrist_turn"],
    "home": {
        "turn": "-90 deg", "lift": "-60 deg", "bend": "100 deg", "wrist_lift": "-40 deg", "wrist_swing": "0 deg",
        "wrist_turn": "0 deg",
    },
    "loads": {"free": _load(1.0), "rider": _load(0.5), "rider_and_hardware": _load(0.3)},
    "reaction_time": "0.6 s",
    "detection_time": "0.3 s",
    "characteristic_length": "4 m",
    "tip_positioning": "3 cm",
}  # fmt: skip


def _link(name: str, body: str = "") -> str:
    if not body:
        return f'  <link name="{name}"/>\n'
    return f'  <link name="{name}"><collision>{body}</collision></link>\n'


def _boom(length: str, radius: str, middle: str) -> str:
    return (
        f'<origin xyz="{middle} 0 0" rpy="0 1.5707963267948966 0"/>'
        f'<geometry><cylinder radius="{radius}" length="{length}"/></geometry>'
    )


def _box(size: str, xyz: str = "0 0 0") -> str:
    return f'<origin xyz="{xyz}"/><geometry><box size="{size}"/></geometry>'


def _turns(name: str, parent: str, child: str, xyz: str, axis: str, most: float = 2.8) -> str:
    return (
        f'  <joint name="{name}" type="revolute"><origin xyz="{xyz}"/><parent link="{parent}"/><child link="{child}"/>'
        f'<axis xyz="{axis}"/><limit lower="{-most}" upper="{most}" effort="100" velocity="0.1"/></joint>\n'
    )


def _fixed(parent: str, child: str, xyz: str, rpy: str = "0 0 0") -> str:
    return (
        f'  <joint name="to_{child}" type="fixed"><origin xyz="{xyz}" rpy="{rpy}"/>'
        f'<parent link="{parent}"/><child link="{child}"/></joint>\n'
    )


ARM_URDF = (
    '<?xml version="1.0"?>\n<!-- lengths in metres, angles in radians; every number is an assumption -->\n'
    '<robot name="own_arm">\n'
    + _link("base", _box("0.4 0.4 0.2", "0 0 0.1"))
    + _link("turret")
    + _link("near_boom", _boom("3.2", "0.15", "2"))
    + _link("far_boom", _boom("3.2", "0.12", "2"))
    + _link("wrist")
    + _link("palm")
    + _link("hand", _box("0.2 0.2 0.2", "0.2 0 0"))
    + _link("tip")
    + _turns("turn", "base", "turret", "0 0 0.6", "0 0 1")
    + _turns("lift", "turret", "near_boom", "0 0 0", "0 1 0")
    + _turns("bend", "near_boom", "far_boom", "4 0 0", "0 1 0")
    + _turns("wrist_lift", "far_boom", "wrist", "4 0 0", "0 1 0")
    + _turns("wrist_swing", "wrist", "palm", "0 0 0", "0 0 1")
    + _turns("wrist_turn", "palm", "hand", "0 0 0", "1 0 0", 6.0)
    + _fixed("hand", "tip", "0.3 0 0", "0 1.5707963267948966 0")
    + "</robot>\n"
)

PLATFORM: dict[str, Any] = {
    "format": "armcarry platform 1",
    "title": "a deck with a place for the arm, two worksites with a seat each, and handrails",
    "basis": "assumption",
    "urdf": "",
    "mounts": {"main": {"frame": "arm_mount"}},
    "worksites": {
        "bench": {
            "title": "the bench at the end of the deck", "stand": "bench_stand", "hands": "one",
            "work_points": {"bench_bolts": "bench_bolts"}, "handrail": "deck_rail", "seat": "bench_seat",
            "way_in": [["-1.2 m", "0 m", "0 m"], ["0 m", "0 m", "0 m"]],
            "near": [{"who": "whole", "to": "bench*", "at_least": "0.05 m", "why": "hands work on the bench"}],
        },
        "shelf": {
            "title": "the shelf at the side", "stand": "shelf_stand", "hands": "one",
            "work_points": {"shelf_bolts": "shelf_bolts"}, "handrail": "side_rail", "seat": "shelf_seat",
            "way_in": [["-1.2 m", "0 m", "0 m"], ["0 m", "0 m", "0 m"]],
            "near": [{"who": "whole", "to": "shelf*", "at_least": "0.05 m", "why": "hands work on the shelf"}],
        },
    },
    "seats": {
        "bench_seat": {
            "frame": "bench_seat", "accepts": ["box"], "bolts": 2, "touches": ["bench_top"],
            "near": [{"who": "whole", "to": "bench*", "at_least": "0 m", "why": "it sits on the bench"}],
        },
        "shelf_seat": {
            "frame": "shelf_seat", "accepts": ["box"], "bolts": 2, "touches": ["shelf_top"],
            "near": [{"who": "whole", "to": "shelf*", "at_least": "0 m", "why": "it sits on the shelf"}],
        },
    },
    "handrails": {
        "deck_rail": {"start": "deck_rail_from", "end": "deck_rail_to"},
        "side_rail": {"start": "side_rail_from", "end": "side_rail_to"},
    },
    "airlock": "hatch",
    "cameras": {"bench_eye": {"frame": "bench_eye", "horizontal_view": "60 deg", "vertical_view": "40 deg"}},
}  # fmt: skip

PLATFORM_URDF = (
    '<?xml version="1.0"?>\n<!-- lengths in metres, angles in radians; x forward, y left, z up; every number is an '
    "assumption -->\n"
    '<robot name="own_platform">\n'
    + _link("deck", _box("10 3 0.4", "0 0 -0.2"))
    + _link("side", _box("3 4.6 0.4", "0 0 -0.2"))
    + "".join(
        _link(name, _box("0.2 0.6 1.95", "0.35 0 0.975"))
        + f'  <link name="{name}_top"><collision name="{name}_top">' + _box("0.4 0.7 0.05", "0 0 0")
        + "</collision></link>\n"
        for name in ("bench", "shelf")
    )
    + '  <link name="rail"><collision name="rail_deck">' + _box("3.6 0.04 0.04") + "</collision></link>\n"
    + '  <link name="rail_2"><collision name="rail_side">' + _box("2.8 0.04 0.04") + "</collision></link>\n"
    + "".join(_link(f"{name}_{part}") for name in ("bench", "shelf") for part in ("stand", "bolts", "seat"))
    + "".join(_link(name) for name in ("arm_mount", "bench_eye", "hatch", "deck_rail_from", "deck_rail_to",
                                       "side_rail_from", "side_rail_to"))
    + _fixed("deck", "arm_mount", "-1 0 0")
    + _fixed("deck", "bench", "4.5 0 0")
    + _fixed("deck", "side", "-1 3.8 0")
    + _fixed("deck", "shelf", "-1 5.5 0", "0 0 1.5707963267948966")
    + "".join(
        _fixed(name, f"{name}_top", "0.15 0 2")
        + _fixed(name, f"{name}_stand", "-0.77 0 1.173")
        + _fixed(name, f"{name}_bolts", "-0.195 0.2 2.223", "0 0 3.141592653589793")
        + _fixed(f"{name}_top", f"{name}_seat", "-0.15 0 0.025")
        for name in ("bench", "shelf")
    )
    + _fixed("deck", "rail", "2.4 1.45 0.1")
    + _fixed("deck", "rail_2", "0.45 2.9 0.1", "0 0 1.5707963267948966")
    + _fixed("deck", "bench_eye", "0 1.4 1", "0 0 -0.3")
    + _fixed("deck", "hatch", "1 1.2 0.3")
    + _fixed("rail", "deck_rail_from", "-1.8 0 0")
    + _fixed("rail", "deck_rail_to", "1.8 0 0")
    + _fixed("rail_2", "side_rail_from", "-1.4 0 0")
    + _fixed("rail_2", "side_rail_to", "1.4 0 0")
    + "</robot>\n"
)  # fmt: skip

HARDWARE: dict[str, Any] = {
    "format": "armcarry hardware 1",
    "title": "a box with a handhold, two bolts and a lock",
    "basis": "assumption",
    "urdf": "",
    "mass": "40 kg",
    "base": "base",
    "handhold": "handhold",
    "fasteners": {"lid_lock": {"kind": "lock", "needed_to": ["carry"], "state_needed": "closed"}},
    "touches": ["glove_left", "glove_right"],
    "groups": {"whole": ["*"]},
}

HARDWARE_URDF = (
    '<?xml version="1.0"?>\n<!-- lengths in metres; every number is an assumption -->\n<robot name="own_hardware">\n'
    + _link("base")
    + _link("case", _box("0.4 0.5 0.4", "0 0 0.2"))
    + _link("handhold")
    + _fixed("base", "case", "0 0 0")
    + _fixed("case", "handhold", "-0.25 0 0.2", "0 0 0")
    + "</robot>\n"
)

_PEOPLE = ("rider", "worker")
RULES: dict[str, Any] = {
    "format": "armcarry rules 1",
    "title": "distances, margins and limits to work to",
    "basis": "assumption",
    "report_distance": "3 m",
    "required": [
        *({"between": [moved, "structure"], "distance": "0.3 m"} for moved in ("arm", "rider", "hardware")),
        {"between": ["worker", "structure"], "distance": "0 m", "why": "a free worker holds on to structure"},
        {"between": ["structure", "structure"], "distance": "0 m"},
        {"between": ["arm", "arm"], "distance": "0.05 m"},
        {"between": ["arm", "rider"], "distance": "0.1 m", "why": "the arm holds its rider up close"},
        {"between": ["arm", "hardware"], "distance": "0.2 m"},
        {"between": ["arm", "worker"], "distance": "1 m"},
        *({"between": [who, "hardware"], "distance": "0.02 m", "why": "held in the hands"} for who in _PEOPLE),
        *({"between": [who, "worker"], "distance": "0.3 m"} for who in _PEOPLE),
        {"between": ["hardware", "hardware"], "distance": "0.2 m"},
    ],
    "intended_contact": [
        {"bodies": ["*/boot_*", "restraint*/*"], "why": "boots stand in the restraint"},
        {"bodies": ["*/shin_*", "restraint*/*"], "why": "shins rise out of the toe bar"},
        {"bodies": ["*/glove_*", "platform/rail_*"], "why": "gloves hold handrails"},
        {"bodies": ["arm/hand*", "restraint/foot_*"], "why": "the arm holds the restraint"},
        {"bodies": ["arm/base*", "platform/*"], "why": "the arm stands on its mount"},
    ],
    "relaxation": {"longest": "600 s", "least": "0 m", "reach": "1.5 m"},
    "slow_within": "1 m",
    "margins": {"joint_position": "5 deg", "joint_travel": "0.05 m", "smallest_singular_value": 0.02},
    "budget": {
        "arm_positioning": {"title": "positioning of the arm's tip", "amount": "3 cm", "applies_to": ["arm", "rider"]},
        "structure_placement": {"title": "where structure stands", "amount": "2 cm", "applies_to": ["structure"]},
        "thermal": {"title": "growth by heat", "amount": "1 cm", "applies_to": ["structure"]},
        "grasp": {"title": "how hardware lies in the hands", "amount": "3 cm", "applies_to": ["hardware"]},
    },
    "stop_remainder": "0.05 m",
    "rider_tip_speed": "0.15 m/s",
    "safe_return": "30 min",
    "tether_reach": "10 m",
    "unseen_extra": "0.2 m",
    "way_home": {"leave_restraint": "2 min", "stow_held": "2 min", "cross_gap": "5 min", "go_in": "6 min",
                 "all_inside": "45 min"},
    "worker_speed": "0.5 m/s",
}

SCENARIO: dict[str, Any] = {
    "format": "armcarry scenario 1",
    "title": "the first move of an arm",
    "purpose": "Turn the arm and come back; everything passes.",
    "platform": "tern_yard",
    "arm": "heron",
    "rules": "tern_yard",
    "base": {},
    "carries": [],
}
