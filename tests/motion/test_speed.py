"""How fast a tool point moves: bounds that enclose dense samples."""

import numpy as np
import pytest

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.speed import tip_speed_maximum
from measures import tool_speed

TOOL = poses.translation((0.0, 0.4, 1.0))


def wild(chain, rng, pieces=5):
    breaks = np.cumsum(rng.uniform(1, 20, pieces + 1))
    table = rng.normal(size=(pieces, 5, chain.size)) * np.array([1.0, 0.05, 0.004, 3e-4, 1e-5])[:, None]
    return Motion(chain.joints, breaks, table)


@pytest.mark.parametrize("seed", range(6))
def test_the_bounds_enclose_dense_samples(trial_tree, seed):
    rng = np.random.default_rng(seed)
    chain = Chain.of(trial_tree, "world", "arm/tip")  # a slide and seven turns
    motion = wild(chain, rng)
    lower, upper, time = tip_speed_maximum(chain, motion, TOOL)
    sampled = np.concatenate(
        [
            tool_speed(chain, Motion(chain.joints, motion.breaks_s[k : k + 2], motion.coefficients[k : k + 1]),
                       np.linspace(*motion.breaks_s[k : k + 2], 2001), TOOL)[0]
            for k in range(5)
        ]
    ).max()
    assert lower <= upper <= lower + 1e-4
    assert sampled <= upper
    assert sampled >= lower - 1e-3 * lower
    assert tool_speed(chain, motion, np.array(time), TOOL)[0] == pytest.approx(lower, rel=1e-12)


def test_one_joint_turning_gives_its_lever_times_its_rate(trial_tree):
    chain = Chain.of(trial_tree, "world", "arm/tip", ["arm/shoulder_yaw"])
    motion = Motion(chain.joints, np.array([0.0, 10.0]), np.array([[[0.0], [0.03]]]))
    tip = chain.forward([0.0])[:3, 3] - chain.hats([0.0])[0, 0, :, 3]
    axis = chain.hats([0.0])[0, 0, :, 2]
    lower, upper, _ = tip_speed_maximum(chain, motion)
    lever = np.linalg.norm(np.cross(axis, tip))
    assert lower == pytest.approx(0.03 * lever, rel=1e-12) and upper <= 0.03 * lever + 1e-4


def test_tool_speed_is_the_derivative_of_the_pose(chain, bent):
    table = np.stack([bent, np.linspace(-0.03, 0.05, 7), np.full(7, 1e-3)])[None]
    motion = Motion(chain.joints, np.array([0.0, 10.0]), table)
    before, after = (chain.forward(motion.at(4.0 + step), TOOL) for step in (-1e-5, 1e-5))
    linear, angular = tool_speed(chain, motion, np.array(4.0), TOOL)
    assert linear == pytest.approx(np.linalg.norm(after[:3, 3] - before[:3, 3]) / 2e-5, rel=1e-7)
    turn = np.linalg.norm(poses.rotation_vector(after @ poses.inverse(before)))
    assert angular == pytest.approx(turn / 2e-5, rel=1e-7)


def test_other_joints_of_a_motion_are_left_out(chain, bent):
    own = Motion(chain.joints, np.array([0.0, 1.0]), np.stack([bent, np.full(7, 0.01)])[None])
    mixed = Motion(
        ("other", *chain.joints[::-1]), own.breaks_s,
        np.concatenate([np.ones((1, 2, 1)), own.coefficients[:, :, ::-1]], axis=2),
    )
    assert tip_speed_maximum(chain, mixed) == tip_speed_maximum(chain, own)
    with pytest.raises(MotionError, match="the motion does not move arm/wrist_roll"):
        tip_speed_maximum(chain, Motion(chain.joints[:6], own.breaks_s, own.coefficients[:, :, :6]))
