"""Straight lines of a point: within the bound that is proven of them, and what is said where one cannot be flown."""

import numpy as np
import pytest

from armcarry.errors import FrameError, MotionError, ReachError
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.line import Line, deviation, straight_line
from armcarry.motion.path import clamped_spline, joint_segment

TOOL = poses.from_xyz_rpy((0.2, 0.1, 0.9), (0.0, 0.3, 0.0))
DENSE = np.linspace(0.0, 1.0, 4001)


def off_line(chain, path, start, goal, tool=None):
    """Distance and angle from the line at many places, by interpolation of its own."""
    got = chain.forward(path.at(DENSE), tool)
    expected = start[:3, 3] + DENSE[:, None] * (goal[:3, 3] - start[:3, 3])
    turn = poses.rotation_vector(goal @ poses.inverse(start))
    angle = np.linalg.norm(turn)
    axis = turn / angle if angle > 1e-12 else np.array([1.0, 0, 0])
    wanted = poses.rotation_about(axis, DENSE * angle) @ start
    turned = np.linalg.norm(poses.rotation_vector(got @ poses.inverse(wanted)), axis=1)
    return np.linalg.norm(got[:, :3, 3] - expected, axis=1), turned


def test_the_point_runs_straight_within_the_proven_bound(chain, bent, rng):
    done = 0
    for k in range(14):
        q = bent + rng.normal(0, 0.4, 7)
        start = chain.forward(q, TOOL)
        goal = start.copy()
        goal[:3, 3] += rng.normal(0, 1.2, 3)
        if k % 2:
            goal[:3, :3] = poses.rotation_about((0.6, 0, 0.8), 0.5)[:3, :3] @ goal[:3, :3]
        try:
            path = straight_line(chain, q, goal, tool=TOOL)
        except ReachError:
            continue
        done += 1
        metres, radians = off_line(chain, path, start, goal, TOOL)
        assert metres.max() <= path.deviation_m <= 5e-3
        assert radians.max() <= path.deviation_rad <= np.deg2rad(0.1)
        np.testing.assert_allclose(path.start, q, atol=1e-12)
        np.testing.assert_allclose(chain.forward(path.end, TOOL), goal, atol=1e-9)
        low, high = path.curve.extremes()
        assert (low >= chain.limits[:, 0] - 1e-9).all() and (high <= chain.limits[:, 1] + 1e-9).all()
    assert done >= 10


def test_a_tighter_tolerance_is_met_by_more_knots(chain, bent):
    start = chain.forward(bent)
    goal = start[:3, 3] + (1.5, -1.0, 0.8)
    wide = straight_line(chain, bent, goal)
    fine = straight_line(chain, bent, goal, tolerance_m=1e-4, tolerance_rad=1e-5)
    assert len(fine.curve.breaks_s) > len(wide.curve.breaks_s)
    pose = start.copy()
    pose[:3, 3] = goal
    metres, radians = off_line(chain, fine, start, pose)
    assert metres.max() <= fine.deviation_m <= 1e-4 and radians.max() <= fine.deviation_rad <= 1e-5


def test_the_bound_is_a_bound_for_any_curve(chain, bent, rng):
    """Also for one that leaves the line far: the straight segment in joint space."""
    other = bent + rng.normal(0, 0.3, 7)
    start, goal = chain.forward(bent), chain.forward(other)
    path = joint_segment(chain.joints, bent, other)
    line = Line(start, goal[:3, 3] - start[:3, 3], poses.rotation_vector(goal @ poses.inverse(start)))
    (bound,) = deviation(chain, path.curve, line)
    metres, radians = off_line(chain, path, start, goal)
    assert metres.max() > 0.05  # or this would show nothing
    assert metres.max() <= bound[0] <= metres.max() + 0.05
    assert radians.max() <= bound[1] <= radians.max() + 0.1


def test_a_position_holds_the_orientation(chain, bent):
    start = chain.forward(bent)
    path = straight_line(chain, bent, start[:3, 3] + (0.0, 1.0, 0.5))
    turned = poses.rotation_vector(chain.forward(path.at(DENSE)) @ poses.inverse(start))
    assert np.linalg.norm(turned, axis=1).max() <= np.deg2rad(0.1)
    assert path.length_m == pytest.approx(np.hypot(1.0, 0.5)) and path.turn_rad == pytest.approx(0.0, abs=1e-12)


def test_the_path_is_smooth_to_the_second_derivative(chain, bent):
    path = straight_line(chain, bent, chain.forward(bent)[:3, 3] + (1.5, 1.0, 0.0))
    inner = path.curve.breaks_s[1:-1]
    for order in range(3):
        left, right = (path.curve.at(inner, order, side) for side in ("left", "right"))
        np.testing.assert_allclose(left, right, atol=1e-9)


SQUARE = [(1.0, 0, 0), (1.0, 1.0, 0), (0, 1.0, 0), (0, 0, 0)]


def around(chain, q, **options):
    corner = chain.forward(q)[:3, 3]
    for step in SQUARE:
        q = straight_line(chain, q, corner + step, **options).end
    return q


def test_a_closed_path_comes_back(chain, bent):
    drifted = np.abs(around(chain, bent) - bent).max()
    assert drifted > 1e-4  # each line near its own start: the spare joint drifts
    assert np.abs(around(chain, bent, near=bent) - bent).max() < 1e-10
    pinned = around(chain, bent, pinned=("arm/shoulder_roll",))
    assert np.abs(pinned - bent).max() < 1e-8


def test_there_and_back_with_the_end_given(chain, bent):
    there = straight_line(chain, bent, chain.forward(bent)[:3, 3] + (0.5, 1.0, 0.3))
    back = straight_line(chain, there.end, chain.forward(bent), end=bent)
    np.testing.assert_allclose(back.end, bent, atol=1e-9)


def test_a_pinned_joint_keeps_its_place(chain, bent):
    path = straight_line(chain, bent, chain.forward(bent)[:3, 3] + (0.3, 0.8, 0.3), pinned=("arm/shoulder_roll",))
    np.testing.assert_allclose(path.at(DENSE)[:, 1], bent[1], atol=1e-9)


def test_an_arm_without_a_spare_joint(trial_tree, chain, bent):
    names = [name for name in chain.joints if name != "arm/shoulder_roll"]
    six = Chain.of(trial_tree, "world", "arm/tip", names, {"arm/shoulder_roll": bent[1]})
    q = np.delete(bent, 1)
    path = straight_line(six, q, six.forward(q)[:3, 3] + (0.3, 0.8, 0.3))
    whole = straight_line(
        Chain.of(trial_tree, "world", "arm/tip", chain.joints), bent,
        Chain.of(trial_tree, "world", "arm/tip", chain.joints).forward(bent)[:3, 3] + (0.3, 0.8, 0.3),
        pinned=("arm/shoulder_roll",),
    )
    np.testing.assert_allclose(path.end, np.delete(whole.end, 1), atol=1e-8)


def test_a_line_out_of_reach_says_where_it_stops_and_why(chain, bent):
    start = chain.forward(bent)[:3, 3]
    base = chain.hats(bent)[0, 0, :, 3]
    away = (start - base) / np.linalg.norm(start - base)
    with pytest.raises(ReachError) as told:
        straight_line(chain, bent, start + 12.0 * away)
    error = told.value
    assert error.at_m + error.short_m == pytest.approx(12.0)
    assert 0.0 < error.at_m < 12.0
    assert "m along it: a direction of motion is lost (smallest singular value 0.0" in error.reason
    assert "a pose a little farther is within reach, but not turned like that" in error.reason
    # the arm really is all but stretched there
    assert np.linalg.norm(start + error.at_m * away - base) > 0.85 * chain.reach_m


def test_a_line_into_a_singularity_of_its_branch_points_to_another(chain, bent):
    # with the shoulder roll pinned the three pitch joints and the wrist lose a direction on the way
    told = None
    for step in np.eye(3):
        try:
            straight_line(chain, bent, chain.forward(bent)[:3, 3] + 1.5 * step, pinned=("arm/shoulder_pitch",))
        except ReachError as error:
            told = error
    assert told is not None
    assert "with arm/shoulder_pitch pinned); a pose a little farther can be taken only from another branch" in str(told)


def test_a_line_beyond_the_travel_names_the_joint(trial_tree, chain, bent):
    from dataclasses import replace

    limits = chain.limits.copy()
    limits[3, 1] = bent[3] + 0.1
    tight = replace(chain, limits=limits)
    inwards = chain.hats(bent)[0, 0, :, 3] - chain.forward(bent)[:3, 3]
    goal = chain.forward(bent)[:3, 3] + 0.4 * inwards  # folds the elbow
    with pytest.raises(ReachError) as told:
        straight_line(tight, bent, goal, pinned=("arm/shoulder_roll",))
    assert told.value.stopped_by == ("arm/elbow_pitch",)
    assert "by the end of travel of arm/elbow_pitch" in told.value.reason
    assert 0 < told.value.at_m < np.linalg.norm(0.4 * inwards)


def test_an_end_on_another_branch_is_told(chain, bent):
    goal = chain.forward(bent)[:3, 3] + (0.2, 0.3, 0.1)
    with pytest.raises(ReachError, match="the line does not lead to the joint positions wanted at its end"):
        straight_line(chain, bent, goal, end=bent + 1.0)


def test_bad_lines_are_told(chain, bent):
    with pytest.raises(MotionError, match="the straight line has no length and no turn"):
        straight_line(chain, bent, chain.forward(bent))
    with pytest.raises(FrameError, match="no joint named 'elbow'"):
        straight_line(chain, bent, (1.0, 2.0, 3.0), pinned=("elbow",))
    with pytest.raises(MotionError, match="the start is not as near the reference as its pose allows; leave"):
        straight_line(chain, bent, (1.0, 2.0, 3.0), near=bent + 0.3)
    with pytest.raises(MotionError, match="the path does not move: both ends are the same"):
        joint_segment(("a", "b"), (1.0, 2.0), (1.0, 2.0))


def test_the_clamped_spline_takes_cubics_exactly_and_agrees_with_scipy(rng):
    interpolate = pytest.importorskip("scipy.interpolate")
    breaks = np.cumsum(rng.uniform(0.1, 1.0, 8))
    values, first, last = rng.normal(size=(8, 3)), rng.normal(size=3), rng.normal(size=3)
    table = clamped_spline(breaks, values, first, last)
    theirs = interpolate.CubicSpline(breaks, values, bc_type=((1, first), (1, last)))
    np.testing.assert_allclose(table, np.moveaxis(theirs.c[::-1], 0, 1), atol=1e-9)
    ours = Motion(("a", "b", "c"), breaks, table)
    np.testing.assert_allclose(ours.at(breaks), values, atol=1e-12)
    single = clamped_spline(np.array([0.0, 2.0]), np.array([[0.0], [8.0]]), np.array([0.0]), np.array([12.0]))
    np.testing.assert_allclose(single[0, :, 0], [0, 0, 0, 1], atol=1e-12)  # t^3
