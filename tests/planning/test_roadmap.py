"""The planner in a plane with round obstacles, where every margin has a closed form."""

import numpy as np
import pytest

from armcarry.clearance.many import Margins
from armcarry.planning.roadmap import WANTED_M, find_way


class Plane:
    """A point among discs; the margin of a segment is its distance from the nearest disc, exactly, at most 0.5."""

    def __init__(self, discs):
        self.discs = np.array(discs, dtype=float)
        self.limits = np.array([[-2.0, 2.0], [-2.0, 2.0]])

    def margins(self, starts, ends):
        along = ends - starts
        square = np.maximum((along**2).sum(axis=1), 1e-300)
        each = []
        for x, y, radius in self.discs:
            share = np.clip((((x, y) - starts) * along).sum(axis=1) / square, 0, 1)
            each.append(np.linalg.norm(starts + share[:, None] * along - (x, y), axis=1) - radius)
        least = np.minimum(np.min(each, axis=0), 0.5)  # more is all the same
        nothing = np.zeros(len(starts))
        return Margins(least, least, np.argmin(each, axis=0), nothing, nothing)

    def seconds(self, starts, ends):
        return np.linalg.norm(ends - starts, axis=-1) * 20


START, GOAL = np.array([-1.5, 0.0]), np.array([[1.5, 0.0]])


def test_a_free_segment_is_taken_as_it_is():
    way = find_way(Plane([(0.0, 1.5, 0.3)]), START, GOAL)
    np.testing.assert_array_equal(way.points, [START, GOAL[0]])
    assert way.least_m == pytest.approx(0.5)


@pytest.mark.parametrize("seed", range(6))
def test_a_way_leads_round_an_obstacle_with_room(seed):
    plane = Plane([(0.0, 0.0, 0.5)])
    way = find_way(plane, START, GOAL, seed=seed)
    assert way.free
    assert way.least_m >= 0.9 * WANTED_M
    np.testing.assert_allclose(plane.margins(way.points[:-1], way.points[1:]).lower_m, way.margins_m)
    length = np.linalg.norm(np.diff(way.points, axis=0), axis=1).sum()
    # no way round at a distance of 0.3 m is shorter than two tangents and the arc between
    radius = 0.5 + way.least_m
    shortest = 2 * np.sqrt(1.5**2 - radius**2) + radius * 2 * np.arcsin(radius / 1.5)
    assert shortest - 1e-9 <= length < 1.25 * shortest


def test_the_larger_gap_is_chosen_when_it_costs_little():
    # two gaps: 0.2 m wide straight ahead, 1 m wide a little to the side
    plane = Plane([(0.0, 1.1, 1.0), (0.0, -0.6, 0.5), (0.0, -2.4, 0.3)])
    way = find_way(plane, START, GOAL, seed=2)
    assert way.least_m > 0.2
    assert way.points[:, 1].min() < -1.0


def test_the_same_seed_gives_the_same_way():
    plane = Plane([(0.0, 0.0, 0.5), (0.5, 1.0, 0.3)])
    first, again, other = (find_way(plane, START, GOAL, seed=seed).points for seed in (3, 3, 4))
    np.testing.assert_array_equal(first, again)
    assert first.shape != other.shape or not np.array_equal(first, other)


def test_one_of_several_goals_is_enough():
    plane = Plane([(1.5, 0.0, 0.4)])  # the first goal lies inside
    way = find_way(plane, START, np.array([[1.5, 0.0], [0.0, 1.5]]))
    assert way.free
    np.testing.assert_array_equal(way.points[-1], (0.0, 1.5))


def test_where_nothing_leads_through_the_least_bad_way_and_its_obstacle_are_told():
    wall = [(0.0, y, 0.3) for y in np.arange(-2.0, 2.01, 0.25)]
    wall[6] = (0.0, -0.5, 0.1)  # the thinnest place
    way = find_way(Plane(wall), START, GOAL)
    assert not way.free
    assert way.blocked_by in (5, 6, 7)
    assert -0.35 < way.least_m < 0.0


def test_hints_are_used():
    plane = Plane([(0.0, 0.0, 1.7), (0.0, -2.0, 0.1)])  # a narrow way at the very top
    hints = np.array([[-1.6, 1.95], [0.0, 1.95], [1.6, 1.95]])
    way = find_way(plane, START * 1.2, GOAL * 1.2, hints=hints)
    assert way.free
