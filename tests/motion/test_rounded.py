"""Ways past via points: where they lead, that their direction never jumps, and that timing keeps the limits."""

from itertools import pairwise

import numpy as np
import pytest

from armcarry.errors import MotionError
from armcarry.motion.path import joint_segment, rounded, rounded_pieces
from armcarry.motion.timing import RateLimits, time_path
from measures import greatest_rates

JOINTS = ("a", "b", "c")


@pytest.fixture(params=range(6))
def points(request):
    source = np.random.default_rng(request.param)
    return np.cumsum(source.normal(0, 0.7, (2 + request.param, 3)), axis=0)


def test_it_starts_and_ends_at_its_first_and_last_point(points):
    path = rounded(JOINTS, points)
    np.testing.assert_allclose(path.start, points[0], atol=1e-12)
    np.testing.assert_allclose(path.end, points[-1], atol=1e-12)


def test_neither_place_nor_direction_jumps(points):
    table, length = rounded_pieces(points)
    ends = table[:, 0] + table[:, 1] * length[:, None] + table[:, 2] * length[:, None] ** 2
    slopes = table[:, 1] + 2 * table[:, 2] * length[:, None]
    np.testing.assert_allclose(ends[:-1], table[1:, 0], atol=1e-12)
    np.testing.assert_allclose(slopes[:-1], table[1:, 1], atol=1e-12)
    # the joint that travels most travels one unit a unit of the parameter where the way is straight
    straight = ~table[:, 2].any(axis=1)
    np.testing.assert_allclose(np.abs(table[straight, 1]).max(axis=1), 1.0)


def test_a_corner_stays_in_its_triangle():
    path = rounded(JOINTS, [(0, 0, 0), (1, 0, 0), (1, 2, 0)])
    places = path.at(np.linspace(0, 1, 200))
    assert np.all(places[:, 0] <= 1 + 1e-12)
    assert np.all(places[:, 1] >= -1e-12)
    assert not places[:, 2].any()
    # left and joined half a unit from the corner: the parabola passes a quarter of the way to it
    middle = places[np.abs(places - (0.875, 0.125, 0)).max(axis=1).argmin()]
    np.testing.assert_allclose(middle, (0.875, 0.125, 0), atol=0.01)


def test_two_points_are_a_straight_segment_and_repeated_points_are_left_out():
    start, end = (0.0, 1.0, 2.0), (1.0, 0.0, 2.0)
    for given in ([start, end], [start, start, end, end]):
        path = rounded(JOINTS, given)
        np.testing.assert_array_equal(path.curve.coefficients, joint_segment(JOINTS, start, end).curve.coefficients)


def test_timing_keeps_rates_and_accelerations_and_is_quicker_than_stopping(points):
    limits = RateLimits(np.array([0.2, 0.3, 0.2]), np.array([0.05, 0.05, 0.1]))
    motion = time_path(rounded(JOINTS, points), limits)
    rates, accelerations = greatest_rates(motion)
    assert np.all(rates <= limits.velocity * (1 + 1e-9))
    assert np.all(accelerations <= limits.acceleration * (1 + 1e-9))
    stopping = sum(time_path(joint_segment(JOINTS, a, b), limits).duration_s for a, b in pairwise(points))
    assert motion.duration_s <= stopping * (1 + 1e-9)
    if len(points) > 2:
        assert motion.duration_s < 0.98 * stopping


def test_a_way_that_does_not_move_is_refused():
    with pytest.raises(MotionError, match="two points in a row are the same"):
        rounded(JOINTS, [(0, 0, 0), (0, 0, 0)])
    with pytest.raises(MotionError, match="two points in a row are the same"):
        rounded_pieces(np.zeros((1, 3)))
