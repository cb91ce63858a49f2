"""What boxes tell apart is apart: against an independent engine, and against a proof that looks at every pair."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance import all_pairs, prove_clearance
from armcarry.clearance.boxes import swept_boxes
from armcarry.clearance.pairs import unlike
from armcarry.proving import windows
from armcarry.proving.proof import prove_run
from armcarry.timeline.run import Run
from moving_trees import scene

SEEDS = pytest.mark.parametrize("seed", range(8))


@SEEDS
def test_boxes_never_keep_bodies_farther_apart_than_they_come(seed, pinocchio_engine):
    tree, motion = scene(seed)
    tree = tree.place("stand", replace(tree.mountings[0].model, joints=(), links=("base",), bodies=tuple(
        replace(body, link="base") for body in tree.mountings[0].model.bodies
    )), pose=np.array([[1.0, 0, 0, 1.5], [0, 1, 0, 0.5], [0, 0, 1, -1.0], [0, 0, 0, 1]]))  # fmt: skip
    pairs = np.stack(np.triu_indices(len(tree.bodies), 1), axis=1)
    engine, apart = pinocchio_engine(tree, pairs.tolist()), swept_boxes(tree, motion).apart_m(pairs)
    least = np.min([engine.distances(q) for q in motion.at(np.linspace(0.0, motion.end_s, 200))], axis=0)
    assert np.all(apart <= np.maximum(least, 0.0) + 1e-9)
    assert np.any(apart > 0.0)
    moved = all_pairs(tree)
    boxes = swept_boxes(tree, motion)
    assert np.all(boxes.apart_m(moved) <= prove_clearance(tree, motion, moved, report_distance_m=np.inf).upper_m)


@SEEDS
def test_rows_with_different_codes_are_paired_as_one_by_one(seed):
    rng = np.random.default_rng(seed)
    code = rng.integers(0, 1 + seed, size=3 * seed)
    plain = [(a, b) for a in range(len(code)) for b in range(a + 1, len(code)) if code[a] != code[b]]
    assert unlike(code).tolist() == [list(pair) for pair in plain]


def test_a_run_proven_with_boxes_says_what_one_without_says(short_run, monkeypatch):
    record, _ = short_run
    run = Run(record.phases, record.motion, record.moves, record.events, record.relaxed, ())
    monkeypatch.setattr(windows, "FAR", np.inf)
    plain, curves = prove_run(record.scene, run)
    boxed = record.table
    for name in ("body_a", "body_b", "class_a", "class_b", "why", "status", "start_s", "end_s", "required_m"):
        np.testing.assert_array_equal(getattr(plain, name), getattr(boxed, name))
    differs, report_m = plain.lower_m != boxed.lower_m, record.scene.loaded.rules.report_distance
    assert np.count_nonzero(differs) > 1000 and np.all(boxed.lower_m[differs] >= report_m)
    assert np.all(boxed.lower_m[differs] <= plain.upper_m[differs])
    for one, other in zip(curves, record.curves, strict=True):
        near = one.lower_m < report_m
        np.testing.assert_array_equal(one.lower_m[near], other.lower_m[near])
        assert np.all(other.lower_m[~near] >= report_m) and np.all(other.lower_m <= one.upper_m)
