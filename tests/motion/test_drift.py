"""Bounds of how far points move between instants: never too small, and close to what is moved."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.motion.drift import Drift
from armcarry.motion.forward import forward


def _swing(scene, seed=3):
    """Joints along random cubics over 0 to 2, 2 to 5 and 5 to 9 s, the arm's only."""
    random = np.random.default_rng(seed)
    table = np.zeros((3, 4, len(scene.position)))
    table[:, 0] = scene.position
    size = np.array([0.5, 0.1, 0.02, 0.002])[:, None]
    table[:, :, scene.arm_columns] = random.normal(size=(3, 4, len(scene.arm_columns))) * size
    return Motion(scene.tree.joints, np.array([0.0, 2.0, 5.0, 9.0]), table)


LINKS = [("ev1/chest", "world"), ("arm/tip", "world"), ("ev1/visor", "arm/l3"), ("platform/yard", "arm/tip")]


@pytest.mark.parametrize(("link", "base"), LINKS)
def test_nothing_moves_farther_than_its_bound(rider_scene, link, base):
    scene = rider_scene({})
    motion = _swing(scene)
    drift = Drift(scene.tree, motion, 0.5, 8.5)
    offset = np.array([0.3, -0.2, 0.4])
    way, turned = drift.way(link, offset, base)
    random = np.random.default_rng(1)
    for low, high in ((0.5, 1.9), (2.1, 4.9), (5.1, 8.5)):  # the curves jump between pieces, which no motion does
        times = np.sort(random.uniform(low, high, (200, 2)), axis=1)
        pose = forward(scene.tree, motion.at(times), [base, link])
        seen = poses.inverse(pose[:, :, 0]) @ pose[:, :, 1]
        points = poses.apply(seen, offset)
        gone = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
        turns = [poses.rotation_vector(poses.inverse(a) @ b) for a, b in zip(seen[:, 0], seen[:, 1], strict=True)]
        angle = np.linalg.norm(turns, axis=1)
        assert np.all(gone <= np.diff(drift.at(way, times))[:, 0] + 1e-12)
        assert np.all(angle <= np.diff(drift.at(turned, times))[:, 0] + 1e-9)


def test_the_bound_is_close_to_the_length_of_the_way(rider_scene):
    scene = rider_scene({})
    motion = _swing(scene)
    way, _ = Drift(scene.tree, motion, 2.0, 5.0, step_s=0.1).way("arm/tip")
    tips = forward(scene.tree, motion.at(np.linspace(2.0, 5.0, 20001)), ["arm/tip"])[:, 0, :3, 3]
    length = np.linalg.norm(np.diff(tips[:-1], axis=0), axis=1).sum()
    assert length <= way[-1] <= 1.1 * length


def test_links_that_hang_together_do_not_drift_apart(rider_scene):
    scene = rider_scene({})
    drift = Drift(scene.tree, _swing(scene), 0.0, 9.0)
    assert drift.moving == frozenset(scene.arm_joints)
    for link, base in (("ev1/visor", "restraint/plate"), ("arm/tip", "ev1/hands"), ("platform/yard", "world")):
        way, turned = drift.way(link, (1.0, 0.0, 0.0), base)
        assert np.all(way == 0.0)
        assert np.all(turned == 0.0)
    assert drift.islands[scene.tree.index("ev1/visor")] == drift.islands[scene.tree.index("arm/tip")]
    assert drift.islands[scene.tree.index("platform/yard")] == 0


def test_how_far_a_bound_grows_from_the_middle(rider_scene):
    scene = rider_scene({})
    drift = Drift(scene.tree, _swing(scene), 0.0, 9.0)
    way = np.square(drift.edges_s)
    grown = drift.reach(way, np.array([4.0]), np.array([3.0]), np.array([5.0]))
    assert grown == pytest.approx(9.0, abs=0.3)
