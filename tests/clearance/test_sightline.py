"""Lines of sight past bodies: against closed forms, the slab method and another library's distances."""

import numpy as np
import pytest

from armcarry.clearance.sightline import sight_lines
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere


def _box_in_line(start, end, size, pose):
    """The slab method: does a segment meet a box; an independent way to the same answer."""
    inverse = poses.inverse(pose)
    a, b = poses.apply(inverse, start), poses.apply(inverse, end)
    half, step = np.asarray(size) / 2, b - a
    t1, t2 = (-half - a) / step, (half - a) / step
    enter, leave = np.minimum(t1, t2).max(), np.maximum(t1, t2).min()
    return max(enter, 0.0) <= min(leave, 1.0)


def _random_scene(random, count):
    turn = poses.from_quaternion_wxyz(random.normal(size=(count, 4)), random.uniform(-2, 2, size=(count, 3)))
    return turn, random.uniform(-6, 6, size=(count, 3)), random.uniform(-6, 6, size=(count, 3))


def test_boxes_in_the_line_are_those_the_slab_method_finds():
    random = np.random.default_rng(11)
    turn, eyes, points = _random_scene(random, 3000)
    size = (3.0, 0.4, 1.5)
    found = sight_lines(eyes, points, [Box(size)], turn[:, None])
    expected = np.array([_box_in_line(e, p, size, T) for e, p, T in zip(eyes, points, turn, strict=True)])
    assert 100 < expected.sum() < 1500
    np.testing.assert_array_equal(found.blocked, expected)
    np.testing.assert_array_equal(found.clear, ~expected)


def test_distances_are_those_of_an_independent_library():
    coal = pytest.importorskip("coal")
    random = np.random.default_rng(12)
    count = 300
    turn, eyes, points = _random_scene(random, count)
    cloud = random.normal(size=(12, 3))
    hull = coal.StdVec_Vec3s()
    for corner in cloud:
        hull.append(corner)
    bodies = [
        (Sphere(0.7), coal.Sphere(0.7)),
        (Capsule(0.3, 2.0), coal.Capsule(0.3, 2.0)),
        (Box((1.0, 2.0, 0.5)), coal.Box(1.0, 2.0, 0.5)),
        (Cylinder(0.5, 1.5), coal.Cylinder(0.5, 1.5)),
        (ConvexMesh.hull_of(cloud), coal.Convex.convexHull(hull, False, "")),
    ]
    thin = 1e-6
    for shape, other in bodies:
        found = sight_lines(eyes, points, [shape], turn[:, None], within_m=np.inf)
        for k in range(count):
            step = points[k] - eyes[k]
            x = np.cross(step, random.normal(size=3))
            x /= np.linalg.norm(x)
            z = step / np.linalg.norm(step)
            line = coal.Transform3s(np.stack([x, np.cross(z, x), z], axis=1), (eyes[k] + points[k]) / 2)
            result = coal.DistanceResult()
            body = coal.Transform3s(turn[k, :3, :3].copy(), turn[k, :3, 3].copy())
            theirs = coal.distance(
                coal.Capsule(thin, float(np.linalg.norm(step))), line, other, body, coal.DistanceRequest(), result
            )
            if theirs > 1e-4:  # cylinders and hulls: coal is good to 1e-5 m
                assert found.lower_m[k, 0] - 2e-5 <= theirs + thin <= found.upper_m[k, 0] + 2e-5
            elif theirs < -1e-4:
                assert found.upper_m[k, 0] == 0.0


def test_a_ball_beside_a_line_in_closed_form():
    found = sight_lines((0, 0, 0), (10, 0, 0), [Sphere(1.0)], poses.translation([[5.0, 3.0, 0.0]]), within_m=np.inf)
    assert found.lower_m[0, 0] == pytest.approx(2.0, abs=3e-6)
    assert found.lower_m[0, 0] <= 2.0 <= found.upper_m[0, 0]


def test_a_ball_behind_the_point_is_not_in_the_way():
    ball = poses.translation([[12.0, 0.0, 0.0]])
    assert sight_lines((0, 0, 0), (10, 0, 0), [Sphere(1.0)], ball).clear.tolist() == [True]
    assert sight_lines((0, 0, 0), (11.5, 0, 0), [Sphere(1.0)], ball).blocked.tolist() == [True]


def test_a_body_that_is_far_is_bounded_without_measuring():
    found = sight_lines((0, 0, 0), (10, 0, 0), [Capsule(0.1, 2.0)], poses.translation([[5.0, 3.0, 0.0]]))
    assert found.upper_m[0, 0] == np.inf
    # ball of radius 1.1 about it, so 1.9 m; the true distance is 2.9 m
    assert found.lower_m[0, 0] == pytest.approx(1.9, abs=2e-6)
    assert found.clear.all()


def test_a_point_on_a_surface_is_seen_from_outside_and_not_from_behind():
    crate = [Box((2.0, 2.0, 2.0))]
    here = poses.identity(1)
    surface = (1.0, 0.0, 0.0)
    assert sight_lines((6, 1, 0), surface, crate, here).blocked[0]
    assert sight_lines((6, 1, 0), surface, crate, here, skip_end_m=0.02).clear[0]
    assert sight_lines((-6, 1, 0), surface, crate, here, skip_end_m=0.02).blocked[0]


def test_an_eye_inside_its_housing_sees_out_of_it_when_told_how_thick_it_is():
    housing = [Sphere(0.2)]
    here = poses.identity(1)
    assert sight_lines((0, 0, 0), (5, 0, 0), housing, here).blocked[0]
    assert sight_lines((0, 0, 0), (5, 0, 0), housing, here, skip_start_m=0.21).clear[0]


def test_a_line_shorter_than_what_is_left_out_is_a_point():
    here = poses.identity(1)
    assert sight_lines((0, 0, 0), (0.1, 0, 0), [Sphere(0.2)], here, skip_end_m=0.3).blocked[0]
    assert sight_lines((5, 0, 0), (5, 0, 0), [Sphere(0.2)], here, within_m=9.0).upper_m[0, 0] == pytest.approx(4.8)


def test_bodies_beside_all_lines_are_told_apart_by_the_box_about_these():
    rng = np.random.default_rng(6)
    eyes, points = rng.uniform(0.0, 2.0, (2, 30, 3))
    shapes = [Sphere(0.2), Box((0.3, 0.6, 0.2))] * 60
    at = np.concatenate([rng.uniform(0.0, 2.0, (20, 3)), rng.uniform(-8.0, 8.0, (100, 3))])
    placed = np.stack([poses.translation(one) for one in at])
    measured = sight_lines(eyes, points, shapes, placed, within_m=np.inf)
    found = sight_lines(eyes, points, shapes, placed, within_m=0.5)
    np.testing.assert_array_equal(found.blocked, measured.blocked)
    assert np.all(found.lower_m <= measured.upper_m) and np.any(found.blocked)
    alike = np.ptp(found.lower_m, axis=0) == 0.0  # one bound for all lines
    assert np.count_nonzero(alike) > 60 and np.all(found.lower_m[:, alike] > 0.5)
    near = measured.lower_m <= 0.5
    np.testing.assert_array_equal(found.lower_m[near], measured.lower_m[near])


def test_lines_in_several_configurations_say_which_is_in_which():
    places = np.stack([poses.translation((x, 0.0, 0.0))[None] for x in (1.0, 50.0)])
    eyes, points, ball = np.zeros((3, 3)), np.tile([2.0, 0.0, 0.0], (3, 1)), [Sphere(0.2)]
    with pytest.raises(ValueError, match="3 lines in 2 configurations do not say which is in which"):
        sight_lines(eyes, points, ball, places)
    told = sight_lines(eyes, points, ball, places, configuration=np.array([1, 0, 1]))
    assert told.blocked.tolist() == [False, True, False]
