"""Which bodies make the arm slow down near structure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.files.load import load_scenario
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.scene.build import build_scene
from armcarry.timeline.near import near_pairs

SCENARIO = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(SCENARIO))


def names(tree, rows):
    return {tree.bodies[row].name for row in rows}


def test_only_what_the_arm_moves_counts(scene):
    parked = near_pairs(scene, scene.tree, scene.position[None])
    moving = names(scene.tree, parked[:, 0])
    assert not any(name.startswith("pump_box/") for name in moving)  # still in its rack
    assert {"arm/boom_far_tube", "restraint/foot_plate", "ev1/glove_left"} <= moving
    held = scene.tree.attach("pump_box", "ev1/hands", np.eye(4))
    assert "pump_box/case" in names(held, near_pairs(scene, held, scene.position[None])[:, 0])


def test_what_is_left_out_of_the_arm_never_leaves_its_foot(scene):
    tree, within = scene.tree, scene.loaded.rules.slow_within
    pairs = near_pairs(scene, tree, scene.position[None])
    counted = {tuple(pair) for pair in pairs.tolist()}
    arm = [k for k, body in enumerate(tree.bodies) if body.name.startswith("arm/") and "base" not in body.name]
    never = [k for k in arm if k not in set(pairs[:, 0].tolist())]
    assert "arm/shoulder_post_drum" in names(tree, never)
    rng = np.random.default_rng(3)
    vectors = np.repeat(scene.position[None], 200, axis=0)
    low, high = tree.joint_limits[scene.arm_columns].T
    vectors[:, scene.arm_columns] = rng.uniform(low, high, (200, len(low)))
    poses = forward(tree, vectors)
    first = int(np.flatnonzero(tree.columns == scene.tree.column(scene.arm_joints[0]))[0])
    root = poses[0, first, :3, 3]
    at = lambda k: poses[:, tree.index(tree.bodies[k].link)] @ tree.bodies[k].pose  # noqa: E731
    for k in never:  # no corner of a ball around the part leaves the ball around the foot
        reach = np.linalg.norm(at(k)[:, :3, 3] - root, axis=1)
        assert reach.max() < within
    # of the boom, only what stands beside the foot is left out, and the boom always reaches into the ball there
    boom = next(k for k in arm if tree.bodies[k].name == "arm/boom_near_tube")
    left = [s for s in set(pairs[:, 1].tolist()) if (boom, s) not in counted]
    assert left
    shapes = [Sphere(1e-6), tree.bodies[boom].shape, *(tree.bodies[s].shape for s in left)]
    seats = np.stack([np.broadcast_to(poses[:, first], (200, 4, 4)), at(boom), *(at(s) for s in left)], axis=1)
    rows = np.array([[0, k] for k in range(1, len(shapes))])
    assert distances(shapes, seats, rows).lower_m.max() <= within


def test_what_is_left_out_where_only_the_arm_moves_is_out_of_its_reach(scene):
    tree, within = scene.tree, scene.loaded.rules.slow_within
    every = near_pairs(scene, tree, scene.position[None])
    reached = set(map(tuple, near_pairs(scene, tree, scene.position[None], stands=True).tolist()))
    out = np.array([pair for pair in every.tolist() if tuple(pair) not in reached])
    assert reached < set(map(tuple, every.tolist())) and len(out) > 500
    rng, (low, high) = np.random.default_rng(4), tree.joint_limits[scene.arm_columns].T
    vectors = np.repeat(scene.position[None], 60, axis=0)
    vectors[:, scene.arm_columns] = rng.uniform(low, high, (60, len(low)))
    vectors[:2, scene.arm_columns] = 0.0  # stretched as far as it goes, or nearly
    seats = forward(tree, vectors, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    for a, b in out[rng.permutation(len(out))[:60]]:
        two = [tree.bodies[a].shape, tree.bodies[b].shape]
        assert distances(two, seats[:, [a, b]], np.array([[0, 1]])).lower_m.min() >= within
