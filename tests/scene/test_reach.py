"""Reach margins are signed distances: checked by random search for the nearest boundary, and by hand."""

import numpy as np
import pytest

from armcarry.files.documents.bodies import CrewDocument, ReachEnvelope
from armcarry.geometry import poses
from armcarry.scene.reach import CrewFrames, cone_margin_m, hand_margins

REACH = ReachEnvelope.model_construct(one_hand=0.70, two_hand=0.66, nearest=0.25, half_angle=np.radians(65.0))
SHOULDERS = np.array([[0.0, 0.22, 0.0], [0.0, -0.22, 0.0]])


def test_a_point_straight_ahead_is_judged_by_hand():
    margins = hand_margins(REACH, poses.identity(), SHOULDERS, np.array([0.5, 0.0, 0.0]))
    away = np.hypot(0.5, 0.22)
    assert margins.one_hand_m == pytest.approx(0.70 - away)
    assert margins.two_hand_m == pytest.approx(0.66 - away)
    assert away == pytest.approx(0.5463, abs=1e-4)


def test_a_point_before_the_right_shoulder_is_reached_by_that_hand_only():
    point = np.array([0.55, -0.42, 0.0])
    margins = hand_margins(REACH, poses.identity(), SHOULDERS, point)
    assert margins.one_hand_m > 0 > margins.two_hand_m
    assert margins.nearer == 1
    mirrored = hand_margins(REACH, poses.identity(), SHOULDERS, point * (1, -1, 1))
    assert mirrored.nearer == 0
    assert mirrored.one_hand_m == pytest.approx(margins.one_hand_m)


@pytest.mark.parametrize(
    ("point", "limit"),
    [((0.1, 0.0, 0.05), "nearest"), ((-0.4, 0.0, 0.0), "cone"), ((0.9, 0.0, 0.0), "length")],
)
def test_each_limit_alone_puts_a_point_outside(point, limit):
    margins = hand_margins(REACH, poses.identity(), SHOULDERS, np.array(point))
    expected = {
        "nearest": np.hypot(0.1, 0.05) - 0.25,
        "cone": -0.4,  # behind the chest: the apex is the nearest point of the cone
        "length": 0.66 - np.hypot(0.9, 0.22),
    }
    assert margins.two_hand_m == pytest.approx(expected[limit])


def test_margins_do_not_depend_on_the_frame_they_are_measured_in():
    rng = np.random.default_rng(4)
    pose = poses.from_xyz_rpy(rng.uniform(-9, 9, 3), rng.uniform(-3, 3, 3))
    points = rng.uniform(-0.9, 0.9, (200, 3))
    here = hand_margins(REACH, poses.identity(), SHOULDERS, points)
    there = hand_margins(REACH, pose, poses.apply(pose, SHOULDERS), poses.apply(pose, points))
    np.testing.assert_allclose(there.one_hand_m, here.one_hand_m, atol=1e-12)
    np.testing.assert_allclose(there.two_hand_m, here.two_hand_m, atol=1e-12)


def test_the_two_hand_margin_is_the_distance_to_the_boundary():
    """Within the margin nothing is outside; just beyond it something is."""
    rng = np.random.default_rng(5)
    points = rng.uniform((0.2, -0.4, -0.4), (0.7, 0.4, 0.4), (4000, 3))
    margin = hand_margins(REACH, poses.identity(), SHOULDERS, points).two_hand_m
    inside = points[margin > 0.01][:30]
    assert len(inside) == 30
    directions = rng.normal(size=(40_000, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    for point, depth in zip(inside, margin[margin > 0.01][:30], strict=True):
        near = hand_margins(REACH, poses.identity(), SHOULDERS, point + 0.999 * depth * directions).two_hand_m
        beyond = hand_margins(REACH, poses.identity(), SHOULDERS, point + (depth + 0.003) * directions).two_hand_m
        assert near.min() > 0
        assert beyond.min() < 0


@pytest.mark.parametrize("degrees", [20.0, 65.0, 90.0, 130.0])
def test_the_cone_margin_is_the_distance_to_its_surface(degrees):
    rng = np.random.default_rng(6)
    half = np.radians(degrees)
    points = rng.uniform(-1, 1, (300, 3))
    along = np.linspace(0, 3, 3001)
    # the surface in the half plane of each point, sampled every millimetre
    flat = np.stack([points[:, 0], np.hypot(points[:, 1], points[:, 2])], axis=1)
    surface = np.stack([along * np.cos(half), along * np.sin(half)], axis=1)
    distance = np.linalg.norm(flat[:, None] - surface, axis=-1).min(axis=1)
    margin = cone_margin_m(points, half)
    excess = distance - np.abs(margin)  # a sampled surface is never nearer, and at most half a step farther
    assert excess.min() > -1e-12
    assert excess.max() < 5e-4
    np.testing.assert_array_equal(margin > 0, np.arctan2(flat[:, 1], flat[:, 0]) < half)


def test_frames_are_named_after_the_crewmember():
    document = CrewDocument.model_construct(
        chest="chest", visor="visor", shoulders=("left_shoulder", "right_shoulder")
    )
    assert CrewFrames.of("ev2", document).links == (
        "ev2/chest", "ev2/visor", "ev2/left_shoulder", "ev2/right_shoulder",
    )
