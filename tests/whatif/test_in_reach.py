"""What a locked joint's ways out need not look at: bodies that the arm brings nothing near to, whatever it does."""

import numpy as np

from armcarry.asked.pairs import arm_pairs
from armcarry.clearance.distance import distances
from armcarry.motion.forward import forward
from armcarry.whatif.faults import in_reach

WITHIN_M = 0.4


def test_what_is_out_of_reach_stays_so_in_every_posture(short_run):
    record, _ = short_run
    scene, phase = record.scene, record.phases[-1]
    tree = phase.tree
    pairs = arm_pairs(scene, tree)
    out = pairs[~in_reach(record, phase, pairs, WITHIN_M)]
    assert 500 < len(out) < len(pairs)
    rng, (low, high) = np.random.default_rng(5), tree.joint_limits[scene.arm_columns].T
    vectors = np.repeat(record.motion.at(phase.start_s)[None], 60, axis=0)
    vectors[:, scene.arm_columns] = rng.uniform(low, high, (60, len(low)))
    vectors[:2, scene.arm_columns] = 0.0
    seats = forward(tree, vectors, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    for a, b in out[rng.permutation(len(out))[:60]]:
        two = [tree.bodies[a].shape, tree.bodies[b].shape]
        assert distances(two, seats[:, [a, b]], np.array([[0, 1]])).lower_m.min() >= WITHIN_M
