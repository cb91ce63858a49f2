"""What is asked of a cell of time counts what the arm does until it could have reacted."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.record.record import Record
from armcarry.timeline.run import Phase
from armcarry.whatif.nearness import BesideArm, near_curve, nearness

REACTION_S, STARTS_S = 0.5, 10.0  # of the arm of rider_scene; when it starts to turn


@pytest.fixture
def side(rider_scene):
    """Stand a worker near an arm that rests, then turns."""
    scene = rider_scene({})
    boots = scene.tree.pose_of("ev1/boots", scene.position)
    spot = poses.translation(boots[:3, 3] + (0.0, 0.0, 1.5))
    scene = rider_scene({}, frames={"spot": spot}, worker_at="platform/spot")
    table = np.zeros((2, 2, len(scene.position)))
    table[:, 0] = scene.position
    table[1, 1, scene.tree.column("arm/j1")] = 0.02
    motion = Motion(scene.tree.joints, np.array([0.0, STARTS_S, 20.0]), table)
    return BesideArm(Record(scene, (Phase(0.0, 20.0, scene.tree),), motion, ()), Phase(0.0, 20.0, scene.tree), "ev2")


def test_a_cell_at_rest_is_asked_what_the_arm_does_before_it_could_have_reacted(side):
    starts = STARTS_S - np.array([3.0, 0.6, 0.3])  # the last ends 0.2 s before the arm starts
    lower, margin, upper, *_ = side._cells(starts, starts + 0.1)
    assert np.all(np.isinf(margin[:2])) and np.all(np.isinf(upper[:2]))
    moving = np.isfinite(margin[2])
    assert moving.any()
    later, asked, *_ = side._cells(np.array([STARTS_S + 1.0]), np.array([STARTS_S + 1.1]))
    assert (lower[2] - margin[2])[moving] == pytest.approx((later - asked)[0][moving])  # what is asked of full speed


def test_the_instants_of_the_plot_look_as_far_ahead(side):
    distance, separation = side.instants(STARTS_S - np.array([0.6, 0.3]))
    assert np.isnan(distance).tolist() == [True, False] and np.isnan(separation).tolist() == [True, False]


def test_the_least_margin_of_a_run_is_that_of_its_worst_instant(side):
    found = nearness(side.record, "ev2")
    times = np.linspace(0.0, 20.0, 400)
    distance, separation = side.instants(times)
    assert found.margin_m <= np.nanmin(distance - separation) + 1e-9
    assert found.margin_m >= np.nanmin(distance - separation) - 0.3


def test_only_the_workers_own_bodies_and_only_moving_ones_of_the_arm_are_asked_about(side):
    bodies = side.phase.tree.bodies
    assert {bodies[k].name.split("/")[0] for k in side.workers} == {"ev2"}
    assert len(side.workers) == sum(body.name.startswith("ev2/") for body in bodies)
    machines = {bodies[k].name for k in side.machines}
    assert machines == {body.name for body in bodies if body.name.split("/")[0] in ("arm", "restraint", "ev1")}


def test_a_restraint_that_hands_turn_on_the_arm_is_no_machine(side):
    table = side.record.motion.coefficients.copy()
    table[1, 1] = 0.0
    table[1, 1, side.phase.tree.column("restraint/pitch")] = 0.05
    set_by_hand = replace(side.record, motion=replace(side.record.motion, coefficients=table))
    assert not BesideArm(set_by_hand, side.phase, "ev2").together and nearness(set_by_hand, "ev2") is None
    table[1, 1, side.phase.tree.column("arm/j1")] = 0.02
    assert BesideArm(set_by_hand, side.phase, "ev2").together


def test_beside_a_worker_who_rides_elsewhere_nobody_is_asked_about(side):
    other = BesideArm(side.record, side.phase, "ev1")  # who rides is no free worker
    assert not other.together and len(other.workers) == 0


def test_no_distance_within_a_cell_is_less_than_told_while_both_move(side):
    table = side.record.motion.coefficients.copy()
    for axis in "xy":  # the worker walks, too
        table[1, 1, side.phase.tree.column(f"ev2/free_{axis}")] = 0.3
    record = replace(side.record, motion=replace(side.record.motion, coefficients=table))
    both = BesideArm(record, side.phase, "ev2")
    starts = np.arange(STARTS_S, 18.0, 2.0)
    lower, _, _, speed, _ = both._cells(starts, starts + 2.0)
    for k, start in enumerate(starts):
        apart = both._gaps(record.body_poses(np.linspace(start, start + 2.0, 41)), 50.0)
        assert np.all(lower[k] <= apart.min(axis=0) + 1e-9)
    assert speed.min() >= np.hypot(0.3, 0.3)  # and what they approach by counts both


def test_the_greatest_over_cells_that_a_stretch_touches(side):
    edges = side.drift.edges_s
    table = np.arange(len(edges) - 1.0)[None] * (-1.0) ** np.arange(len(edges) - 1)
    middles = (edges[:-1] + edges[1:]) / 2
    for first in (0, 1, len(middles) // 2):
        for last in (first, first + 2, len(middles) - 1):
            if last < len(middles):
                found = side._most(table, np.array([middles[first]]), np.array([middles[last]]))
                assert found.tolist() == [[table[0, first : last + 1].max()]]
    beyond = side._most(table, np.array([edges[0] - 1.0, edges[-1] + 1.0]), np.array([edges[0] - 0.5, edges[-1] + 2.0]))
    assert beyond.tolist() == [[table[0, 0], table[0, -1]]]


def test_braking_goes_as_far_as_the_arms_levers_and_lasts_as_the_joint_needs(side):
    moving = side.drift.edges_s[:-1] >= STARTS_S
    brake = np.radians(4.0)
    assert side.brake_s[moving] == pytest.approx(0.02 / brake) and not side.brake_s[~moving].any()
    names = [side.phase.tree.bodies[k].name for k in side.machines]
    far = side.brake_m[:, moving].max(axis=1)
    assert not side.brake_m[:, ~moving].any()
    # the first joint alone turns: no body goes farther than its farthest point can be from the axis
    scene = side.record.scene
    for name, way in zip(names, far, strict=True):
        body = next(body for body in scene.tree.bodies if body.name == name)
        pose = scene.tree.pose_of(body.link, scene.position) @ body.pose
        assert way >= np.hypot(*pose[:2, 3]) * 0.02**2 / (2 * brake)
    assert far.max() <= 9.0 * 0.02**2 / (2 * brake)


def test_a_plot_of_phases_has_as_many_instants_as_one_of_the_whole(side):
    record, tree = side.record, side.phase.tree
    whole = near_curve(record, "ev2")
    assert len(whole.time_s) == 400 and np.all(np.diff(whole.time_s) > 0)
    spans = ((0.0, 12.0), (12.0, 12.01), (12.01, 20.0))
    parts = near_curve(replace(record, phases=tuple(Phase(*span, tree) for span in spans)), "ev2")
    assert len(parts.time_s) == 240 + 2 + 160
    at = np.interp(15.0, parts.time_s, parts.distance_m)
    assert at == pytest.approx(np.interp(15.0, whole.time_s, whole.distance_m), abs=1e-3)


def test_the_nearest_of_two_that_touch_is_0_m(side):
    """The worker stands where the rider is brought to."""
    scene = side.record.scene
    there = side.record.body_poses(np.array([18.0]))[0]
    trunk = next(k for k, body in enumerate(side.phase.tree.bodies) if body.name == "ev1/trunk")
    table = side.record.motion.coefficients.copy()
    own = scene.tree.pose_of("ev2/trunk", side.record.motion.at(18.0))[:3, 3]
    for axis, off in zip("xyz", there[trunk, :3, 3] - own, strict=True):
        table[:, 0, side.phase.tree.column(f"ev2/free_{axis}")] += off
    found = nearness(replace(side.record, motion=replace(side.record.motion, coefficients=table)), "ev2")
    assert (found.distance_m, found.nearest_m) == (0.0, 0.0) and found.margin_m < 0.0
