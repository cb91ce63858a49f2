"""Points near bodies, told by balls and boxes, and distances of bodies of which many have one shape."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.clearance.distance import distances_placed
from armcarry.clearance.nearby import maybe_within
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

SHAPES = (
    Sphere(0.3), Capsule(0.1, 2.0), Box((4.0, 0.2, 0.5)), Cylinder(0.4, 1.0),
    ConvexMesh.hull_of(np.random.default_rng(5).uniform(-0.5, 1.5, (20, 3))),
)  # fmt: skip


def placed(rng, *count):
    q = rng.normal(size=(*count, 4))
    found = poses.from_quaternion_wxyz(q / np.linalg.norm(q, axis=-1, keepdims=True))
    found[..., :3, 3] = rng.uniform(-3.0, 3.0, (*count, 3))
    return found


@pytest.mark.parametrize("seed", range(4))
def test_what_is_told_to_be_farther_is_farther_and_little_else_is_kept(seed):
    rng = np.random.default_rng(seed)
    at, frames = placed(rng, 300, 2), placed(rng, len(SHAPES))
    within = rng.uniform(0.1, 0.8, (2, len(SHAPES)))
    within[0, 2] = np.nan
    flags = maybe_within(at[..., :3, 3], SHAPES, frames, within)
    assert not flags[:, 0, 2].any()
    every = np.concatenate([at, np.broadcast_to(frames, (300, *frames.shape))], axis=1)
    pairs = np.array([(s, 2 + b) for s in (0, 1) for b in range(len(SHAPES))])
    point = Sphere(1e-9)
    room = distances([point, point, *SHAPES], every, pairs)
    far = np.maximum(room.lower_m, 0.0).reshape(flags.shape) >= within - 1e-5
    assert np.all(far[~flags & ~np.isnan(within)])
    near = room.upper_m.reshape(flags.shape) < within
    assert near.sum() > 20
    assert flags.sum() < 2.5 * near.sum()


def test_bodies_of_one_shape_are_measured_as_each_by_itself():
    rng = np.random.default_rng(7)
    which, frames = rng.integers(0, len(SHAPES), 40), placed(rng, 40)
    pairs = np.stack([rng.integers(0, 20, 200), rng.integers(20, 40, 200)], axis=1)
    once = distances_placed(SHAPES, which, frames, pairs)
    each = distances([SHAPES[k] for k in which], frames[None], pairs)
    for name in ("lower_m", "upper_m", "point_a", "point_b"):
        assert getattr(once, name).tobytes() == getattr(each, name)[0].tobytes()
