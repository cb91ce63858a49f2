"""The least distance of many pairs agrees with every pair measured alone."""

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.clearance.least import least_distances
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere


def _shapes(rng):
    return [
        Box(tuple(rng.uniform(0.2, 1.0, 3))), Capsule(0.1, 0.8), Cylinder(0.2, 0.5), Sphere(0.3),
        ConvexMesh.hull_of(rng.normal(scale=0.3, size=(12, 3))), Box((4.0, 0.1, 0.1)),
    ]


def _poses(rng, *batch):
    flat = [poses.from_xyz_rpy(rng.uniform(-1.5, 1.5, 3), rng.uniform(-3, 3, 3)) for _ in range(int(np.prod(batch)))]
    return np.array(flat).reshape(*batch, 4, 4)


def _problem(seed):
    rng = np.random.default_rng(seed)
    shapes = _shapes(rng) + _shapes(rng)
    moving, fixed = _poses(rng, 200, 6), _poses(rng, 6)
    pairs = np.array([(a, 6 + b) for a in range(6) for b in range(6)])
    every = distances(shapes, np.concatenate([moving, np.broadcast_to(fixed, (200, 6, 4, 4))], axis=1), pairs)
    return shapes, moving, fixed, pairs, every


def test_the_least_of_all_pairs_is_found():
    shapes, moving, fixed, pairs, every = _problem(1)
    found = least_distances(shapes, moving, fixed, pairs, np.full(200, 9.0), -np.inf, tolerance_m=1e-7)
    truth = every.lower_m.min(axis=1)
    touching = np.isneginf(truth)
    assert 20 < touching.sum() < 190
    np.testing.assert_array_equal(np.isneginf(found.lower_m), touching)
    np.testing.assert_allclose(found.lower_m[~touching], truth[~touching], atol=3e-6)
    np.testing.assert_array_equal(found.pair[~touching], every.lower_m.argmin(axis=1)[~touching])


def test_a_bound_never_exceeds_the_distance_and_enough_is_enough():
    shapes, moving, fixed, pairs, every = _problem(2)
    enough = np.linspace(0.0, 0.6, 200)
    found = least_distances(shapes, moving, fixed, pairs, enough, 0.05, tolerance_m=1e-3)
    upper = every.upper_m.min(axis=1)
    kept = found.lower_m >= 0.05
    assert np.all(found.lower_m[kept] <= np.minimum(upper, enough)[kept] + 1e-12)
    assert np.all(upper[~kept] <= 0.05 + 1e-3)  # given up for a reason, though another pair may be closer
    far = found.pair < 0
    assert far.any()
    assert np.all(upper[far] >= enough[far] - 1e-6)
    near = ~far & kept
    np.testing.assert_allclose(found.lower_m[near], upper[near], atol=2e-3)
