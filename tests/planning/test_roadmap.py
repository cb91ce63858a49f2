"""The planner in a plane with round obstacles, where every margin has a closed form."""

from itertools import pairwise

import numpy as np
import pytest

from armcarry.clearance.many import Margins
from armcarry.planning.roadmap import find_way
from armcarry.planning.trees import joined
from armcarry.planning.ways import WANTED_M, arcs_of


class Plane:
    """A point among discs; the margin of an arc is its least distance from a disc, to a few mm, at most 0.3."""

    def __init__(self, discs):
        self.discs = np.array(discs, dtype=float)
        self.limits = np.array([[-2.0, 2.0], [-2.0, 2.0]])

    def margins(self, arcs, *, give_up_m=-np.inf):
        t = np.linspace(0.0, 1.0, 51)[:, None, None]
        places = arcs[:, 0] + t * arcs[:, 1] + t * t * arcs[:, 2]
        each = np.linalg.norm(places[..., None, :] - self.discs[:, :2], axis=-1) - self.discs[:, 2]
        at, disc = np.divmod(each.transpose(1, 0, 2).reshape(len(arcs), -1).argmin(axis=1), len(self.discs))
        least = np.minimum(each.min(axis=(0, 2)), WANTED_M)  # more is all the same
        least = np.where(least < give_up_m, -np.inf, least)
        return Margins(least, least, disc, at / 50, np.zeros(len(arcs)))

    def seconds(self, arcs):
        return np.linalg.norm(arcs[:, 1] + arcs[:, 2], axis=1) * 20


def dense(way):
    """Return points of the rounded way, and the length of it."""
    arcs, _ = arcs_of(way.points)
    t = np.linspace(0.0, 1.0, 200)[:, None, None]
    places = (arcs[:, 0] + t * arcs[:, 1] + t * t * arcs[:, 2]).transpose(1, 0, 2).reshape(-1, 2)
    return places, np.linalg.norm(np.diff(places, axis=0), axis=1).sum()


START, GOAL = np.array([-1.5, 0.0]), np.array([[1.5, 0.0]])


def test_a_free_segment_is_taken_as_it_is():
    way = find_way(Plane([(0.0, 1.5, 0.3)]), START, GOAL)
    np.testing.assert_array_equal(way.points, [START, GOAL[0]])
    assert way.least_m == pytest.approx(WANTED_M)


@pytest.mark.parametrize("seed", range(6))
def test_a_way_leads_round_an_obstacle_with_room(seed):
    plane = Plane([(0.0, 0.0, 0.5)])
    way = find_way(plane, START, GOAL, seed=seed)
    assert way.free
    assert way.least_m >= 0.9 * WANTED_M
    places, length = dense(way)
    assert min(WANTED_M, np.linalg.norm(places, axis=1).min() - 0.5) == pytest.approx(way.least_m, abs=1e-3)
    # no way round at a distance of 0.3 m is shorter than two tangents and the arc between
    radius = 0.5 + way.least_m
    shortest = 2 * np.sqrt(1.5**2 - radius**2) + radius * 2 * np.arcsin(radius / 1.5)
    assert shortest - 1e-9 <= length < 1.25 * shortest


def test_the_larger_gap_is_chosen_when_it_costs_little():
    # two gaps: 0.2 m wide straight ahead, 1 m wide a little to the side
    plane = Plane([(0.0, 1.1, 1.0), (0.0, -0.6, 0.5), (0.0, -2.4, 0.3)])
    way = find_way(plane, START, GOAL, seed=2)
    assert way.least_m > 0.2
    assert dense(way)[0][:, 1].min() < -1.0


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


# -- two trees ------------------------------------------------------------------------------------------------

BOTH = np.array([[1.5, 0.0], [1.5, 1.0]])


def _spiral():
    """Return a wall about the start that opens to the left, and one about the goals that opens to the right."""
    wall = [(x, y, 0.2) for x in np.arange(-1.9, -0.4, 0.2) for y in (-0.7, 0.7)]
    return Plane([*wall, *((-0.5, y, 0.2) for y in np.arange(-0.7, 0.71, 0.2))])


def test_a_way_out_of_a_dead_end_is_found_and_proven():
    space = _spiral()
    space.limits = np.array([[-3.0, 3.0], [-3.0, 3.0]])
    points = joined(space, START, BOTH, np.random.default_rng(1))
    np.testing.assert_array_equal(points[0], START)
    assert any(np.array_equal(points[-1], goal) for goal in BOTH)
    for a, b in pairwise(points):
        assert space.margins(arcs_of(np.stack([a, b]))[0]).lower_m.min() >= 0.0
    assert points[:, 0].min() < -2.0  # round the open end


def test_the_same_seed_gives_the_same_points():
    first, again = (joined(_spiral(), START, BOTH, np.random.default_rng(4)) for _ in range(2))
    np.testing.assert_array_equal(first, again)


def test_where_there_is_none_it_gives_up(monkeypatch):
    monkeypatch.setattr("armcarry.planning.trees.SEGMENTS", 200)
    closed = Plane([(0.0, y, 0.3) for y in np.arange(-2.0, 2.01, 0.25)])
    assert joined(closed, START, BOTH, np.random.default_rng(1)) is None
