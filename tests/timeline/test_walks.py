"""Where workers stand along handrails, and which way their bodies are turned on the way."""

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.files.load import load_scenario
from armcarry.geometry import poses
from armcarry.motion.forward import forward
from armcarry.scene.build import build_scene
from armcarry.scene.crew import FREE_JOINTS
from armcarry.scene.tree import WORLD
from armcarry.timeline.on_rail import climbing, grip
from armcarry.timeline.plan import ways_of
from armcarry.timeline.walks import place_pose
from armcarry.timeline.walkthrough import step_over

#: a worker goes along the keel's port side
DAY = """\
format: armcarry scenario 1
title: along the keel
purpose: to be changed
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: -16 m}
vehicle: docked
VEHICLE
appendages: {radiator_port: PORT, radiator_star: stowed, solar_wing: sloped}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
restraint: {at: platform/RESTRAINT}
crew: {ev1: {posture: carry, at: platform/keel_port_6_from}, ev2: {posture: carry, at: inside}}
hardware: {survey_camera: {model: survey_camera, at: platform/CAMERA}}
day:
  others: [operator]
  ends: outside
  steps:
    STEP
    - {name: go, actors: [ev1], translate: {to: GOAL}, AFTER}
"""


def test_a_rail_on_a_platform_without_bodies_leaves_room_on_every_side(rider_scene):
    ends = {"left": poses.translation((2.0, 0.0, 0.0)), "right": poses.translation((4.0, 0.0, 0.0))}
    rails = {"handrails": {"rail": {"start": "left", "end": "right"}}}
    scene = rider_scene({}, sites=0, frames=ends, platform=rails)
    assert not [body for body in scene.tree.bodies if body.link.startswith("platform/")]
    pose = place_pose(scene, "platform/left", "ev1")
    assert np.allclose(poses.apply(pose, grip(scene, "ev1")), (2.0, 0.0, 0.0))


def _way(folder, step="", **words):
    """Return the boots' poses on the way of a day, in which one step may come before."""
    words = {"VEHICLE": "", "PORT": "stowed", "RESTRAINT": "loft_side_socket", "CAMERA": "mast_top_seat",
             "GOAL": "platform/keel_port_11_to", **words}  # fmt: skip
    words |= {"STEP": step, "AFTER": "after: [before]" if step else "takes: 1 h"}
    text = DAY
    for word, said in words.items():
        text = text.replace(word, said)
    path = folder / "day.yaml"
    path.write_text(text)
    (walk,) = ways_of(build_scene(load_scenario(path))).walks["go"]
    return walk.motion.at(np.linspace(walk.motion.start_s, walk.motion.end_s, 50))


@pytest.mark.parametrize(
    ("goal", "step", "before", "by_then"),
    [
        ("loft_2_to", "actors: [operator], move_appendage: {appendage: radiator_port, state: stowed}",
         {"PORT": "deployed"}, {}),
        pytest.param("loft_2_to", "actors: [operator], move_vehicle: {to: [-3 m, 4 m, 1 m]}", {},
                     {"VEHICLE": "vehicle_from: [-3 m, 4 m, 1 m]"}, marks=pytest.mark.long),
        pytest.param("keel_port_1_from", "actors: [ev2], seat: {what: survey_camera, into: bay_3_seat}", {},
                     {"CAMERA": "bay_3_seat"}, marks=pytest.mark.long),
        ("loft_2_to", "actors: [ev2], seat: {what: restraint, into: rack_a_socket}", {},
         {"RESTRAINT": "rack_a_socket"}),
    ],
)  # fmt: skip
def test_a_way_is_led_past_what_stands_beside_it_when_it_is_gone(tmp_path, goal, step, before, by_then):
    goal = {"GOAL": f"platform/{goal}"}
    then = _way(tmp_path, **by_then, **goal)
    assert not np.allclose(then, _way(tmp_path, **before, **goal))
    changed = _way(tmp_path, f"- {{name: before, takes: 5 min, {step}}}", **before, **goal)
    np.testing.assert_allclose(changed, then)


@pytest.mark.parametrize("plate", [0, 1])
def test_boots_come_straight_off_a_plate_and_straight_down_onto_it(rider_scene, plate):
    scene = rider_scene({})
    beside = poses.from_xyz_rpy((1.0, 0.5, 0.2), (0.0, 0.0, 1.0))
    ends = np.stack([poses.identity(), beside])[:: 1 if plate == 0 else -1]
    motion = step_over(scene, "ev1", ends, plate)
    near = [motion.start_s, motion.start_s + 1.0] if plate == 0 else [motion.end_s - 1.0, motion.end_s]
    way = np.diff(motion.at(near, side="left"), axis=0)[0]
    assert abs(way[2]) > 0.01
    np.testing.assert_allclose(np.delete(way, 2), 0.0, atol=1e-9)


#: the arm hangs over the keel between bays 8 and 9, its elbow low on the port side
ACROSS = {"shoulder_turn": "-60 deg", "shoulder_swing": "-60 deg", "shoulder_lift": "10 deg", "elbow_bend": "60 deg"}


def _least_m(scene, way, joints, station_m):
    """Return the least distance (m) of a body along a way (N, 6) to the arm where it stands."""
    tree, position = scene.tree.attach("ev1", WORLD, poses.identity()), scene.position.copy()
    for joint, turn in joints.items():
        position[tree.column(f"arm/{joint}")] = np.radians(float(turn.split()[0]))
    position[tree.column("platform/trolley_slide")] = station_m
    for joint, value in climbing(scene, "ev1").items():
        position[tree.column(f"ev1/{joint}")] = value
    own, arm = (np.flatnonzero(tree.bodies_of((name,))) for name in ("ev1", "arm"))
    pairs = np.stack(np.meshgrid(own, arm, indexing="ij"), axis=-1).reshape(-1, 2)
    full = np.repeat(position[None], len(way), axis=0)
    full[:, [tree.column(f"ev1/{joint}") for joint in FREE_JOINTS]] = way
    placed = forward(tree, full, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    return float(distances([body.shape for body in tree.bodies], placed, pairs).lower_m.min())


def test_a_body_is_turned_clear_of_the_arm_where_a_step_says_that_it_stands(tmp_path):
    said = ", ".join(f"{joint}: {turn}" for joint, turn in ACROSS.items())
    scene_of = lambda: build_scene(load_scenario(tmp_path / "day.yaml"))  # noqa: E731
    plain = _way(tmp_path)
    past = _way(tmp_path, GOAL=f"platform/keel_port_11_to, past: {{joints: {{{said}}}, station: 9 m}}")
    before, after = (_least_m(scene_of(), way, ACROSS, 9.0) for way in (plain, past))
    assert after > before + 0.2
