"""Inverse kinematics: every reachable pose solved to its tolerance, and what is said of those that are not."""

import contextlib
from dataclasses import replace

import numpy as np
import pytest

from arm_tables import DhRow, from_dh
from armcarry.errors import FrameError, MotionError, ReachError
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import Tolerance, nearest, pose_error, solutions, solve, unwind, ways
from armcarry.motion.jacobian import jacobian
from armcarry.motion.redundancy import centre, margin_slopes
from armcarry.scene.tree import Tree
from measures import windings

TOOL = poses.from_xyz_rpy((0.3, 0.0, 0.9), (0.0, 0.4, 0.1))


def left(chain, q, goal, tool=None):
    error = pose_error(chain.forward(q, tool), goal)
    return np.linalg.norm(error[..., :3], axis=-1), np.linalg.norm(error[..., 3:], axis=-1)


def test_reachable_poses_are_all_solved_to_the_tolerance_in_metres_and_radians(chain, rng):
    for q in rng.uniform(chain.limits[:, 0], chain.limits[:, 1], (12, 7)):
        goal = chain.forward(q, TOOL)
        found = solutions(chain, goal, tool=TOOL)
        metres, radians = left(chain, found, goal, TOOL)
        assert metres.max() < 1e-9 and radians.max() < 1e-9
        assert chain.margins(found).min() >= 0
        assert len(found) >= 4
        apart = np.abs(found[:, None] - found).max(axis=2) + 9 * np.eye(len(found))
        assert apart.min() > 0.02


def test_the_same_seed_gives_the_same_answer_bit_for_bit(chain, bent):
    goal = chain.forward(bent)
    np.testing.assert_array_equal(solutions(chain, goal, seed=3), solutions(chain, goal, seed=3))
    state = np.random.get_state()[1].copy()  # noqa: NPY002  the global generator is not touched
    solutions(chain, goal, seed=3)
    np.testing.assert_array_equal(np.random.get_state()[1], state)  # noqa: NPY002


def test_solutions_come_with_the_widest_margin_first_and_at_their_optimum(chain, bent):
    goal = chain.forward(bent)
    found = solutions(chain, goal)
    margins = chain.margins(found).min(axis=1)
    assert (np.diff(margins) < 1e-5).all()
    # a sweep of the spare joint finds no wider margin
    for turn in np.arange(-np.pi, np.pi, np.deg2rad(2.0)):
        with contextlib.suppress(ReachError):
            pinned = solutions(chain, goal, pinned={"arm/shoulder_yaw": float(turn)})
            assert chain.margins(pinned).min(axis=1).max() < margins[0] + 0.005
    # of the others, no step along the spare direction lowers the cost: its slope there is nothing
    for q in found[1:]:
        spare = np.linalg.svd(jacobian(chain, q))[2][-1]
        assert abs(margin_slopes(chain, q[None])[0][0] @ spare) < 1e-6


def test_centring_keeps_the_pose_and_widens_the_margin(chain, rng):
    for q in rng.uniform(-4.4, 4.4, (8, 7)):
        moved = centre(chain, q[None], chain.forward(q))
        u = np.array([q, moved[0]]) / chain.half
        cost = (u**2 / 2 + 2 * u**4).sum(axis=1)
        assert cost[1] <= cost[0] + 1e-9
        metres, radians = left(chain, moved, chain.forward(q))
        assert metres[0] < 1e-4 and radians[0] < 1e-4


def test_a_pinned_joint_stays_and_leaves_finitely_many_solutions(chain, bent):
    goal = chain.forward(bent)
    few = solutions(chain, goal, pinned={"arm/shoulder_roll": bent[1]})
    many = solutions(chain, goal, pinned={"arm/shoulder_roll": bent[1]}, seeds=400, seed=9)
    assert (few[:, 1] == bent[1]).all()
    assert len(few) == len(many) <= 16
    np.testing.assert_allclose(few, many, atol=1e-6)
    assert np.abs(few - bent).max(axis=1).min() < 1e-6


def test_five_and_eight_joints_and_a_slide(trial_tree, chain, bent):
    every = Chain.of(trial_tree, "world", "arm/tip")
    q = np.concatenate([[1.5], bent])
    goal = every.forward(q)
    found = solutions(every, goal)
    assert left(every, found, goal)[0].max() < 1e-9 and every.margins(found).min() >= 0
    five = Chain.of(trial_tree, "world", "arm/tip", chain.joints[:5])
    goal = five.forward(bent[:5])
    found = solutions(five, goal)
    assert np.abs(found - bent[:5]).max(axis=1).min() < 1e-6


def test_a_pose_out_of_reach_says_how_far(chain):
    goal = poses.translation((60.0, 0.0, 0.0))
    with pytest.raises(ReachError) as told:
        solutions(chain, goal, what="worksite 9")
    assert told.value.short_m > 30.0 and told.value.stopped_by == ()
    assert str(told.value).startswith("worksite 9 is not reached: ")
    assert "out of reach: " in told.value.reason and "m from the first joint, the arm is 16.69" in told.value.reason


def test_a_pose_beyond_the_travel_names_the_joint_that_stops_it(trial_model, rng):
    # a copy of the arm whose elbow may turn only one way
    joints = tuple(replace(j, lower=0.1, upper=1.0) if j.name == "elbow_pitch" else j for j in trial_model.joints)
    tight = Chain.of(Tree().place("arm", replace(trial_model, joints=joints)), "world", "arm/tip")
    wide = Chain.of(Tree().place("arm", trial_model), "world", "arm/tip")
    goal = wide.forward([0.3, 0.5, -0.8, 2.6, 0.6, 0.9, 0.2])  # needs the elbow well folded
    with pytest.raises(ReachError) as told:
        solutions(tight, goal)
    assert "arm/elbow_pitch" in told.value.stopped_by
    assert "stopped by the end of travel of" in told.value.reason and "arm/elbow_pitch at 1" in told.value.reason
    assert 0.0 < told.value.short_m + told.value.short_rad < 10.0
    with pytest.raises(ReachError, match="with arm/wrist_roll pinned"):
        solutions(tight, poses.translation((60.0, 0, 0)), pinned={"arm/wrist_roll": 0.0})


def test_nearest_follows_a_pose_that_moves_a_little(chain, bent, rng):
    q = bent
    for _ in range(20):
        goal = chain.forward(q) @ poses.from_xyz_rpy(rng.normal(0, 0.03, 3), rng.normal(0, 0.01, 3))
        after = nearest(chain, goal, q)
        assert np.abs(after - q).max() < 0.15
        assert max(left(chain, after, goal)) < 1e-9
        q = after


def test_nearest_keeps_the_turn_of_its_reference(chain, bent):
    reference = bent.copy()
    reference[6] = -4.5  # within travel, a turn away from where solutions are listed
    goal = chain.forward(reference)
    np.testing.assert_allclose(nearest(chain, goal, reference + 0.01), reference, atol=0.05)


def test_nearest_looks_at_every_branch_when_its_start_fails(chain, bent, rng):
    far = rng.uniform(-4, 4, 7)
    goal = chain.forward(bent)
    found = nearest(chain, goal, far)
    assert max(left(chain, found, goal)) < 1e-9
    with pytest.raises(ReachError, match="out of reach"):
        nearest(chain, poses.translation((60.0, 0.0, 0.0)), far)


def test_whole_turns(chain):
    q = np.array([3.9, -3.9, 0.5, 2.0, -2.0, 4.6, 0.0])
    mild = unwind(chain, q)
    np.testing.assert_allclose(np.sin(mild), np.sin(q), atol=1e-12)
    assert np.abs(mild).max() <= np.pi
    assert (unwind(chain, mild, q) == pytest.approx(q, abs=1e-12))
    every = windings(chain, mild)
    assert (chain.margins(every) >= 0).all() and len(np.unique(every.round(9), axis=0)) == len(every)
    np.testing.assert_allclose(chain.forward(every), np.broadcast_to(chain.forward(q), (len(every), 4, 4)), atol=1e-12)
    # a joint of +-270 deg takes an angle beyond 90 deg in two ways
    assert len(every) == 2 ** int((np.abs(mild) >= np.pi / 2).sum())
    assert any(np.allclose(row, q) for row in every)


def test_joints_without_limits_are_solved_too(rng):
    quarter = np.pi / 2
    rows = [(0, 0.3, -quarter), (0, 0, quarter), (0.05, 0.9, quarter), (-0.05, 0, -quarter), (0, 0.8, -quarter)]
    model = from_dh([DhRow(*row) for row in (*rows, (0.05, 0, quarter), (0, 0.1, 0))])
    free = Chain.of(Tree().place("arm", model), "world", "arm/flange")
    goal = free.forward(rng.uniform(-2, 2, 7))
    found = solutions(free, goal)
    assert left(free, found, goal)[0].max() < 1e-9 and len(found) >= 2


def test_solve_reports_every_seed_and_takes_a_pose_a_seed(chain, rng):
    q = rng.uniform(-2, 2, (10, 7))
    goals = chain.forward(q)
    attempts = solve(chain, goals, q + rng.normal(0, 0.05, q.shape), tolerance=Tolerance(1e-7, 1e-7))
    assert attempts.met.all()
    metres, radians = left(chain, attempts.q, goals)
    np.testing.assert_allclose(attempts.short_m, metres, atol=1e-12)
    np.testing.assert_allclose(attempts.short_rad, radians, atol=1e-12)
    hopeless = solve(chain, poses.translation((60.0, 0, 0)), q[:3])
    assert not hopeless.met.any() and (hopeless.short_m > 30).all()


def test_bad_pins_are_told(chain, bent):
    goal = chain.forward(bent)
    with pytest.raises(MotionError, match=r"joint 'arm/wrist_yaw' is pinned at 9, outside its travel -4\.71"):
        solutions(chain, goal, pinned={"arm/wrist_yaw": 9.0})
    with pytest.raises(FrameError, match="no joint named 'arm/wrist'"):
        solutions(chain, goal, pinned={"arm/wrist": 0.0})


def test_our_answer_agrees_with_another_library(rng):
    rtb = pytest.importorskip("roboticstoolbox")
    panda = rtb.models.DH.Panda()
    rows = [DhRow(link.a, link.d, link.alpha) for link in panda.links]
    chain = Chain.of(Tree().place("arm", from_dh(rows, modified=True, limits=panda.qlim.T)), "world", "arm/flange")
    for q in rng.uniform(panda.qlim[0], panda.qlim[1], (5, 7)):
        goal = chain.forward(q)
        for found in solutions(chain, goal)[:4]:
            theirs = panda.fkine(found).A @ np.linalg.inv(panda.tool.A)
            np.testing.assert_allclose(theirs, goal, atol=1e-8)


def test_every_way_is_told_whichever_joint_is_pinned(chain, rng):
    """Any posture is among the ways its own pose can be taken with one of its joints pinned where it stands."""
    for name in chain.joints:
        for q in rng.uniform(-3.1, 3.1, (6, 7)):
            found = ways(chain, chain.forward(q, TOOL), tool=TOOL, pinned={name: q[chain.column(name)]})
            assert found.complete
            assert np.abs(found.q - q).max(axis=1).min() < 0.02, name


def test_what_was_only_sought_is_not_called_complete(trial_tree, chain, bent):
    every = Chain.of(trial_tree, "world", "arm/tip")  # a slide and seven joints: two to spare
    assert not ways(every, every.forward(np.concatenate([[1.5], bent]))).complete
    five = Chain.of(trial_tree, "world", "arm/tip", chain.joints[:5])
    assert ways(five, five.forward(bent[:5])).complete
    far = poses.translation((60.0, 0.0, 0.0))
    with pytest.raises(ReachError, match="sought from 96 starts, as this arm has no closed form: a way may be missed"):
        solutions(every, far)
    with pytest.raises(ReachError, match="out of reach") as told:
        solutions(chain, far)
    assert told.value.complete and "starts" not in told.value.reason
