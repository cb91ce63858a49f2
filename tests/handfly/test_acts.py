"""Acts that turn an appendage or a posture, pushes in a camera's axes, and the script after a practised fault."""

import numpy as np
import pytest

from armcarry.geometry.poses import rotation_vector
from armcarry.handfly.cockpit import Cockpit, course_of, flown, keep
from armcarry.handfly.command import TICK_S, Command
from armcarry.handfly.control import Fault
from armcarry.handfly.flight import Flight
from armcarry.record.store import load
from armcarry.scene.camera import direction_off_axis_rad
from armcarry.scene.eyes import scene_cameras

SCRIPT = """
format: armcarry scenario 1
title: Acts
purpose: a rider bends, a radiator folds, a joint turns
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
appendages: {radiator_port: stowed, radiator_star: deployed, solar_wing: sloped}
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew:
  ev1: {posture: carry, at: arm}
start:
  shoulder_turn: 41.55 deg
  shoulder_swing: -5.49 deg
  shoulder_lift: 76.12 deg
  elbow_bend: 97.85 deg
  wrist_lift: 89.87 deg
  wrist_swing: 48.16 deg
  wrist_turn: 171.75 deg
carries:
  - name: acts
    moves:
      - {hold: 2 s}
      - {posture: {who: ev1, posture: neutral, over: 4 s}}
      - {appendage: {radiator_star: stowed}}
      - {one_joint: {wrist_turn: 175 deg}}
      - {hold: 1 s}
"""


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    path = tmp_path_factory.mktemp("acts") / "acts.yaml"
    path.write_text(SCRIPT)
    return course_of(path)


def joints(scene, owner, values):
    """Columns of an owner's joints and the values they are to have."""
    return [scene.tree.column(f"{owner}/{name}") for name in values], np.array(list(values.values()))


def test_a_posture_is_taken_smoothly_in_its_time_and_no_other_act_begins_meanwhile(course):
    flight = Flight(course.record.scene, course)
    pilot, scene = flight.pilot, flight.scene
    suit = scene.loaded.crew["ev1"].document.postures
    columns, goal = joints(scene, "ev1", suit["neutral"])
    start, arm = pilot.position[columns].copy(), pilot.q.copy()
    assert np.abs(goal - start).max() > 0.1
    assert flight.act() == ""
    assert pilot.turning
    assert flight.act() == "the last act is not done yet"
    seen = [start]
    for _ in range(round(4.0 / TICK_S)):
        assert pilot.turning
        flight.step(Command())
        seen.append(pilot.position[columns].copy())
    assert not pilot.turning
    assert seen[-1] == pytest.approx(goal, abs=1e-12)
    assert np.array_equal(pilot.q, arm)
    steps = np.diff(np.array(seen), axis=0) * np.sign(goal - start)
    assert steps.min() >= -1e-12
    assert steps[0].max() < 0.01 * steps.max()  # it begins and ends at rest


def test_an_appendage_turns_where_the_script_has_it_and_is_measured_there(course):
    flight = Flight(course.record.scene, course)
    pilot, scene = flight.pilot, flight.scene
    assert flight.act() == ""
    for _ in range(round(4.0 / TICK_S)):
        flight.step(Command())
    appendage = scene.loaded.platform.document.appendages["radiator_star"]
    columns, goal = joints(scene, "platform", appendage.states["stowed"])
    start, seen = pilot.position[columns].copy(), flight.watch.closeness(pilot)
    assert np.abs(goal - start).max() > 1.0
    assert flight.act() == ""
    # what is close is asked once: 240 s of it, tick by tick, would ask the same 2,400 times
    ticks = round(appendage.turning_time / TICK_S)
    for tick in range(ticks):
        pilot.step(Command(), seen)
        if tick == ticks // 2:
            assert pilot.position[columns] == pytest.approx((start + goal) / 2, abs=0.02)
    assert not pilot.turning
    assert pilot.position[columns] == pytest.approx(goal, abs=1e-12)
    outermost = next(name for name in reversed(pilot.tree.links) if "radiator_star" in name)
    there = course.record.link_path(outermost, course.record.motion.end_s)[0]
    assert np.allclose(pilot.tree.pose_of(outermost, pilot.position), there, atol=1e-9)


def test_a_try_with_a_posture_replays_and_its_kept_run_holds_the_posture(course, tmp_path):
    cockpit = Cockpit(course, tmp_path / "try_1")
    pilot, scene = cockpit.flight.pilot, cockpit.flight.scene
    for _ in range(15):
        cockpit.tick(Command())
    assert cockpit.act() == ""
    for _ in range(150):
        cockpit.tick(Command())
    cockpit.close()
    again = flown(tmp_path / "try_1", course)
    assert np.array_equal(again.pilot.position, pilot.position)
    record, _ = load(keep(again, tmp_path / "try_1"))
    columns, goal = joints(scene, "ev1", scene.loaded.crew["ev1"].document.postures["neutral"])
    assert record.motion.at(record.motion.end_s)[columns] == pytest.approx(goal, abs=1e-9)
    assert np.abs(record.motion.at(record.motion.start_s)[columns] - goal).max() > 0.1


def test_pushes_in_the_camera_frame_go_along_what_the_camera_sees(course):
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    name, camera = next(iter(pilot.scene.loaded.arm.document.cameras.items()))
    link = f"arm/{camera.frame}"
    eye = pilot.tree.pose_of(link, pilot.position)
    assert f"arm/{name}" in {each.name for each in scene_cameras(pilot.scene)}
    axes = pilot.axes("camera")
    assert np.allclose(axes, eye[:3, :3])
    assert direction_off_axis_rad(eye, axes[:, 0]) < 1e-6  # forward is where the camera looks
    for k in range(3):
        flight = Flight(course.record.scene, course)
        before = flight.pilot.tool_pose()[:3, 3].copy()
        push = tuple(float(k == j) for j in range(3))
        for _ in range(60):
            flight.step(Command(frame="camera", push=push))
        way = flight.pilot.tool_pose()[:3, 3] - before
        assert np.linalg.norm(way) > 0.02
        assert way @ axes[:, k] / np.linalg.norm(way) > 0.99
    flight = Flight(course.record.scene, course)
    before = flight.pilot.tool_pose()[:3, :3].copy()
    for _ in range(60):
        flight.step(Command(frame="camera", turn=(1.0, 0.0, 0.0)))
    turned = rotation_vector(flight.pilot.tool_pose()[:3, :3] @ before.T)
    assert turned @ axes[:, 0] / np.linalg.norm(turned) > 0.99


@pytest.mark.parametrize("kind", ["camera", "late"])
def test_the_script_can_be_followed_after_a_fault_that_does_not_move_the_arm(course, kind):
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    flight.fail(Fault(kind, pilot.tick, camera="arm/elbow_eye", late_s=1.0))
    before = pilot.script_s
    for _ in range(60):
        flight.step(Command("script", share=1.0))
    assert pilot.script_s > before + 0.5
