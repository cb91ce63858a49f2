"""STL and OBJ meshes: three ways to write one solid, and every refusal."""

import struct

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.files.meshes import Triangles, convex, read_mesh
from armcarry.geometry.shapes import ConvexMesh, volume_m3

ONE = np.ones(3)


def ball(count: int = 60, seed: int = 3) -> ConvexMesh:
    """The hull of random points on the unit sphere."""
    points = np.random.default_rng(seed).normal(size=(count, 3))
    return ConvexMesh.hull_of(points / np.linalg.norm(points, axis=1, keepdims=True))


def obj_text(mesh) -> str:
    vertices = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices_m.tolist())
    return vertices + "".join(f"f {a + 1}/1/1 {b + 1}//2 {c + 1}\n" for a, b, c in mesh.faces.tolist())


def stl_bytes(corners) -> bytes:
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *triangle.ravel(), 0) for triangle in corners.astype(np.float32))
    return b"solid, facet: binary all the same".ljust(80) + struct.pack("<I", len(corners)) + body


def stl_text(corners) -> str:
    facets = "".join(
        "facet normal 0 0 0\n outer loop\n"
        + "".join(f"  vertex {x!r} {y!r} {z!r}\n" for x, y, z in triangle.tolist())
        + " endloop\nendfacet\n"
        for triangle in corners
    )
    return f"solid one\n{facets}endsolid one\n"


def test_obj_and_both_kinds_of_stl_give_one_solid(tmp_path):
    mesh = ball()
    corners = mesh.vertices_m[mesh.faces]
    (tmp_path / "a.obj").write_text(obj_text(mesh))
    (tmp_path / "b.stl").write_bytes(stl_bytes(corners))
    (tmp_path / "c.STL").write_text(stl_text(corners))
    for name, tolerance in (("a.obj", 1e-14), ("b.stl", 1e-6), ("c.STL", 1e-14)):
        triangles, content = read_mesh(tmp_path / name)
        assert content == (tmp_path / name).read_bytes()
        assert len(triangles.vertices) == 60
        hull = convex(triangles, ONE, tmp_path / name)
        assert len(hull.vertices_m) == 60
        assert volume_m3(hull) == pytest.approx(volume_m3(mesh), rel=tolerance)
        assert triangles.volume == pytest.approx(volume_m3(mesh), rel=tolerance)


def test_another_reader_reads_the_same(tmp_path):
    trimesh = pytest.importorskip("trimesh")
    mesh = ball(200)
    (tmp_path / "a.stl").write_bytes(stl_bytes(mesh.vertices_m[mesh.faces]))
    other = trimesh.load(tmp_path / "a.stl")
    ours, _ = read_mesh(tmp_path / "a.stl")
    assert ours.volume == pytest.approx(other.volume, rel=1e-12)
    assert len(ours.vertices) == len(other.vertices)
    assert other.is_watertight


def test_the_scale_is_metres_a_unit(tmp_path):
    mesh = ball()
    (tmp_path / "a.obj").write_text(obj_text(mesh))
    triangles, _ = read_mesh(tmp_path / "a.obj")
    hull = convex(triangles, np.array([1e-3, 2e-3, 3e-3]), tmp_path / "a.obj")
    assert volume_m3(hull) == pytest.approx(6e-9 * volume_m3(mesh), rel=1e-12)


def test_faces_of_more_corners_and_negative_numbers(tmp_path):
    (tmp_path / "a.obj").write_text(
        "mtllib x\nv 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0.5 0.5 1\n"
        "# base\nf -2 -3 -4 -5\nf 1 2 5\nf 2 3 5\nf 3 4 5\nf 4 1 5\n"
    )
    triangles, _ = read_mesh(tmp_path / "a.obj")
    assert triangles.volume == pytest.approx(1 / 3, rel=1e-14)
    assert len(convex(triangles, ONE, tmp_path / "a.obj").vertices_m) == 5


def _refused(path, message):
    with pytest.raises(InputError) as caught:
        convex(read_mesh(path)[0], ONE, path)
    assert message in str(caught.value)


def test_a_mesh_that_is_not_convex_is_refused_with_how_much(tmp_path):
    # a cube of 1 m whose top is pushed in by 0.3 m at its middle: 1/3 * 1 * 0.3 = 0.1 of the hull is missing
    text = (
        "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\nv 0.5 0.5 0.7\n"
        "f 4 3 2 1\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\nf 5 6 9\nf 6 7 9\nf 7 8 9\nf 8 5 9\n"
    )
    path = tmp_path / "a.obj"
    path.write_text(text)
    _refused(
        path,
        "a.obj: the mesh is not convex: its hull holds 10 % more, a vertex lies 0.3 m inside; accepted: convex pieces",
    )
    path.write_text(text.replace("0.5 0.5 0.7", "0.5 0.5 1.0"))
    assert volume_m3(convex(read_mesh(path)[0], ONE, path)) == pytest.approx(1.0, rel=1e-12)


def test_two_solids_in_one_mesh_are_not_convex(tmp_path):
    mesh = ball(20)
    text = obj_text(mesh) + "".join(f"v {x + 5!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices_m.tolist())
    text += "".join(f"f {a + 21} {b + 21} {c + 21}\n" for a, b, c in mesh.faces.tolist())
    (tmp_path / "a.obj").write_text(text)
    _refused(tmp_path / "a.obj", "the mesh is not convex")


def test_open_inside_out_flat_and_empty_meshes_are_refused(tmp_path):
    mesh, path = ball(20), tmp_path / "a.obj"
    path.write_text(obj_text(ConvexMesh(mesh.vertices_m, mesh.faces[1:])))
    _refused(path, "the mesh is not closed; accepted: a surface in which each edge joins two faces")
    path.write_text(obj_text(ConvexMesh(mesh.vertices_m, mesh.faces[:, ::-1])))
    _refused(path, "the mesh is inside out; accepted: faces with corners counter-clockwise from outside")
    one_turned = mesh.faces.copy()
    one_turned[0] = one_turned[0][::-1]
    path.write_text(obj_text(ConvexMesh(mesh.vertices_m, one_turned)))
    _refused(path, "the mesh is not closed")
    path.write_text(obj_text(ConvexMesh(mesh.vertices_m * [1, 1, 0], mesh.faces)))
    _refused(path, "the mesh is flat or empty; accepted: a closed convex surface")
    path.write_text("")
    _refused(path, "the mesh is flat or empty")
    path.write_text("v 1 1 1\n" * 9)
    _refused(path, "the mesh is flat or empty")


BAD_FILES = [
    ("a.dae", b"x", "a mesh of a kind that is not read; found '.dae'; accepted: .stl, .obj"),
    ("a.stl", b"x", "not an STL file: shorter than its header"),
    ("a.stl", b"\0" * 80 + b"\2\0\0\0" + b"\0" * 50, "not an STL file: 2 triangles need 184 bytes; found '134 bytes'"),
    ("a.stl", b"\0" * 80 + b"\xff\xff\xff\xff", "not an STL file: 4294967295 triangles need 214748364834 bytes"),
    (
        "a.stl",
        b"\0" * 80 + b"\1\0\0\0" + b"\xff" * 50,
        "coordinates that are not finite or too large; accepted: finite numbers",
    ),
    ("a.stl", b"solid\nfacet\nvertex 1 2\n", "a.stl:3: not a point; found '1 2'; accepted: 3 finite numbers"),
    ("a.stl", b"solid\nfacet\nvertex 1 2 nan\n", "a.stl:3: not a point; found '1 2 nan'"),
    ("a.stl", b"solid\nfacet\nvertix 1 2 3\n", "a.stl:3: not an STL line; found 'vertix 1 2 3'"),
    (
        "a.stl",
        b"solid\nfacet\nouter loop\nvertex 1 2 3\nendloop\n",
        "a.stl:5: a facet that is not a triangle; found '1 corners'",
    ),
    ("a.stl", b"solid\nfacet\nouter loop\nvertex 1 2 3\n", "a.stl: the file ends within a triangle"),
    ("a.obj", b"v 1 2 x\n", "a.obj:1: not a point; found '1 2 x'; accepted: 3 finite numbers"),
    ("a.obj", b"v 1 2 3\nf 1 1\n", "a.obj:2: a face with fewer than three corners"),
    ("a.obj", b"v 1 2 3\nf 1 2 1\n", "a.obj:2: a face names a vertex that does not stand before it; found '2'"),
    ("a.obj", b"v 1 2 3\nf 1 0 1\n", "a.obj:2: a face names a vertex that does not stand before it; found '0'"),
    ("a.obj", b"v 1 2 3\nf 1 -2 1\n", "a.obj:2: a face names a vertex that does not stand before it; found '-2'"),
    ("a.obj", b"v 1 2 3\nf 1 x 1\n", "a.obj:2: a face names a vertex that does not stand before it; found 'x'"),
]


@pytest.mark.parametrize(("name", "content", "message"), BAD_FILES, ids=[message[:50] for _, _, message in BAD_FILES])
def test_damaged_files_are_refused(tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_mesh(tmp_path / name)
    assert message in str(caught.value)


def test_too_many_triangles_are_refused(tmp_path):
    (tmp_path / "a.obj").write_text(obj_text(ball(20)))
    with pytest.raises(InputError, match="too many triangles; found 11; accepted: at most 10"):
        read_mesh(tmp_path / "a.obj", 10)


def test_volume_of_a_tetrahedron():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    assert Triangles(vertices, faces).volume == pytest.approx(1 / 6, rel=1e-15)
    assert Triangles(vertices, faces[:, ::-1]).volume == pytest.approx(-1 / 6, rel=1e-15)
