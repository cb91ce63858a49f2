"""Routes along handrails against a search that shares no code with them."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.timeline.handrails import NoRoute, Rail, find_route, rail_graph

UP = np.array([0.0, 0.0, 1.0])


def rail(name, start, end):
    return Rail(name, np.array(start, float), np.array(end, float), UP)


LADDER = (
    rail("left", (0, 0, 0), (10, 0, 0)), rail("right", (0, 4, 0), (10, 4, 0)),
    rail("cross", (6, 0.5, 0), (6, 3.5, 0)), rail("far", (13, 0, 0), (20, 0, 0)),
)


def test_a_way_over_a_cross_rail():
    route = find_route(LADDER, (1, -0.3, 0), (2, 4.3, 0), gap_m=0.6, reach_m=0.5)
    assert route.rails == ("left", "cross", "right")
    assert route.length_m == pytest.approx(0.3 + 5 + 0.5 + 3 + 0.5 + 4 + 0.3)
    assert route.widest_gap_m == pytest.approx(0.5)
    assert [leg.kind for leg in route.legs] == ["reach", "rail", "gap", "rail", "gap", "rail", "reach"]
    assert np.allclose(route.points[0], (1, -0.3, 0))
    assert np.allclose(route.points[-1], (2, 4.3, 0))


def test_a_gap_too_wide_is_named_with_what_would_be_enough():
    answer = find_route(LADDER, (1, 0.1, 0), (19, 0.1, 0), gap_m=1.0, reach_m=0.5)
    assert isinstance(answer, NoRoute)
    assert answer.needed_m == pytest.approx(3.0)
    assert "the gap of 3.00 m between left and far would have to be bridged" in answer.reason
    assert find_route(LADDER, (1, 0.1, 0), (19, 0.1, 0), gap_m=3.0, reach_m=0.5).widest_gap_m == pytest.approx(3.0)


def test_a_place_without_a_rail_is_named():
    answer = find_route(LADDER, (1, 0.1, 0), (5, 10, 0), gap_m=1.0, reach_m=0.5)
    assert "no handrail within 0.50 m of the goal; the nearest, right, is 6.00 m away" in answer.reason
    assert find_route((), (0, 0, 0), (5, 0, 0), gap_m=1, reach_m=1).reason == "there are no handrails"


def test_places_within_reach_of_each_other_need_no_rail():
    assert find_route((), (0, 0, 0), (0.5, 0, 0), gap_m=1, reach_m=1).length_m == pytest.approx(0.5)


def test_rails_that_cross_in_the_middle_are_joined_there():
    rails = (rail("a", (-5, 0, 0), (5, 0, 0)), rail("b", (0, -5, 0.3), (0, 5, 0.3)))
    route = find_route(rails, (-5, 0, 0), (0, 5, 0.3), gap_m=0.4, reach_m=0.1)
    assert route.length_m == pytest.approx(5 + 0.3 + 5)


def sampled_length(rails, start, goal, gap_m, reach_m, step_m):
    """Shortest way by Floyd-Warshall over points sampled on the rails; passes between rails at any sample."""
    points, owner = [start, goal], [-1, -2]
    for k, one in enumerate(rails):
        for share in np.linspace(0, 1, int(np.ceil(one.length_m / step_m)) + 1):
            points.append(one.start + share * (one.end - one.start))
            owner.append(k)
    points, owner = np.array(points), np.array(owner)
    distance = np.linalg.norm(points[:, None] - points[None], axis=-1)
    same = (owner[:, None] == owner[None]) & (owner[:, None] >= 0)
    place = (owner[:, None] < 0) ^ (owner[None] < 0)
    allowed = same | (place & (distance <= reach_m)) | (~place & (distance <= gap_m) & (owner[:, None] >= 0))
    best = np.where(allowed, distance, np.inf)
    np.fill_diagonal(best, 0.0)
    for k in range(len(points)):
        np.minimum(best, best[:, k : k + 1] + best[k : k + 1], out=best)
    return best[0, 1]


def test_random_rails_against_all_ways_over_sampled_points(scenes=25):
    rng = np.random.default_rng(8)
    found = missed = 0
    for _ in range(scenes):
        rails = tuple(
            rail(f"r{k}", a, a + rng.choice([-1, 1]) * np.eye(3)[rng.integers(3)] * rng.uniform(2, 5))
            for k, a in enumerate(rng.uniform(0, 6, (7, 3)))
        )
        start, goal = rails[0].start, rails[1].end
        gap, reach = 2.0, 0.05
        route = find_route(rails, start, goal, gap_m=gap, reach_m=reach)
        truth = sampled_length(rails, start, goal, gap, reach, 0.1)
        if isinstance(route, NoRoute):
            missed += 1
            assert not np.isfinite(truth)
        else:
            found += 1
            # the sampled way may cut corners between rails anywhere, ours only at ends and nearest points
            assert route.length_m >= truth - 0.25
            assert route.length_m <= truth + gap * len(route.legs)
    assert found > 5
    assert missed > 5


def brute_shortest(graph, a, b):
    """Length of the shortest simple path by depth-first search over all of them."""
    best = [np.inf]

    def walk(node, seen, length):
        if length >= best[0]:
            return
        if node == b:
            best[0] = length
            return
        for other, data in graph[node].items():
            if other not in seen:
                walk(other, seen | {other}, length + data["length_m"])

    walk(a, {a}, 0.0)
    return best[0]


def test_random_graphs_against_every_simple_path(scenes=30):
    rng = np.random.default_rng(9)
    found = 0
    for _ in range(scenes):
        rails = tuple(rail(f"r{k}", *rng.uniform(0, 4, (2, 3))) for k in range(4))
        start, goal = rails[0].start, rails[1].end
        graph = rail_graph(rails, 1.5, {"start": start, "goal": goal}, 0.2)
        truth = brute_shortest(graph, "start", "goal")
        route = find_route(rails, start, goal, gap_m=1.5, reach_m=0.2)
        if isinstance(route, NoRoute):
            assert truth == np.inf
        else:
            found += 1
            assert route.length_m == pytest.approx(truth)
            steps = np.linalg.norm(np.diff(route.points, axis=0), axis=1)
            assert steps == pytest.approx([leg.length_m for leg in route.legs])
    assert found > 10


def test_the_least_gap_is_really_the_least(scenes=20):
    rng = np.random.default_rng(10)
    checked = 0
    for _ in range(scenes):
        rails = tuple(rail(f"r{k}", *rng.uniform(0, 6, (2, 3))) for k in range(5))
        answer = find_route(rails, rails[0].start, rails[1].end, gap_m=0.3, reach_m=0.1)
        if isinstance(answer, NoRoute):
            checked += 1
            ends = (rails[0].start, rails[1].end)
            assert not isinstance(find_route(rails, *ends, gap_m=answer.needed_m + 1e-9, reach_m=0.1), NoRoute)
            assert isinstance(find_route(rails, *ends, gap_m=answer.needed_m - 1e-6, reach_m=0.1), NoRoute)
    assert checked > 5
