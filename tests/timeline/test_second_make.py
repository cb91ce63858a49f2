"""A move that cannot be made is asked of another solver, once, and the reason says what it found."""

import numpy as np
import pytest

from armcarry.files.documents.carries import Carry
from armcarry.files.load import load_scenario
from armcarry.files.places import find_scenario
from armcarry.geometry import poses
from armcarry.motion.toolbox import taken
from armcarry.scene.build import build_scene
from armcarry.timeline.moves import plan_carries
from armcarry.timeline.planned import Way
from armcarry.timeline.second_make import asked_again


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(find_scenario("unreachable_worksite")))


def fallen_short(scene, move):
    carry = Carry.model_validate({"name": "try", "moves": [move]})
    way, shortfall = plan_carries(scene, (carry,), Way(scene.tree, scene.position))
    assert shortfall is not None
    assert "roboticstoolbox" not in shortfall.reason  # searches do not ask twice
    again = asked_again(scene, (carry,), way, shortfall)
    assert again == asked_again(scene, (carry,), way, shortfall)
    return again.reason


def test_a_pose_far_away_is_out_of_reach_of_both(scene):
    reason = fallen_short(scene, {"to_pose": {"frame": "world", "position": ["90 m", "0 m", "0 m"]}})
    assert reason.endswith("; roboticstoolbox's own solver does not reach the pose either, from 100 starts")


def test_a_line_stopped_on_its_way_is_told_from_an_end_that_nobody_reaches(scene):
    reason = fallen_short(scene, {"line": {"frame": "world", "by": ["60 m", "0 m", "0 m"]}})
    assert reason.endswith("; roboticstoolbox's own solver does not reach the end of the line either, from 100 starts")


def test_what_the_other_solver_reaches_is_a_posture_of_our_arm(scene):
    arm, columns = scene.loaded.arm, scene.arm_columns
    rng = np.random.default_rng(3)
    point = poses.from_xyz_rpy((0.2, -0.1, 0.4), (0.3, 0.0, 0.5))
    base = scene.tree.pose_of(f"arm/{arm.document.base}", scene.position)
    for turned in (True, False):
        position = scene.position.copy()
        low, high = scene.tree.joint_limits[columns].T
        position[columns] = rng.uniform(0.8 * low, 0.8 * high)
        goal = poses.inverse(base) @ scene.tree.pose_of(f"arm/{arm.document.tip}", position) @ point
        found = taken(arm, goal, point, turned=turned)
        assert ((found >= low) & (found <= high)).all()
        position[columns] = found
        reached = poses.inverse(base) @ scene.tree.pose_of(f"arm/{arm.document.tip}", position) @ point
        np.testing.assert_allclose(reached[:3, 3], goal[:3, 3], atol=1e-6)
        if turned:
            np.testing.assert_allclose(reached, goal, atol=1e-6)
