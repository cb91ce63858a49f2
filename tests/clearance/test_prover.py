"""What the prover refuses, how it keeps its working memory, and which pairs it is given."""

import numpy as np
import pytest

from armcarry.clearance import (
    ClearanceBounds,
    Prover,
    all_pairs,
    clearance_curve,
    distances,
    pairs_that_move,
    prove_clearance,
)
from armcarry.clearance.pool import Pool
from armcarry.errors import ArmcarryError, FrameError, InputError, MotionError
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import translation
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

Z = np.array([0.0, 0.0, 1.0])


@pytest.fixture
def two_arms():
    """Two arms of two joints on one trolley, and a post: bodies in rows 0 to 4."""
    joints = (
        Joint("slide", "prismatic", "base", "car", axis=np.array([1.0, 0.0, 0.0])),
        Joint("left", "revolute", "car", "l", axis=Z),
        Joint("right", "revolute", "car", "r", translation((0.0, 2.0, 0.0)), Z),
    )
    bodies = (
        Body("car", "car", Sphere(0.1), translation((0.0, 0.0, -1.0))),
        Body("left", "l", Sphere(0.1), translation((1.0, 0.0, 0.0))),
        Body("lamp", "l", Sphere(0.1), translation((0.5, 0.0, 0.0))),
        Body("right", "r", Sphere(0.1), translation((1.0, 0.0, 0.0))),
        Body("post", "base", Sphere(0.1), translation((5.0, 5.0, 0.0))),
    )
    return Tree().place("t", Model("t", "base", ("base", "car", "l", "r"), joints, bodies))


def moving(tree, **rates):
    table = np.zeros((1, 2, len(tree.joints)))
    for name, rate in rates.items():
        table[0, 1, tree.joints.index(f"t/{name}")] = rate
    return Motion(tree.joints, np.array([0.0, 1.0]), table)


def names(tree, pairs):
    return {tuple(tree.bodies[row].name.removeprefix("t/") for row in pair) for pair in pairs.tolist()}


def test_pairs_that_joints_can_move(two_arms):
    every = names(two_arms, all_pairs(two_arms))
    assert len(every) == 9
    assert ("left", "lamp") not in every


def test_pairs_that_a_motion_moves(two_arms):
    sliding = names(two_arms, pairs_that_move(two_arms, moving(two_arms, slide=0.1)))
    assert sliding == {("car", "post"), ("left", "post"), ("lamp", "post"), ("right", "post")}
    turning = names(two_arms, pairs_that_move(two_arms, moving(two_arms, right=0.1)))
    assert turning == {("car", "right"), ("left", "right"), ("lamp", "right"), ("right", "post")}
    assert len(pairs_that_move(two_arms, moving(two_arms))) == 0


def test_excluded_pairs_are_left_out_in_either_order(two_arms):
    left_out = names(two_arms, all_pairs(two_arms, [("t/post", "t/car"), ("t/left", "t/right")]))
    assert len(left_out) == 7
    assert not left_out & {("car", "post"), ("left", "right")}


def test_an_unknown_body_is_named_with_the_nearest(two_arms):
    with pytest.raises(FrameError, match="no body named 't/lift'; did you mean 't/left'"):
        all_pairs(two_arms, [("t/lift", "t/car")])


def test_a_pair_outside_the_tree_is_refused(two_arms):
    with pytest.raises(FrameError, match="no body row named '5'; known: 0 to 4"):
        Prover(two_arms, [(0, 5)])


def test_a_missing_joint_is_named(two_arms):
    motion = Motion(("t/slide",), np.array([0.0, 1.0]), np.zeros((1, 1, 1)))
    with pytest.raises(MotionError, match="does not move joint 't/left', which lies between some pair"):
        prove_clearance(two_arms, motion, [(1, 4)])
    assert prove_clearance(two_arms, motion, [(0, 4)]).status[0] == "farther"


def test_a_jump_is_named_and_parts_beside_it_can_be_proven(two_arms):
    table = np.zeros((2, 1, 3))
    table[1, 0, 1] = 0.5
    motion = Motion(two_arms.joints, np.array([0.0, 1.0, 2.0]), table)
    with pytest.raises(MotionError, match=r"joint 't/left' jumps by 0\.5 at 1 s; prove the parts"):
        prove_clearance(two_arms, motion, [(1, 4)])
    before = prove_clearance(two_arms, motion, [(1, 4)], report_distance_m=np.inf, end_s=1.0)
    after = prove_clearance(two_arms, motion, [(1, 4)], report_distance_m=np.inf, start_s=1.0)
    assert before.upper_m[0] == pytest.approx(np.hypot(4.0, 5.0) - 0.2, abs=1e-5)
    assert after.upper_m[0] == pytest.approx(
        np.hypot(5.0 - np.cos(0.5), 5.0 - np.sin(0.5)) - 0.2, abs=1e-5
    )


@pytest.mark.parametrize(("start", "end"), [(-1.0, 0.5), (0.5, 0.5), (0.5, 2.0)])
def test_an_interval_outside_the_motion_is_refused(two_arms, start, end):
    with pytest.raises(MotionError, match=f"{start:g} to {end:g} s is not an interval inside 0 to 1 s"):
        prove_clearance(two_arms, moving(two_arms, left=0.1), [(1, 4)], start_s=start, end_s=end)


def test_a_tolerance_below_rounding_is_refused(two_arms):
    for wrong in (1e-6, -1.0, np.nan, np.inf, "1 mm"):
        with pytest.raises(InputError, match=r"a tolerance that cannot be kept; found .*finite number of metres, 1e"):
            prove_clearance(two_arms, moving(two_arms, left=0.1), [(1, 4)], tolerance_m=wrong)


@pytest.mark.parametrize("wrong", [np.nan, -1.0, [1.0, 2.0], "far"])
def test_a_report_distance_that_means_nothing_is_refused(two_arms, wrong):
    with pytest.raises(InputError, match="metres from 0 up, one number or one a pair, of which there are 1"):
        prove_clearance(two_arms, moving(two_arms, left=0.1), [(1, 4)], report_distance_m=wrong)


@pytest.mark.parametrize("pair", [(0, 1), (1, 3), (1, 4)])
def test_nearest_points_are_in_the_world_whatever_else_is_judged(two_arms, pair):
    motion = moving(two_arms, slide=3.0, left=2.0, right=-1.0)
    bounds = prove_clearance(two_arms, motion, [pair], report_distance_m=np.inf)
    links = [two_arms.bodies[row].link for row in pair]
    placed = forward(two_arms, motion.at(bounds.time_s[0]), links)
    for row, link, point in zip(pair, placed, (bounds.point_a[0], bounds.point_b[0]), strict=True):
        assert np.linalg.norm(point - (link @ two_arms.bodies[row].pose)[:3, 3]) == pytest.approx(0.1, abs=1e-6)


def test_nearest_points_are_not_told_where_the_world_is_not_known(two_arms):
    whole = moving(two_arms, left=2.0, right=-1.0)
    motion = Motion(whole.joints[1:], whole.breaks_s, whole.coefficients[:, :, 1:])  # without the slide
    bounds = prove_clearance(two_arms, motion, [(0, 1)])
    assert bounds.status[0] == "proven"
    assert np.all(np.isnan(bounds.point_a)) and np.all(np.isnan(bounds.point_b))


def test_no_pairs_give_empty_bounds(two_arms):
    bounds = prove_clearance(two_arms, moving(two_arms, left=0.1), np.zeros((0, 2), dtype=int))
    assert isinstance(bounds, ClearanceBounds)
    assert len(bounds.lower_m) == 0
    assert bounds.nearest == -1


def test_working_memory_grows_and_changes_no_answer(scene_of, monkeypatch):
    tree, motion, pairs = scene_of(5, travel=0.8)
    wanted = prove_clearance(tree, motion, pairs, report_distance_m=np.inf)
    sizes = []
    make = Pool.__init__
    monkeypatch.setattr(Pool, "__init__", lambda self, layout, degree, nodes: (
        sizes.append(nodes), make(self, layout, degree, nodes))[1])  # fmt: skip
    prover = Prover(tree, pairs)
    prover._nodes = 4
    found = prover.bounds(motion, report_distance_m=np.inf)
    assert sizes[:3] == [4, 8, 16]
    assert np.array_equal(found.lower_m, wanted.lower_m)
    assert np.array_equal(found.upper_m, wanted.upper_m)


def test_a_curve_holds_every_sample_and_is_as_narrow_as_asked(scene_of):
    for seed in range(12):
        tree, motion, pairs = scene_of(seed, travel=0.3)
        if not len(pairs):
            continue
        groups = np.arange(len(pairs)) % 2
        curve = clearance_curve(tree, motion, pairs, groups=groups, cells=50, band_m=0.01)
        times = np.linspace(0.0, 10.0, 50 * 8 + 1)
        poses = forward(tree, motion.at(times), [body.link for body in tree.bodies])
        poses = poses @ np.stack([body.pose for body in tree.bodies])
        sampled = distances([body.shape for body in tree.bodies], poses, pairs).upper_m
        for group in set(groups.tolist()):
            for cell in range(50):
                least = sampled[8 * cell : 8 * cell + 9, groups == group].min()
                lower, upper = curve.lower_m[group, cell], curve.upper_m[group, cell]
                assert lower <= least
                assert upper <= least + 0.01
                assert upper - lower <= 0.01 or lower == -np.inf
                assert groups[curve.nearest[group, cell]] == group
                if lower == -np.inf:
                    assert upper == 0.0


def test_a_curve_over_many_cells_agrees_with_the_proof(scene_of):
    tree, motion, pairs = scene_of(8)
    curve = clearance_curve(tree, motion, pairs, cells=700, band_m=1e-3)
    bounds = prove_clearance(tree, motion, pairs, report_distance_m=np.inf)
    assert curve.lower_m.shape == (1, 700)
    assert curve.lower_m.min() <= bounds.upper_m.min()
    assert bounds.lower_m.min() <= curve.upper_m.min()
    far = clearance_curve(tree, motion, pairs, cells=np.array([1.0, 2.0, 9.0]), report_distance_m=1e-3)
    assert far.times_s.tolist() == [1.0, 2.0, 9.0]
    assert np.all(far.lower_m >= min(1e-3, bounds.lower_m.min()))


def test_a_group_without_pairs_is_infinitely_clear(two_arms):
    curve = clearance_curve(two_arms, moving(two_arms, left=0.1), [(1, 4)], groups=[1], cells=3)
    assert np.all(np.isinf(curve.lower_m[0])) and np.all(np.isinf(curve.upper_m[0]))
    assert np.all(curve.nearest == [[-1] * 3, [0] * 3])


def test_cells_that_do_not_increase_are_refused(two_arms):
    motion = moving(two_arms, left=0.1)
    with pytest.raises(MotionError, match="need at least two increasing times"):
        clearance_curve(two_arms, motion, [(1, 4)], cells=np.array([0.0, 0.5, 0.5]))
    with pytest.raises(MotionError, match="0 to 3 s is not an interval inside"):
        clearance_curve(two_arms, motion, [(1, 4)], cells=np.array([0.0, 3.0]))


@pytest.mark.parametrize(
    "pairs", [[(1.5, 2)], [(1, 2, 3)], ["ab"], [(np.nan, 1)], [(1, 1)], [1, 2], None, [(1, 2), (3,)]]
)
def test_pairs_that_are_not_two_rows_are_refused(two_arms, pairs):
    with pytest.raises(InputError, match="whole numbers, two different ones a pair"):
        prove_clearance(two_arms, moving(two_arms, left=0.1), pairs)


def test_positions_that_cannot_be_told_apart_are_refused(two_arms):
    with pytest.raises(MotionError, match=r"joint 't/left' goes to 1e\+16 rad or m at 0 s; at most 1e\+07"):
        prove_clearance(two_arms, moving(two_arms, left=1e16), [(1, 4)])


def test_an_interval_that_is_no_number_is_refused(two_arms):
    with pytest.raises(MotionError, match="'now' to None is not an interval in seconds"):
        prove_clearance(two_arms, moving(two_arms, left=0.1), [(1, 4)], start_s="now")


@pytest.mark.parametrize(("options", "words"), [
    ({"cells": 0}, "cells of a clearance curve; found 0; accepted: 1 to 1000000"),
    ({"cells": 2**70}, "cells of a clearance curve; found"),
    ({"cells": {}}, "cells of a clearance curve; found {}; accepted: a whole number, or the ends"),
    ({"cells": True}, "cells of a clearance curve need at least two increasing times"),
    ({"groups": [-1]}, "groups of a clearance curve; found"),
    ({"groups": [10**9]}, "groups of a clearance curve; found"),
    ({"groups": [9999], "cells": 10**6}, "a clearance curve too large to hold; found '10000 groups in 1000000 cells'"),
    ({"groups": "a"}, "groups of a clearance curve; found 'a'"),
    ({"band_m": float("nan")}, "a tolerance that cannot be kept; found nan"),
    ({"report_distance_m": None}, "report distances that"),
])  # fmt: skip
def test_a_curve_refuses_what_means_nothing(options, words, scene_of):
    tree, motion, *_ = scene_of(1)
    with pytest.raises(ArmcarryError) as caught:
        clearance_curve(tree, motion, all_pairs(tree)[:1], **options)
    assert str(caught.value).startswith(words)


def test_working_memory_of_all_is_bounded_and_who_was_asked_last_keeps_his(scene_of, monkeypatch):
    tree, motion, pairs = scene_of(5, travel=0.8)
    provers = [Prover(tree, pairs) for _ in range(4)]
    wanted = provers[0].bounds(motion)
    room = 2.5 * provers[0]._pools.bytes
    monkeypatch.setattr("armcarry.clearance.pool.HELD_BYTES", room)
    found = [prover.bounds(motion) for prover in (*provers[1:], provers[2])]
    assert [len(prover._pools) for prover in provers] == [0, 0, 1, 1]
    provers[1].bounds(motion)
    assert [len(prover._pools) for prover in provers] == [0, 1, 1, 0]
    assert all(np.array_equal(one.lower_m, wanted.lower_m) for one in found)
    assert provers[0].bounds(motion).upper_m.tolist() == wanted.upper_m.tolist()
