"""Shapes: volume, bounding ball and box against sampling and outside libraries; hulls and what they refuse."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.errors import InputError
from armcarry.geometry.shapes import (
    Box,
    Capsule,
    ConvexMesh,
    Cylinder,
    Sphere,
    bounding_radius_m,
    half_extents_m,
    volume_m3,
)


def _cube(half=1.0):
    return np.array([[x, y, z] for x in (-half, half) for y in (-half, half) for z in (-half, half)])


SHAPES = [
    Sphere(0.7),
    Capsule(0.3, 1.1),
    Box((0.4, 1.0, 2.0)),
    Cylinder(0.5, 1.6),
    ConvexMesh.hull_of(_cube(0.6)),
    ConvexMesh.hull_of(np.random.default_rng(2).normal(size=(40, 3))),
    Capsule(0.5, 1e-9),
    Cylinder(2.0, 0.01),
]


def _inside(shape, points):
    """Membership of points (n, 3), from the words that define each shape."""
    x, y, z = points.T
    match shape:
        case Sphere(radius):
            return np.linalg.norm(points, axis=1) <= radius
        case Capsule(radius, length):
            beyond = np.maximum(np.abs(z) - length / 2, 0.0)
            return np.sqrt(x**2 + y**2 + beyond**2) <= radius
        case Box(size):
            return np.all(np.abs(points) <= np.array(size) / 2, axis=1)
        case Cylinder(radius, length):
            return (np.hypot(x, y) <= radius) & (np.abs(z) <= length / 2)
        case ConvexMesh(vertices, faces):
            corners = vertices[faces]
            normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
            return np.all(points @ normals.T <= np.einsum("ij,ij->i", normals, corners[:, 0]), axis=1)
    raise TypeError(shape)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
def test_volume_ball_and_box_against_sampling(shape):
    lower, upper = half_extents_m(shape)
    size = upper - lower
    count = 400_000
    points = np.random.default_rng(11).uniform(lower - 0.05 * size, upper + 0.05 * size, (count, 3))
    inside = _inside(shape, points)
    share = inside.mean()
    volume = share * np.prod(1.1 * size)
    # five standard errors of a share
    assert volume_m3(shape) == pytest.approx(volume, rel=5 * math.sqrt((1 - share) / share / count))
    held = points[inside]
    assert np.all(held >= lower - 1e-12) and np.all(held <= upper + 1e-12)
    assert np.max(np.linalg.norm(held, axis=1)) <= bounding_radius_m(shape) + 1e-12


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
def test_ball_and_box_touch_the_shape(shape):
    lower, upper = half_extents_m(shape)
    directions = np.concatenate([np.eye(3), -np.eye(3)])
    reach = np.concatenate([upper, -lower])
    far = _support(shape, directions)
    assert np.allclose(np.einsum("ij,ij->i", far, directions), reach, rtol=0, atol=1e-12)
    farthest = max(np.linalg.norm(_support(shape, _sphere(4000)), axis=1))
    assert bounding_radius_m(shape) == pytest.approx(farthest, rel=2e-3)


def _sphere(count):
    """Even directions by the golden angle."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, math.pi * (1 + math.sqrt(5)) * k
    flat = np.sqrt(1 - z**2)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)


def _support(shape, directions):
    """The point of a shape that lies farthest along each direction."""
    sign = np.where(directions[:, 2:] >= 0, 1.0, -1.0) * [0.0, 0.0, 1.0]
    flat = directions[:, :2]
    length = np.linalg.norm(flat, axis=1, keepdims=True)
    flat = np.concatenate([flat / np.where(length > 0, length, 1.0), np.zeros((len(flat), 1))], axis=1)
    match shape:
        case Sphere(radius):
            return directions * radius
        case Capsule(radius, axis):
            return directions * radius + sign * axis / 2
        case Box(size):
            return np.where(directions >= 0, 1.0, -1.0) * np.array(size) / 2
        case Cylinder(radius, axis):
            return flat * radius + sign * axis / 2
        case ConvexMesh(vertices):
            return vertices[np.argmax(directions @ vertices.T, axis=1)]
    raise TypeError(shape)


@pytest.mark.parametrize("shape", SHAPES[:4], ids=lambda shape: type(shape).__name__)
def test_volumes_are_those_of_coal(shape):
    coal = pytest.importorskip("coal")
    other = {
        Sphere: lambda s: coal.Sphere(s.radius_m),
        Capsule: lambda s: coal.Capsule(s.radius_m, s.length_m),
        Box: lambda s: coal.Box(*s.size_m),
        Cylinder: lambda s: coal.Cylinder(s.radius_m, s.length_m),
    }[type(shape)](shape)
    assert volume_m3(shape) == pytest.approx(other.computeVolume(), rel=1e-14)


def test_a_hull_drops_inner_points_and_faces_outwards():
    points = np.concatenate([_cube(), np.random.default_rng(3).uniform(-0.99, 0.99, (200, 3))])
    hull = ConvexMesh.hull_of(points)
    assert len(hull.vertices_m) == 8
    assert len(hull.faces) == 12
    assert volume_m3(hull) == pytest.approx(8.0, rel=1e-14)
    corners = hull.vertices_m[hull.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.all(np.einsum("ij,ij->i", normals, corners.mean(axis=1)) > 0)


@settings(deadline=None, max_examples=20)
@given(st.integers(4, 60), st.integers(0, 10**6), st.floats(1e-3, 1e3))
def test_a_hull_holds_its_points_and_is_closed(count, seed, size):
    points = np.random.default_rng(seed).normal(size=(count, 3)) * size + 10.0
    hull = ConvexMesh.hull_of(points)
    corners = hull.vertices_m[hull.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    outside = points @ normals.T - np.einsum("ij,ij->i", normals, corners[:, 0])
    assert np.max(outside) < 1e-9 * (size + 10)
    # Euler: vertices - edges + faces = 2, each triangle has three half edges
    assert len(hull.vertices_m) - len(hull.faces) * 3 / 2 + len(hull.faces) == 2
    edges = {(int(a), int(b)) for face in hull.faces for a, b in zip(face, np.roll(face, -1), strict=True)}
    assert all((b, a) in edges for a, b in edges)
    assert {tuple(v) for v in hull.vertices_m} <= {tuple(p) for p in points}


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (np.zeros((0, 3)), "points are flat or too few to span a solid"),
        (_cube()[:3], "points are flat or too few to span a solid"),
        (_cube() * [1, 1, 0], "points are flat or too few to span a solid"),
        (np.ones((9, 3)), "points are flat or too few to span a solid"),
        (np.zeros((4, 2)), "points of a hull: not what is accepted; .*any number by 3 numbers of at most 1e"),
        (np.full((5, 3), np.nan), "points of a hull: not what is accepted"),
    ],
    ids=["none", "three", "flat", "one point", "two columns", "nan"],
)
def test_what_has_no_hull(points, words):
    with pytest.raises(InputError, match=words):
        ConvexMesh.hull_of(points)


def test_equal_hulls_are_equal_and_hash_alike():
    first, second = ConvexMesh.hull_of(_cube()), ConvexMesh.hull_of(_cube())
    other = ConvexMesh.hull_of(_cube(2.0))
    assert first == second and hash(first) == hash(second)
    assert first != other
    assert first != "a cube"
