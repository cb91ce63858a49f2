"""Distances near one configuration, and their change with every joint."""

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.clearance.gauge import Gauge
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.scene.tree import WORLD


def setting(scene_of, seed):
    tree, _, pairs = scene_of(seed, joints=5, moving=4, still=4)
    rng = np.random.default_rng(seed)
    position = rng.normal(size=len(tree.joints)) * 0.5
    tip = max(tree.links, key=lambda link: len(tree.ancestry(link)))
    joints = Chain.of(tree, WORLD, tip).joints
    return tree, pairs, position, tip, joints


def measured(tree, pairs, q):
    links = forward(tree, q[None], [body.link for body in tree.bodies])
    found = distances([b.shape for b in tree.bodies], links @ np.stack([b.pose for b in tree.bodies]), pairs)
    return found.upper_m[0]


@pytest.mark.parametrize("seed", range(6))
def test_distances_and_gradients_are_those_of_the_whole_tree(scene_of, seed):
    tree, pairs, position, tip, joints = setting(scene_of, seed)
    gauge = Gauge(tree, joints, tip, position, pairs)
    columns = [tree.column(name) for name in joints]
    rng = np.random.default_rng(seed)
    q = position[columns] + rng.normal(size=len(columns)) * 0.3
    near = gauge.near(q, np.full(len(pairs), 50.0))
    whole = position.copy()
    whole[columns] = q
    truth = measured(tree, pairs, whole)
    assert sorted(near.rows.tolist()) == list(range(len(pairs)))
    assert near.distance_m == pytest.approx(truth[near.rows], abs=2e-4)
    for j, column in enumerate(columns):
        ahead, behind = whole.copy(), whole.copy()
        ahead[column] += 1e-4
        behind[column] -= 1e-4
        slope = (measured(tree, pairs, ahead) - measured(tree, pairs, behind)) / 2e-4
        apart = near.distance_m > 0.05
        assert near.gradient[apart, j] == pytest.approx(slope[near.rows[apart]], abs=0.05)


def test_only_pairs_that_are_near_are_told(scene_of):
    tree, pairs, position, tip, joints = setting(scene_of, 3)
    gauge = Gauge(tree, joints, tip, position, pairs)
    q = position[[tree.column(name) for name in joints]]
    truth = measured(tree, pairs, position)
    within = np.full(len(pairs), float(np.median(truth)))
    within[0] = np.nan
    wanted = np.flatnonzero(truth < within)
    assert sorted(gauge.near(q, within).rows.tolist()) == wanted.tolist()
    assert set(wanted) <= set(gauge.maybe_near(q, within).tolist())
    assert 0 not in gauge.maybe_near(q, within)
    some = wanted[:1]
    assert gauge.near(q, within, some).rows.tolist() == some.tolist()
