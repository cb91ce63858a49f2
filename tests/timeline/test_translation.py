"""The worker's motion: where the gloves are, how fast, and that no angle jumps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.scene.crew import FREE_JOINTS
from armcarry.timeline.handrails import Rail, find_route
from armcarry.timeline.translation import Pace, body_poses, joint_positions, translate_path

JOINTS = tuple(f"ev2/{name}" for name in FREE_JOINTS)
GRIP = (0.5, 0.0, 1.3)
PACE = Pace(0.2)
UP, SIDE = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
RAILS = (
    Rail("keel", np.array([0.0, 0, 0]), np.array([10.0, 0, 0]), UP),
    Rail("down", np.array([10.2, 0, 0]), np.array([10.2, 0, -4.0]), SIDE),
    Rail("back", np.array([10.0, 0.3, -4.2]), np.array([2.0, 0.3, -4.2]), -UP),
)


def way():
    route = find_route(RAILS, (0, 0, 0), (2, 0.3, -4.2), gap_m=0.7, reach_m=0.3)
    return route, translate_path(body_poses(route, GRIP), GRIP, PACE, JOINTS)


def distance_from(points, a, b):
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.linalg.norm(points - (a + share[:, None] * (b - a)), axis=1)


def pose_at(motion, times):
    q = motion.at(times)
    result = poses.identity(len(times))
    result[:, :3, :3] = Rotation.from_euler("ZYX", q[:, 3:]).as_matrix()  # yaw, then pitch, then roll
    result[:, :3, 3] = q[:, :3]
    return result


def test_gloves_are_on_the_rail_head_first_chest_to_it():
    route, motion = way()
    assert route.rails == ("keel", "down", "back")
    times = np.linspace(motion.start_s, motion.end_s, 4000)
    body = pose_at(motion, times)
    gloves = poses.apply(body, GRIP)
    off = np.min([distance_from(gloves, a, b) for a, b in pairwise(route.points)], axis=0)
    # joints move straight between steps of 30 deg, the arc of the boots' lever of 1.4 m does not:
    # 1.4 m (1 - cos 15 deg) = 48 mm, and as much again for the turn's own path near pitch 90 deg
    assert off.max() < 0.15
    legs = motion.at(times, order=1)
    along = (np.linalg.norm(legs[:, :3], axis=1) > 0.19) & np.all(legs[:, 3:] == 0.0, axis=1)
    assert along.sum() > 1500
    assert np.all(off[along] < 1e-9)
    velocity = legs[along][:, :3] / np.linalg.norm(legs[along][:, :3], axis=1)[:, None]
    assert np.allclose(np.einsum("ij,ij->i", body[along][:, :3, 2], velocity), 1.0)
    assert np.allclose(body[times < 20.0][:, :3, 0], -UP)


def test_speeds_keep_the_pace_and_angles_never_jump():
    _, motion = way()
    assert np.abs(motion.at(motion.breaks_s, order=1)).max() <= 0.2 + 1e-12
    low, high = motion.extremes(order=1)
    assert max(-low[3:].min(), high[3:].max()) <= PACE.turn_rad_s + 1e-12
    low, high = motion.extremes(order=2)
    assert max(-low[:3].min(), high[:3].max()) <= PACE.acceleration_m_s2 + 1e-12
    inner = motion.breaks_s[1:-1]
    for order in (0, 1):
        assert np.allclose(motion.at(inner, order, side="left"), motion.at(inner, order), atol=1e-9)
    assert np.allclose(motion.at([motion.start_s, motion.end_s], order=1), 0.0, atol=1e-9)


def test_one_straight_way_takes_the_time_of_a_trapezoid():
    route = find_route(RAILS[:1], (0, 0, 0), (10, 0, 0), gap_m=0.1, reach_m=0.1)
    motion = translate_path(body_poses(route, GRIP), GRIP, PACE, JOINTS, start_s=100.0)
    assert motion.start_s == 100.0
    assert motion.duration_s == pytest.approx(10 / 0.2 + 0.2 / 0.1)
    short = find_route(RAILS[:1], (0, 0, 0), (0.2, 0, 0), gap_m=0.1, reach_m=0.1)
    peak = translate_path(body_poses(short, GRIP), GRIP, PACE, JOINTS)
    assert peak.duration_s == pytest.approx(2 * np.sqrt(0.2 / 0.1))  # never at full speed


def test_begins_at_the_hatch_and_ends_in_the_stand():
    route, _ = way()
    hatch = poses.from_xyz_rpy((-1, 0, 0.2), (0.3, -0.4, 2.0))
    stand = poses.from_xyz_rpy((2, 0.5, -5.0), (-2.0, 0.2, 1.0))
    motion = translate_path(body_poses(route, GRIP, hatch, stand), GRIP, PACE, JOINTS)
    ends = pose_at(motion, np.array([motion.start_s, motion.end_s]))
    assert np.allclose(ends, [hatch, stand], atol=1e-9)


angles = st.floats(-7.0, 7.0)


@given(st.lists(st.tuples(angles, angles, angles), min_size=1, max_size=6), st.booleans())
@settings(max_examples=200, deadline=None)
def test_angles_give_the_pose_back_and_stay_near(turns, locked):
    keys = poses.identity(len(turns))
    if locked:
        turns = [(yaw, np.pi / 2 if pitch > 0 else -np.pi / 2, roll) for yaw, pitch, roll in turns]
    keys[:, :3, :3] = Rotation.from_euler("ZYX", turns).as_matrix()
    rows = joint_positions(keys, before=(0.5, -0.2, 9.0))
    assert np.allclose(Rotation.from_euler("ZYX", rows[:, 3:]).as_matrix(), keys[:, :3, :3], atol=1e-6)
    steps = np.abs(np.diff(np.vstack([[0.5, -0.2, 9.0], rows[:, 3:]]), axis=0))
    assert steps.max() <= 1.5 * np.pi + 1e-9  # pitch never needs more than 3/2 pi, yaw and roll than pi


def test_nothing_to_do_and_wrong_joints_are_refused():
    key = poses.identity(2)
    with pytest.raises(MotionError, match="the worker is there already"):
        translate_path(key, GRIP, PACE, JOINTS)
    with pytest.raises(MotionError, match="a worker moves on 6 free joints, not 5"):
        translate_path(key, GRIP, PACE, JOINTS[:5])
    with pytest.raises(MotionError, match="speeds and accelerations must be above 0"):
        Pace(0.0)
