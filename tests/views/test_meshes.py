import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere, volume_m3
from armcarry.views.meshes import joined, triangles

_TENT = ConvexMesh.hull_of(np.array([[0, 0, 0], [2, 0, 0], [0, 3, 0], [0, 0, 1], [2, 3, 1.0], [1, 1, 0.1]]))
SHAPES = [Sphere(0.4), Capsule(0.2, 1.5), Box((0.3, 1.2, 2.0)), Cylinder(0.5, 0.8), _TENT]


def enclosed_m3(surface):
    a, b, c = (surface.vertices_m[surface.faces[:, k]] for k in range(3))
    return np.einsum("ij,ij->", a, np.cross(b, c)) / 6


def welded_edges(surface):
    """Directed edges between distinct places, as a multiset."""
    _, place = np.unique(surface.vertices_m.round(9), axis=0, return_inverse=True)
    faces = place[surface.faces]
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return sorted(map(tuple, edges.tolist()))


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
@pytest.mark.parametrize("sides", [8, 24, 96])
def test_the_surface_is_closed_and_turns_outward(shape, sides):
    surface = triangles(shape, sides)
    edges = welded_edges(surface)
    assert len(set(edges)) == len(edges)
    assert sorted((b, a) for a, b in edges) == edges
    corners = surface.vertices_m[surface.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.all(np.einsum("ij,ikj->ik", across, surface.normals[surface.faces]) > 0)
    assert np.allclose(np.linalg.norm(surface.normals, axis=1), 1.0)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
def test_the_volume_approaches_that_of_the_shape_from_inside(shape):
    coarse, fine = enclosed_m3(triangles(shape, 24)), enclosed_m3(triangles(shape, 192))
    true = volume_m3(shape)
    assert coarse <= fine * (1 + 1e-12) <= true * (1 + 2e-12)
    assert fine == pytest.approx(true, rel=1e-3)


def test_vertices_lie_on_the_surface():
    capsule = triangles(Capsule(0.2, 1.5))
    nearest = np.clip(capsule.vertices_m[:, 2], -0.75, 0.75)
    assert np.allclose(np.hypot(np.hypot(*capsule.vertices_m[:, :2].T), capsule.vertices_m[:, 2] - nearest), 0.2)
    assert np.allclose(np.abs(triangles(Box((1, 2, 3))).vertices_m), [0.5, 1.0, 1.5])


def test_joining_moves_vertices_and_turns_normals():
    place = poses.from_xyz_rpy((1, 2, 3), (0.3, -0.4, 0.5))
    both = joined([(triangles(Box((1, 1, 1))), poses.identity()), (triangles(Cylinder(0.5, 2.0)), place)])
    assert enclosed_m3(both) == pytest.approx(1 + enclosed_m3(triangles(Cylinder(0.5, 2.0))))
    assert np.all(both.faces < len(both.vertices_m))
    lid = poses.apply(place, np.array([0, 0, 1.0])) - place[:3, 3]
    assert np.allclose(both.normals[-1], lid)
