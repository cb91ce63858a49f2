"""Convex pieces contain the mesh they stand for, and the stated error is no less than the true one."""

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.files.meshes import Triangles
from armcarry.files.pieces import _Work, clip, convex_pieces, winding
from armcarry.files.samples import COVER, sampled
from armcarry.geometry.shapes import ConvexMesh

#: surfaces are sampled as for so many triangles: what is bounded holds at any step, and fewer samples take less time
COARSE = 25_000


def box(low, high):
    corners = np.array([[(low, high)[(k >> i) & 1][i] for i in range(3)] for k in range(8)], dtype=float)
    hull = ConvexMesh.hull_of(corners)
    return hull.vertices_m, hull.faces


def ell():
    """An L of three boxes of 1 m, one surface without inner walls: the hull of its profile, pulled up by 1 m."""
    profile = np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]], dtype=float)
    vertices = np.array([[*p, z] for z in (0.0, 1.0) for p in profile])
    flat = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [(a, c, b) for a, b, c in flat] + [(a + 6, b + 6, c + 6) for a, b, c in flat]
    for k in range(6):
        j = (k + 1) % 6
        faces += [(k, j, j + 6), (k, j + 6, k + 6)]
    return Triangles(vertices, np.array(faces))


def ring(outer=1.0, inner=0.6, sides=24):
    """A square-edged ring round z: not convex, a hole through it."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    profile = [(inner, -0.2), (outer, -0.2), (outer, 0.2), (inner, 0.2)]
    vertices = np.array([[*(r * c), z] for c in circle for r, z in profile])
    faces = []
    for k in range(sides):
        j = (k + 1) % sides
        for m in range(4):
            n = (m + 1) % 4
            faces += [(4 * k + m, 4 * j + m, 4 * j + n), (4 * k + m, 4 * j + n, 4 * k + n)]
    mesh = Triangles(vertices, np.array(faces))
    return mesh if mesh.volume > 0 else Triangles(vertices, mesh.faces[:, ::-1])


def depth(shape, points):
    """How deep points lie inside a hull (negative outside, m)."""
    corners = shape.vertices_m[shape.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return (np.einsum("ij,ij->i", normals, corners[:, 0]) - points @ normals.T).min(axis=1)


def inside_points(mesh, rng, count=1500):
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    points = rng.uniform(low, high, (count, 3))
    solid = points[winding(points, mesh.vertices[mesh.faces]) > 0.5]
    weights = rng.dirichlet((1, 1, 1), (len(mesh.faces), 12))
    return np.concatenate([solid, np.einsum("fkw,fwi->fki", weights, mesh.vertices[mesh.faces]).reshape(-1, 3)])


@pytest.mark.parametrize("mesh", [ell(), ring()], ids=["ell", "ring"])
@pytest.mark.parametrize("most", [1, 3, 12])
def test_the_pieces_contain_surface_and_solid(mesh, most):
    pieces = convex_pieces(mesh, True, tolerance_m=0.05, most=most, most_triangles=COARSE)
    assert 1 <= len(pieces.shapes) <= most
    points = inside_points(mesh, np.random.default_rng(most))
    deepest = np.max([depth(shape, points) for shape in pieces.shapes], axis=0)
    assert deepest.min() >= -1e-9


@pytest.mark.parametrize("mesh", [ell(), ring()], ids=["ell", "ring"])
@pytest.mark.parametrize("most", [1, 12])
def test_the_stated_error_bounds_how_far_pieces_stick_out(mesh, most):
    trimesh = pytest.importorskip("trimesh")
    pieces = convex_pieces(mesh, True, tolerance_m=0.02, most=most, most_triangles=COARSE)
    ours = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    rng = np.random.default_rng(most)
    for shape in pieces.shapes:
        corners = shape.vertices_m[shape.faces]
        points = np.einsum("fkw,fwi->fki", rng.dirichlet((1, 1, 1), (len(corners), 12)), corners).reshape(-1, 3)
        outside = winding(points, mesh.vertices[mesh.faces]) < 0.5
        nearest = trimesh.triangles.closest_point(
            np.repeat(ours.triangles, 1, axis=0)[None].repeat(len(points), 0).reshape(-1, 3, 3),
            np.repeat(points, len(ours.triangles), axis=0),
        ).reshape(len(points), -1, 3)
        apart = np.linalg.norm(nearest - points[:, None], axis=2).min(axis=1)
        assert apart[outside].max(initial=0.0) <= pieces.error_m


@pytest.mark.parametrize("mesh", [ell(), ring()], ids=["ell", "ring"])
@pytest.mark.parametrize("closed", [True, False], ids=["closed", "open"])
def test_the_error_is_that_of_every_sample_though_most_are_dropped(mesh, closed):
    work = _Work(mesh.vertices[mesh.faces], closed, 4 * COARSE)
    shape = ConvexMesh.hull_of(mesh.vertices)
    points = sampled(shape.vertices_m[shape.faces], work.step)
    apart = work.near.query(points)[0]
    if closed:
        apart = apart[winding(points, work.soup) < 0.5]
    # a middle of a coarser part may lie a little farther out than every sample
    assert apart.max() + COVER * work.step <= work.error(shape) <= apart.max() + 2 * COVER * work.step


def test_an_ell_falls_into_two_boxes_exactly():
    pieces = convex_pieces(ell(), True, tolerance_m=0.05)
    assert len(pieces.shapes) == 2
    assert pieces.share == pytest.approx(1.0, abs=1e-9)
    one = convex_pieces(ell(), True, tolerance_m=0.05, most=1)
    # the hull spans the inner corner by a face whose middle is 0.5 m from either wall
    assert 0.5 <= one.error_m <= 0.52


def test_what_is_convex_stays_one_piece():
    vertices, faces = box(np.zeros(3), np.array([1.0, 2.0, 3.0]))
    pieces = convex_pieces(Triangles(vertices, faces), True, tolerance_m=0.03)
    assert len(pieces.shapes) == 1
    assert pieces.share == pytest.approx(1.0)


def test_an_open_surface_is_contained_and_said_to_be_open():
    mesh = Triangles(ell().vertices, ell().faces[2:])
    pieces = convex_pieces(mesh, False, tolerance_m=0.05, most_triangles=COARSE)
    assert not pieces.closed and np.isnan(pieces.share)
    weights = np.random.default_rng(0).dirichlet((1, 1, 1), (len(mesh.faces), 50))
    points = np.einsum("fkw,fwi->fki", weights, mesh.vertices[mesh.faces]).reshape(-1, 3)
    assert np.max([depth(shape, points) for shape in pieces.shapes], axis=0).min() >= -1e-9


def test_a_flat_surface_gets_a_little_thickness():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float)
    (shape,) = convex_pieces(Triangles(vertices, np.array([[0, 1, 2], [0, 2, 3]])), False).shapes
    assert depth(shape, vertices).min() > 0


def test_a_mesh_without_triangles_is_refused():
    with pytest.raises(InputError, match="the mesh has no triangles"):
        convex_pieces(Triangles(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)), False)


def test_a_cut_loses_no_surface():
    soup = ring().vertices[ring().faces]
    below, above = clip(soup, 0, 0.123)

    def area(part):
        return np.linalg.norm(np.cross(part[:, 1] - part[:, 0], part[:, 2] - part[:, 0]), axis=1).sum() / 2

    assert area(below) + area(above) == pytest.approx(area(soup))
    assert below[:, :, 0].max() <= 0.123 <= above[:, :, 0].min()


def test_the_winding_number_knows_inside_from_outside():
    points = np.array([[0.5, 0.5, 0.5], [1.5, 1.5, 0.5], [1.5, 0.5, 0.5], [-0.1, 0, 0]])
    assert winding(points, ell().vertices[ell().faces]) == pytest.approx([1, 0, 1, 0], abs=1e-9)
