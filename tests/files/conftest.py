"""A tiny world in a folder: every kind of model and a script, small enough to read at a glance."""

from collections.abc import Callable
from pathlib import Path

import pytest

ARM_JOINTS = ("turn", "lift", "bend", "slide", "roll")


def _link(name: str, size: str = "0.2 0.2 0.2") -> str:
    return f'<link name="{name}"><collision><geometry><box size="{size}"/></geometry></collision></link>\n'


def _joint(name: str, kind: str, parent: str, child: str, limit: str = "", axis: str = "0 0 1") -> str:
    return (
        f'<joint name="{name}" type="{kind}"><parent link="{parent}"/><child link="{child}"/>'
        f'<origin xyz="0 0 1"/><axis xyz="{axis}"/>{limit}</joint>\n'
    )


def _arm_urdf() -> str:
    limit = '<limit lower="-2" upper="2" effort="1" velocity="1"/>'
    links = "".join(_link(name) for name in ("base", "l1", "l2", "l3", "l4", "l5"))
    joints = "".join(
        _joint(name, "prismatic" if name == "slide" else "revolute", f"l{k}" if k else "base", f"l{k + 1}", limit)
        for k, name in enumerate(ARM_JOINTS)
    )
    return (
        f'<robot name="small_arm">\n{links}<link name="tip"/>\n{joints}{_joint("end", "fixed", "l5", "tip")}</robot>\n'
    )


LOAD = """
    joint_rate: {default: 2 deg/s, slide: 0.05 m/s}
    joint_acceleration: {default: 1 deg/s^2, slide: 0.01 m/s^2}
    brake_deceleration: {default: 4 deg/s^2, slide: 0.04 m/s^2}
    tip_speed: 0.2 m/s
"""
FILES = {
    "models/arms/small/small.urdf": _arm_urdf(),
    "models/arms/small/small.yaml": f"""format: armcarry arm 1
title: small arm
urdf: small.urdf
base: base
tip: tip
joints: [turn, lift, bend, slide, roll]
home: {{turn: 0 deg, lift: 10 deg, bend: 20 deg, slide: 0.5 m, roll: 0 deg}}
loads:
  free: {LOAD}
  rider: {LOAD}
  rider_and_hardware: {LOAD}
reaction_time: 2 s
detection_time: 0.5 s
characteristic_length: 3 m
tip_positioning: 20 mm
ignore_pairs: [[base, l1]]
""",
    "models/platforms/deck/deck.urdf": '<robot name="deck">\n'
    + "".join(_link(name) for name in ("deck", "cart", "wing"))
    + "".join(f'<link name="{name}"/>\n' for name in ("stand", "seat", "mount", "dock", "hatch"))
    + "".join(_joint(f"to_{name}", "fixed", "deck", name) for name in ("stand", "seat", "mount", "dock", "hatch"))
    + _joint("cart_slide", "prismatic", "deck", "cart", '<limit lower="0" upper="5" effort="1" velocity="1"/>', "1 0 0")
    + _joint("wing_turn", "continuous", "deck", "wing")
    + "</robot>\n",
    "models/platforms/deck/visitor.urdf": f'<robot name="visitor">{_link("hull")}</robot>',
    "models/platforms/deck/deck.yaml": """format: armcarry platform 1
title: deck
urdf: deck.urdf
vehicle_urdf: visitor.urdf
vehicle_dock: dock
classes: {appendage: ["wing*"]}
appendages:
  wing: {joints: [wing_turn], turning_time: 60 s, states: {flat: {wing_turn: 0 deg}, up: {wing_turn: 90 deg}}}
mounts:
  fixed: {frame: mount}
  rolling: {frame: cart, joint: cart_slide}
carts:
  cart: {joint: cart_slide, half_length: 0.5 m, body_frame: cart}
worksites:
  bay: {title: bay, stand: stand, work_points: {bolt: seat}, handrail: rail}
seats:
  seat: {frame: seat, accepts: [box], touches: [deck]}
handrails:
  rail: {start: stand, end: seat}
airlock: hatch
cameras:
  eye: {frame: dock, horizontal_view: 60 deg, vertical_view: 40 deg}
""",
    "models/crew/body/body.urdf": '<robot name="body">\n'
    + "".join(_link(name) for name in ("boots", "torso", "glove_l", "glove_r"))
    + '<link name="visor"/>'
    + _joint("waist", "fixed", "boots", "torso")
    + _joint("neck", "fixed", "torso", "visor")
    + "".join(
        _joint(f"arm_{s}", "revolute", "torso", f"glove_{s}", '<limit lower="-2" upper="2" effort="1" velocity="1"/>')
        for s in "lr"
    )
    + "</robot>\n",
    "models/crew/body/body.yaml": """format: armcarry crew 1
title: body
sizes:
  medium:
    urdf: body.urdf
    mass: 200 kg
    reach: {one_hand: 0.6 m, two_hand: 0.5 m, nearest: 0.2 m, half_angle: 60 deg}
postures:
  rest: {arm_l: 0 deg, arm_r: 0 deg}
  work: {arm_l: 30 deg, arm_r: 30 deg}
boots: boots
chest: torso
visor: visor
shoulders: [torso, torso]
gloves: [glove_l, glove_r]
hands: torso
view_half_angle: 50 deg
corridor: 1.2 m
translation_speed: 0.2 m/s
""",
    "models/hardware/box/box.urdf": f'<robot name="box">{_link("case")}<link name="grip"/>'
    f"{_link('lid')}{_joint('to_grip', 'fixed', 'case', 'grip')}"
    + _joint("hinge", "revolute", "case", "lid", '<limit lower="0" upper="2" effort="1" velocity="1"/>')
    + "</robot>",
    "models/hardware/box/box.yaml": """format: armcarry hardware 1
title: box
urdf: box.urdf
mass: 30 kg
base: case
handhold: grip
rest: {hinge: 0 deg}
fasteners:
  cover: {kind: cover, joint: hinge, closed: 0 deg, open: 90 deg}
""",
    "models/restraints/step/step.urdf": f'<robot name="step">{_link("foot")}{_link("plate")}'
    + _joint("yaw", "revolute", "foot", "plate", '<limit lower="-2" upper="2" effort="1" velocity="1"/>')
    + "</robot>",
    "models/restraints/step/step.yaml": """format: armcarry restraint 1
title: step
urdf: step.urdf
mount: foot
plate: plate
settings:
  yaw: {joint: yaw, step: 30 deg, lowest: -90 deg, highest: 90 deg}
""",
    "models/rules/plain/plain.yaml": """format: armcarry rules 1
title: plain
report_distance: 2 m
required:
- {between: [arm, structure], distance: 0.6 m}
relaxation: {longest: 60 s, least: 0.1 m, reach: 2 m}
slow_within: 1.5 m
margins: {joint_position: 5 deg, smallest_singular_value: 0.05}
stop_remainder: 0.1 m
rider_tip_speed: 0.15 m/s
safe_return: 30 min
""",
    "script.yaml": """format: armcarry scenario 1
title: a small carry
purpose: shows that files load
platform: deck
arm: small
rules: plain
base: {mount: fixed}
vehicle: docked
appendages: {wing: flat}
carts: {cart: 1 m}
restraint: {model: step, at: arm, settings: {yaw: 30 deg}}
crew:
  ev1: {body: body, posture: rest, at: arm}
  ev2: {body: body, posture: rest, at: inside}
hardware:
  box: {model: box, at: platform/seat}
start: {turn: 15 deg}
carries:
- name: out
  moves:
  - to_joints: {turn: 30 deg, slide: 1 m}
  - to_worksite: bay
  - attach: {what: box, to: ev1/torso, seat: true}
  - line: {point: box/case, frame: platform/deck, by: [0 m, 0 m, 0.3 m]}
  - posture: {who: ev1, posture: work}
  - appendage: {wing: up}
  - to_pose: {frame: vehicle/hull, position: [1 m, 2 m, 3 m], rotation: [0 deg, 0 deg, 90 deg]}
    name: near_visitor
    relax: [{bodies: ["arm/*", "vehicle/*"], required: 0.3 m, why: close, through: last}]
  - hold: 1:30
    name: last
  - detach: {what: box, to: platform/seat, seat: true}
""",
}


@pytest.fixture
def world(tmp_path: Path) -> Path:
    """The folder of the tiny world; its script is script.yaml."""
    for name, text in FILES.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return tmp_path


@pytest.fixture
def change(world: Path) -> Callable[..., tuple[Path, int]]:
    """Replace text in a file of the world; returns the file and the line of the new text."""

    def replace(name: str, old: str, new: str) -> tuple[Path, int]:
        path = world / name
        text = path.read_text()
        assert text.count(old) >= 1, f"'{old}' does not stand in {name}"
        at = text.index(old)
        path.write_text(text[:at] + new + text[at + len(old) :])
        return path, text.count("\n", 0, at) + 1

    return replace
