import numpy as np
import pytest

from armcarry.errors import FrameError, MotionError
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.jacobian import jacobian


def test_a_chain_agrees_with_its_tree(trial_tree, chain, rng):
    q = rng.uniform(-4.7, 4.7, (30, 7))
    whole = np.column_stack([np.full(30, 0.3), np.zeros(30), q])
    links = ["arm/" + name.split("/")[1] + "_link" for name in chain.joints]
    np.testing.assert_allclose(chain.forward(q), forward(trial_tree, whole, ["arm/tip"])[:, 0], atol=1e-13)
    np.testing.assert_allclose(chain.frames(q), forward(trial_tree, whole, links), atol=1e-13)


def test_a_prismatic_joint_may_move_too(trial_tree, rng):
    every = Chain.of(trial_tree, "world", "arm/tip")
    assert every.joints[0] == "trolley/slide" and every.size == 8
    assert list(every.revolute) == [False] + [True] * 7
    q = rng.uniform(-4, 4, 8)
    whole = np.insert(q, 1, 0.0)
    np.testing.assert_allclose(every.forward(q), forward(trial_tree, whole, ["arm/tip"])[0], atol=1e-13)


def test_a_chain_between_two_branches_climbs_one_and_descends_the_other(trial_tree, rng):
    across = Chain.of(trial_tree, "trolley/camera", "arm/tip")
    assert across.joints[0] == "trolley/pan" and "trolley/slide" not in across.joints
    q = rng.uniform(-1, 1, 8)
    both = forward(trial_tree, np.insert(q, 0, 0.7), ["trolley/camera", "arm/tip"])
    np.testing.assert_allclose(across.forward(q), poses.inverse(both[0]) @ both[1], atol=1e-13)


def test_forwards_and_backwards_cancel(trial_tree, rng):
    there, back = Chain.of(trial_tree, "world", "arm/tip"), Chain.of(trial_tree, "arm/tip", "world")
    q = rng.uniform(-4, 4, (20, 8))
    np.testing.assert_allclose(there.forward(q) @ back.forward(q[:, ::-1]), poses.identity(20), atol=1e-13)


def test_held_joints_stand_where_they_are_put(trial_tree):
    held = {"arm/wrist_yaw": 0.5, "trolley/slide": -1.0}
    by_name = Chain.of(trial_tree, "world", "arm/tip", ["arm/elbow_pitch"], held)
    whole = np.zeros(9)
    whole[[trial_tree.column("arm/wrist_yaw"), trial_tree.column("trolley/slide")]] = 0.5, -1.0
    by_vector = Chain.of(trial_tree, "world", "arm/tip", ["arm/elbow_pitch"], whole)
    np.testing.assert_array_equal(by_name.forward([0.2]), by_vector.forward([0.2]))
    whole[trial_tree.column("arm/elbow_pitch")] = 0.2
    np.testing.assert_allclose(by_name.forward([0.2]), forward(trial_tree, whole, ["arm/tip"])[0], atol=1e-13)


def test_a_tool_hangs_from_the_tip(chain, bent):
    tool = poses.from_xyz_rpy((0.1, -0.2, 0.9), (0.3, 0.1, 0.2))
    np.testing.assert_allclose(chain.forward(bent, tool), chain.forward(bent) @ tool, atol=1e-14)


def test_levers_bound_the_speed_of_the_tool_everywhere(trial_tree, rng):
    every = Chain.of(trial_tree, "world", "arm/tip")
    tool = poses.translation((0.1, 0.2, 0.8))
    q = rng.uniform(every.limits[:, 0], every.limits[:, 1], (5000, 8))
    speed = np.linalg.norm(jacobian(every, q, tool)[:, :3], axis=1).max(axis=0)
    levers = every.levers(tool)
    assert (speed <= levers + 1e-12).all()
    assert (speed[1:] > 0.6 * levers[1:]).all()  # a bound that is no use would be larger
    assert levers[0] == 1.0


def test_margins_are_distances_from_the_ends_of_travel(chain):
    travel = np.deg2rad(270)
    np.testing.assert_allclose(chain.margins(np.full(7, travel - 0.1)), 0.1)
    np.testing.assert_allclose(chain.margins(np.full(7, -travel - 0.1)), -0.1)


def test_wrong_requests_are_told(trial_tree, chain):
    with pytest.raises(MotionError, match="no joint moves 'trolley/mast' in 'trolley/cart'"):
        Chain.of(trial_tree, "trolley/cart", "trolley/mast")
    with pytest.raises(MotionError, match="joint 'trolley/pan' is not between 'world' and 'arm/tip'"):
        Chain.of(trial_tree, "world", "arm/tip", ["trolley/pan"])
    with pytest.raises(FrameError, match="no joint named 'arm/elbow'; did you mean 'arm/elbow_pitch'"):
        Chain.of(trial_tree, "world", "arm/tip", ["arm/elbow"])
    with pytest.raises(FrameError, match="no frame named 'arm/hand'"):
        Chain.of(trial_tree, "world", "arm/hand")
    with pytest.raises(FrameError, match="no joint named 'elbow_pitch'"):
        chain.column("elbow_pitch")
