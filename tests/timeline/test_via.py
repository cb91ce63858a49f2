"""Moves past via points: joints not named stay where the point before left them, and the arm does not stop."""

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.motion.path import rounded
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.planned import Way
from armcarry.timeline.variants import plan_all

SCRIPT = """
format: armcarry scenario 1
title: past a corner
purpose: to test via points
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
carries:
  - name: out
    moves:
      - to_joints: {shoulder_turn: 60 deg, elbow_bend: 40 deg}
        via: [{shoulder_turn: 30 deg}, {elbow_bend: 80 deg, wrist_turn: 20 deg}]
        name: round
  - {name: back, reverse_of: out}
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("via") / "script.yaml"
    path.write_text(SCRIPT)
    return build_scene(load_scenario(path))


def _points(scene):
    order = [joint.split("/")[1] for joint in scene.arm_joints]
    points = [scene.position[scene.arm_columns]]
    for named in ({"shoulder_turn": 30}, {"elbow_bend": 80, "wrist_turn": 20}, {"shoulder_turn": 60, "elbow_bend": 40}):
        point = points[-1].copy()
        for joint, degrees in named.items():
            point[order.index(joint)] = np.radians(degrees)
        points.append(point)
    return np.array(points)


def test_the_path_leads_past_every_via_point(scene):
    way, shortfall = plan_all(scene, scene.loaded.scenario.carries, Way(scene.tree, scene.position))
    assert shortfall is None
    out, back = way.moves
    expected = rounded(scene.arm_joints, _points(scene))
    s = np.linspace(0, 1, 50)
    np.testing.assert_allclose(out.path.at(s), expected.at(s), atol=1e-12)
    np.testing.assert_allclose(back.path.at(s), expected.at(1 - s), atol=1e-9)
    assert out.words == "to joint angles past 2 via points"


def test_the_arm_does_not_stop_on_the_way(scene):
    run = run_carries(scene)
    move = run.moves[0]
    times = np.linspace(move.start_s, move.end_s, 400)[20:-20]
    rates = np.abs(run.motion.at(times, 1)[:, scene.arm_columns]).max(axis=1)
    assert rates.min() > 1e-3


def test_a_via_point_names_joints_of_the_arm(tmp_path):
    path = tmp_path / "script.yaml"
    path.write_text(SCRIPT.replace("{shoulder_turn: 30 deg}", "{shoulder_tern: 30 deg}"))
    with pytest.raises(InputError, match=r"script.yaml:13: no joint of the arm named 'shoulder_tern'"):
        load_scenario(path)
