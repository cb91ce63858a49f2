"""The first quick look at pairs: it may list too many, never too few."""

import numpy as np
import pytest

from armcarry.asked.pairs import arm_pairs
from armcarry.clearance import Prover
from armcarry.clearance.many import Arcs, Lists, least_margins
from armcarry.clearance.spheres import Spheres
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.motion.forward import forward
from armcarry.scene.build import build_scene

WITHIN_M = 0.8


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))


@pytest.fixture(scope="module")
def prover(scene):
    pairs = arm_pairs(scene, scene.tree)
    carried = scene.arm_joints_behind(scene.tree)[pairs] > 0
    return Prover(scene.tree, pairs[carried[:, 0] != carried[:, 1]])


def _arcs(scene, count=40):
    source = np.random.default_rng(3)
    home = scene.position[scene.arm_columns]
    starts = home + source.normal(0, 0.8, (count, len(home)))
    return np.stack([starts, source.normal(0, 0.15, starts.shape), source.normal(0, 0.1, starts.shape)], axis=1)


def test_the_margins_are_the_same_with_the_listed_pairs_alone(scene, prover):
    table = _arcs(scene)
    spheres = Spheres(prover, scene.arm_joints, scene.position, np.full(len(prover.pairs), WITHIN_M))
    halves = 0.5 * (np.abs(table[:, 1]) + 1.5 * np.abs(table[:, 2]))
    near = spheres.near(table[:, 0] + 0.5 * table[:, 1] + 0.25 * table[:, 2], halves)
    assert near.counts.max() < len(prover.pairs) / 2  # it does sort out
    base = np.repeat(scene.position[None], len(table), axis=0)
    base[:, scene.arm_columns] = table[:, 0]
    arcs = Arcs(scene.arm_joints, base, np.tile([0.0, 1.0], (len(table), 1)), table[:, None], np.ones(len(table)),
                np.zeros_like(base))
    asked = np.zeros(len(prover.pairs))
    found = [
        least_margins(prover, arcs, asked, tolerance_m=1e-3, enough_m=WITHIN_M, lists=lists, which=which)
        for lists, which in ((near, np.arange(len(table))), (Lists.every(prover), np.zeros(len(table), dtype=int)))
    ]
    listed, every = (np.minimum(each.lower_m, WITHIN_M) for each in found)
    np.testing.assert_allclose(listed, every, atol=2e-3)


def test_no_pair_that_comes_near_is_missing(scene, prover):
    """Against points of the bodies themselves: centres of both, sampled along each arc."""
    table = _arcs(scene, 15)
    spheres = Spheres(prover, scene.arm_joints, scene.position, np.full(len(prover.pairs), WITHIN_M))
    halves = 0.5 * (np.abs(table[:, 1]) + 1.5 * np.abs(table[:, 2]))
    near = spheres.near(table[:, 0] + 0.5 * table[:, 1] + 0.25 * table[:, 2], halves)
    bodies = scene.tree.bodies
    links = [body.link for body in bodies]
    for row, arc in enumerate(table):
        t = np.linspace(0, 1, 30)[:, None]
        full = np.repeat(scene.position[None], len(t), axis=0)
        full[:, scene.arm_columns] = arc[0] + t * arc[1] + t * t * arc[2]
        seats = forward(scene.tree, full, links)
        centre = np.stack([seats[:, k, :3] @ body.pose[:, 3] for k, body in enumerate(bodies)], axis=1)
        a, b = prover.pairs.T
        close = np.linalg.norm(centre[:, a] - centre[:, b], axis=2).min(axis=0) < WITHIN_M
        listed = prover.layout.order[near.rows[near.offsets[row] : near.offsets[row + 1]]]
        assert set(np.flatnonzero(close)) <= set(listed.tolist())


def test_two_bodies_that_both_move_are_refused(scene):
    with pytest.raises(ValueError, match="a pair of two bodies that move"):
        pairs = arm_pairs(scene, scene.tree)
        Spheres(Prover(scene.tree, pairs), scene.arm_joints, scene.position, np.ones(len(pairs)))
