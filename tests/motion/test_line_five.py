"""Straight lines of arms of five joints, which cannot hold all turning, and lines about which the tool may turn."""

import numpy as np
import pytest

from armcarry.errors import ReachError
from armcarry.geometry import poses
from armcarry.geometry.model import Joint, Model
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.motion.line import straight_line
from armcarry.scene.tree import Tree

DENSE = np.linspace(0.0, 1.0, 2001)
STEPS = [(0.5, (0, 0, 1)), (0.3, (0, 1, 0)), (4.0, (0, 1, 0)), (4.0, (0, 1, 0)), (1.0, (0, 0, 1))]
Q = np.array([0.0, 0.4, 0.9, 0.5, 0.2])


@pytest.fixture(scope="module")
def five():
    """A turning post, three joints that bend in one plane, and a hand that rolls."""
    links = ("base", *(f"l{k}" for k in range(1, 5)), "tip")
    joints = [
        Joint(f"j{k}", "revolute", links[k], links[k + 1], poses.translation((0, 0, up)), np.array(axis, float), -3, 3)
        for k, (up, axis) in enumerate(STEPS)
    ]
    joints.append(Joint("end", "fixed", "tip", "point", poses.translation((0, 0, 1.0))))
    model = Model("arm", "base", (*links, "point"), tuple(joints), ())
    return Chain.of(Tree().place("arm", model), "world", "arm/point")


def leaves(chain, path, shift, axis=None):
    """Return how far the point leaves the line, and its axis (or all of it) the direction it began with."""
    pose, first = chain.forward(path.at(DENSE)), chain.forward(path.start)
    metres = np.linalg.norm(pose[:, :3, 3] - first[:3, 3] - DENSE[:, None] * np.array(shift), axis=1).max()
    if axis is None:
        return metres, np.linalg.norm(poses.rotation_vector(pose @ poses.inverse(first)), axis=1).max()
    return metres, np.arccos(np.clip(pose[:, :3, axis] @ first[:3, axis], -1, 1)).max()


def test_in_the_plane_in_which_it_bends_all_turning_is_held(five):
    for shift in ((0.5, 0.0, 0.0), (0.3, 0.0, 0.4)):
        path = straight_line(five, Q, five.forward(Q)[:3, 3] + shift)
        metres, radians = leaves(five, path, shift)
        assert metres <= path.deviation_m <= 5e-3
        assert radians <= path.deviation_rad <= np.deg2rad(0.1)


def test_out_of_the_plane_it_says_what_has_to_be_free_and_flies_that(five):
    shift = (0.2, 0.6, 0.1)
    goal = five.forward(Q)[:3, 3] + shift
    with pytest.raises(ReachError) as told:
        straight_line(five, Q, goal)
    words = "its 5 joints cannot move the point so and hold all its turning; it can be flown with free: x or free: any"
    assert words in str(told.value)
    assert "spare joint" not in str(told.value)
    path = straight_line(five, Q, goal, free="any")
    assert leaves(five, path, shift)[0] <= path.deviation_m <= 5e-3
    assert (path.turn_rad, path.deviation_rad) == (0.0, 0.0)
    with pytest.raises(ReachError, match="hold all its turning but that about z; it can be flown with free: any"):
        straight_line(five, Q, goal, free="z")


@pytest.mark.parametrize("free", ["x", "y", "z"])
def test_an_axis_keeps_its_direction_while_all_turns_about_it(chain, bent, free):
    shift = (0.4, 0.8, -0.3)
    path = straight_line(chain, bent, chain.forward(bent)[:3, 3] + shift, free=free)
    metres, radians = leaves(chain, path, shift, "xyz".index(free))
    assert metres <= path.deviation_m <= 5e-3
    assert radians <= path.deviation_rad <= np.deg2rad(0.1)
    whole = leaves(chain, path, shift)[1]
    assert whole > np.deg2rad(1.0)  # or nothing was free
    assert path.spare == "kept near where the line began"


def test_a_free_axis_is_led_to_where_the_goal_has_it(chain, bent):
    goal = chain.forward(bent)
    goal[:3, 3] += (0.3, 0.5, 0.2)
    goal[:3, :3] = poses.rotation_about((0.6, 0, 0.8), 0.5)[:3, :3] @ goal[:3, :3]
    path = straight_line(chain, bent, goal, free="y")
    end = chain.forward(path.end)
    np.testing.assert_allclose(end[:3, 3], goal[:3, 3], atol=1e-7)
    np.testing.assert_allclose(end[:3, 1], goal[:3, 1], atol=1e-7)
    assert np.abs(end[:3, 0] - goal[:3, 0]).max() > 1e-2


def test_a_pose_within_reach_but_not_turned_so_is_told_as_that(five):
    goal = five.forward(Q)
    goal[:3, :3] = poses.rotation_about((0, 0, 1), 0.5)[:3, :3] @ goal[:3, :3]
    with pytest.raises(ReachError) as told:
        solutions(five, goal)
    words = "within reach, but not turned like that: the point gets there turned otherwise; 5 joints cannot turn it"
    assert words in str(told.value)
    hollow = poses.translation((0.0, 0.0, 4.0))  # a tool so long that the point cannot come near the first joint
    with pytest.raises(ReachError, match="out of reach, though nearer than the arm is long: no joint positions bring"):
        solutions(_stiff(), poses.translation((0.5, 0.0, 0.0)), tool=hollow)


def _stiff():
    """Return five joints whose last length is more than all others together."""
    links = ("base", "a", "b", "c", "d", "tip")
    axes = [(0, 0, 1), (0, 1, 0), (0, 1, 0), (0, 1, 0), (0, 0, 1)]
    joints = [
        Joint(f"j{k}", "revolute", links[k], links[k + 1], poses.translation((0, 0, 0.3)), np.array(axis, float), -3, 3)
        for k, axis in enumerate(axes)
    ]
    return Chain.of(Tree().place("arm", Model("arm", "base", links, tuple(joints), ())), "world", "arm/tip")
