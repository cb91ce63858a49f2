"""Laws that any proof of clearance must keep, on random scenes."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance import Prover, all_pairs, prove_clearance
from armcarry.geometry.model import Joint, Model
from armcarry.geometry.poses import from_xyz_rpy
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree
from moving_trees import scene

EVERY = {"report_distance_m": np.inf}
PAD_M = 2e-6


def assert_same(first, second):
    """Two proofs of one truth: the intervals meet and the contacts are the same."""
    assert np.all(first.lower_m <= second.upper_m + PAD_M)
    assert np.all(second.lower_m <= first.upper_m + PAD_M)
    assert np.array_equal(first.status == "contact", second.status == "contact")


SEEDS = pytest.mark.parametrize("seed", range(12))


@SEEDS
def test_a_larger_body_never_has_more_clearance(seed):
    tree, motion = scene(seed)
    pairs = all_pairs(tree)
    small = prove_clearance(tree, motion, pairs, **EVERY)
    for grow in (0.01, 0.3):
        large = prove_clearance(scene(seed, grow)[0], motion, pairs, **EVERY)
        assert np.all(large.lower_m <= small.upper_m + PAD_M)
        assert np.all(large.upper_m <= small.upper_m + 1e-3)
        assert np.all(large.status[small.status == "contact"] == "contact")


@SEEDS
def test_moving_the_whole_world_changes_nothing(seed):
    tree, motion = scene(seed)
    moved, _ = scene(seed, base=from_xyz_rpy((3.0, -7.0, 2.0), (0.3, 1.0, -2.0)))
    pairs = all_pairs(tree)
    assert_same(prove_clearance(tree, motion, pairs, **EVERY), prove_clearance(moved, motion, pairs, **EVERY))


@SEEDS
def test_the_order_of_a_pair_changes_nothing(seed):
    tree, motion = scene(seed)
    pairs = all_pairs(tree)
    one = prove_clearance(tree, motion, pairs, **EVERY)
    other = prove_clearance(tree, motion, pairs[::-1, ::-1], **EVERY)
    assert np.array_equal(other.pairs[::-1, ::-1], one.pairs)
    reverse = replace(other, lower_m=other.lower_m[::-1], upper_m=other.upper_m[::-1], status=other.status[::-1])
    assert_same(one, reverse)


@SEEDS
def test_neither_speed_nor_direction_of_time_changes_the_least_distance(seed):
    tree, motion = scene(seed)
    pairs = all_pairs(tree)
    scale = 7.0 ** np.arange(motion.coefficients.shape[1])[:, None]
    slow = Motion(motion.joints, motion.breaks_s * 7.0, motion.coefficients / scale)
    one = prove_clearance(tree, motion, pairs, **EVERY)
    assert_same(one, prove_clearance(tree, slow, pairs, **EVERY))
    back = np.array([_reversed(table, span) for table, span in
                     zip(motion.coefficients, np.diff(motion.breaks_s), strict=True)])[::-1]  # fmt: skip
    ends = motion.end_s - motion.breaks_s[::-1]
    assert_same(one, prove_clearance(tree, Motion(motion.joints, ends, back), pairs, **EVERY))


def _reversed(table, span):
    """Return coefficients of q(span - t)."""
    columns = [np.polynomial.Polynomial(column)(np.polynomial.Polynomial([span, -1.0])).coef for column in table.T]
    return np.stack([np.pad(column, (0, len(table) - len(column))) for column in columns], axis=1)


@SEEDS
def test_the_least_of_the_parts_is_the_least_of_the_whole(seed):
    tree, motion = scene(seed)
    prover = Prover(tree, all_pairs(tree))
    whole = prover.bounds(motion, **EVERY)
    cuts = [0.0, 0.4, 1.7, 3.0, 3.1, 5.0]
    parts = [prover.bounds(motion, start_s=a, end_s=b, **EVERY) for a, b in itertools.pairwise(cuts)]
    lower = np.min([part.lower_m for part in parts], axis=0)
    upper = np.min([part.upper_m for part in parts], axis=0)
    assert np.all(lower <= whole.upper_m + PAD_M)
    assert np.all(whole.lower_m <= upper + PAD_M)
    touching = np.any([part.status == "contact" for part in parts], axis=0)
    assert np.array_equal(touching, whole.status == "contact")


@SEEDS
def test_joints_below_both_bodies_do_not_count(seed):
    """A pair on one arm is judged in its own frame: swinging the whole arm leaves its bounds alone."""
    tree, motion = scene(seed)
    trolley = Model(
        "car", "rail", ("rail", "car"),
        (Joint("swing", "revolute", "rail", "car", axis=np.array([0.0, 0.0, 1.0])),), (),
    )  # fmt: skip
    carried = Tree().place("car", trolley).place("t", tree.mountings[0].model, "car/car")
    swing = np.zeros((2, 4, 1))
    swing[:, 1] = 2.0
    swing[1, 0] = 6.0
    both = Motion((*motion.joints, "car/swing"), motion.breaks_s, np.concatenate([motion.coefficients, swing], axis=2))
    pairs = all_pairs(tree)
    one = prove_clearance(tree, motion, pairs, **EVERY)
    other = prove_clearance(carried, both, pairs, **EVERY)
    assert_same(one, other)
    assert other.measured <= 1.2 * one.measured + 20


def test_report_distance_keeps_what_is_below_it():
    for seed in range(12):
        tree, motion = scene(seed)
        pairs = all_pairs(tree)
        full = prove_clearance(tree, motion, pairs, **EVERY)
        for report_m in (0.2, 0.6):
            part = prove_clearance(tree, motion, pairs, report_distance_m=report_m)
            assert_same(full, part)
            assert np.all(part.lower_m[part.status == "farther"] >= report_m)
            assert np.all(full.upper_m[part.status == "farther"] >= report_m)
            near = part.status == "proven"
            assert np.all(part.upper_m[near] - part.lower_m[near] <= 1e-3)
        each = np.where(np.arange(len(pairs)) % 2 == 0, 0.2, np.inf)
        mixed = prove_clearance(tree, motion, pairs, report_distance_m=each)
        assert_same(full, mixed)
        assert not np.any(mixed.status[1::2] == "farther")


def test_answers_are_the_same_bit_for_bit_every_time():
    tree, motion = scene(3)
    pairs = all_pairs(tree)
    prover = Prover(tree, pairs)
    first = prover.bounds(motion)
    prover.bounds(motion, start_s=1.0, end_s=2.0)
    for other in (prover.bounds(motion), prove_clearance(tree, motion, pairs)):
        for name in ("lower_m", "upper_m", "time_s", "point_a", "point_b", "contact_s"):
            assert np.array_equal(getattr(first, name), getattr(other, name), equal_nan=True)
