"""The closed form of six axes: every kind of arm that has one, both ways round, and none for the others."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.motion.closed_form import Shape, shape_of, ways
from armcarry.motion.vectors import wrapped


def axes_of(kind, rng):
    h = rng.normal(size=(6, 3))
    h /= np.linalg.norm(h, axis=1)[:, None]
    r = rng.normal(size=(6, 3))
    if kind.startswith("parallel"):
        h[2], h[3] = h[1], -h[1]  # one the other way: as an elbow may be counted
        if kind == "parallel, last two meet":
            r[5] = r[4]
    else:
        r[4], r[5] = r[3] + 0.3 * h[4], r[3]
        if kind == "wrist, shoulder meets":
            r[1] = r[0]
        elif kind == "wrist, elbow parallel":
            h[2] = h[1]
        elif kind == "wrist, shoulder parallel":
            h[1] = h[0]
    return h, r


def moved(h, r, q):
    motion = np.eye(4)
    for axis, point, angle in zip(h, r, q, strict=True):
        motion = motion @ poses.translation(point) @ poses.rotation_about(axis, angle) @ poses.translation(-point)
    return motion


@pytest.mark.parametrize("turned_round", [False, True])
@pytest.mark.parametrize(
    "kind",
    ["parallel", "parallel, last two meet", "wrist", "wrist, shoulder meets", "wrist, elbow parallel",
     "wrist, shoulder parallel"],
)  # fmt: skip
def test_every_way_makes_the_motion_and_none_is_missing(kind, turned_round, rng):
    for _ in range(25):
        h, r = axes_of(kind, rng)
        if turned_round:
            h, r = h[::-1], r[::-1]
        shape = shape_of(h, r)
        assert shape == Shape(kind.startswith("parallel"), turned_round)
        q = rng.uniform(-np.pi, np.pi, 6)
        motion = moved(h, r, q)
        (found,), (lacking,) = ways(h[None], r[None], motion[None], shape)
        there = np.isfinite(found).all(axis=1)
        assert (there == (lacking <= 1e-6)).all()
        for angles in found[there]:
            np.testing.assert_allclose(moved(h, r, angles), motion, atol=1e-7)
        assert np.abs(wrapped(found[there] - q)).max(axis=1).min() < 1e-5
        # from each of them the same ones are found: no one leads to more
        for angles in found[there][:2]:
            (again,), _ = ways(h[None], r[None], moved(h, r, angles)[None], shape)
            assert np.isfinite(again).all(axis=1).sum() == there.sum()


def test_an_arm_without_parallel_or_meeting_axes_has_none(rng):
    h = rng.normal(size=(6, 3))
    assert shape_of(h / np.linalg.norm(h, axis=1)[:, None], rng.normal(size=(6, 3))) is None
