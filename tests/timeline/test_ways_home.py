"""Ways home from every point of every rail, against single routes and by hand."""

import numpy as np
import pytest

from armcarry.timeline.handrails import Rail, find_route
from armcarry.timeline.ways_home import ways_home

UP = np.array([0.0, 0.0, 1.0])


def rail(name, start, end):
    return Rail(name, np.array(start, float), np.array(end, float), UP)


LADDER = (
    rail("left", (0, 0, 0), (10, 0, 0)), rail("right", (0, 4, 0), (10, 4, 0)),
    rail("cross", (6, 0.5, 0), (6, 3.5, 0)),
)
HATCH = (2.0, 4.3, 0.0)


def test_a_way_by_hand():
    home = ways_home(LADDER, HATCH, gap_m=0.6, reach_m=0.5)
    held = home.holds([(1.0, -0.3, 0.0)])
    assert held.apart_m[0, 0] == pytest.approx(0.3)
    assert held.home_m[0, 0] == pytest.approx(5 + 0.5 + 3 + 0.5 + 4 + 0.3)
    assert held.gap_m[0, 0] == 0.0
    assert home.way(0, int(held.stop[0, 0])) == ("left", "cross", "right")


def test_ways_agree_with_single_routes():
    random = np.random.default_rng(5)
    rails = [rail(f"r{k}", *random.uniform(-3, 3, (2, 3))) for k in range(9)]
    hatch = rails[0].point(0.3)
    home = ways_home(rails, hatch, gap_m=2.0, reach_m=1e-9)
    compared = 0
    for _ in range(40):
        on = int(random.integers(9))
        place = rails[on].point(random.uniform())
        route = find_route(rails, place, hatch, gap_m=2.0, reach_m=1e-9)
        held = home.holds([place])
        if hasattr(route, "length_m"):
            assert held.home_m[0, on] == pytest.approx(route.length_m, abs=1e-6)
            compared += 1
        else:
            assert held.gap_m[0, on] > 2.0
    assert compared >= 10


def test_a_gap_too_wide_for_hands_is_taken_only_where_there_is_no_other_way():
    far = rail("far", (13, 0, 0), (20, 0, 0))
    home = ways_home((*LADDER, far), HATCH, gap_m=0.6, reach_m=0.5)
    held = home.holds([(13.0, 0.0, 0.0), (1.0, 0.0, 0.0)])
    assert held.gap_m[0, 3] == pytest.approx(3.0)
    # left's end is 3 m from far; nothing else is nearer, though right's end would give the shorter way
    assert held.home_m[0, 3] == pytest.approx(3 + 4 + 0.5 + 3 + 0.5 + 4 + 0.3)
    assert held.gap_m[1, 0] == 0.0


def test_a_hatch_out_of_reach_is_a_gap():
    held = ways_home(LADDER[:1], (-1.0, 0.0, 0.0), gap_m=0.6, reach_m=0.5).holds([(4.0, 0.0, 2.0)])
    assert held.gap_m[0, 0] == pytest.approx(1.0)
    assert held.home_m[0, 0] == pytest.approx(5.0)
    assert held.apart_m[0, 0] == pytest.approx(2.0)


def test_the_way_changes_no_faster_than_the_point_moves():
    # the law that the proof between instants rests on: a sum of two lengths at right angles
    random = np.random.default_rng(2)
    home = ways_home(LADDER, HATCH, gap_m=0.6, reach_m=0.5)
    points = random.uniform(-2, 12, (2000, 3))
    step = random.normal(size=(2000, 3))
    step *= random.uniform(0, 0.5, (2000, 1)) / np.linalg.norm(step, axis=1, keepdims=True)
    before, after = home.holds(points), home.holds(points + step)
    change = np.abs(before.apart_m + before.home_m - after.apart_m - after.home_m)
    assert np.all(change <= np.sqrt(2) * np.linalg.norm(step, axis=1)[:, None] + 1e-9)
    assert np.max(change / np.linalg.norm(step, axis=1)[:, None]) > 1.2  # and the bound is not idle
