"""Meshes drawn by their structure: convex solids as they should be, the same with harm, and soups of triangles."""

import struct

import numpy as np
import pytest
from hypothesis import strategies as st

#: corners and outward faces of solids
TETRAHEDRON = ([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)])
OCTAHEDRON = (
    [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)],
    [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)],
)
ODD = st.sampled_from([0.0, -0.0, 1.0, -1.0, 1e-300, 1e-12, 1e-6, 1e9, 1e10, 1e30, 1e300, float("nan"), float("inf")])
PLAIN = st.integers(-2000, 2000).map(lambda number: number / 1000)


def _box():
    corners = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return corners, [face for a, b, c, d in quads for face in ((a, b, c), (a, c, d))]


SOLIDS = (TETRAHEDRON, OCTAHEDRON, _box())


@st.composite
def solids(draw):
    """Draw vertices and faces of a convex solid, stretched, turned and moved, with its volume."""
    corners, faces = draw(st.sampled_from(SOLIDS))
    size = [draw(st.integers(1, 3000)) / 1000 for _ in range(3)]
    turn = np.linalg.qr(np.array([draw(PLAIN) for _ in range(9)]).reshape(3, 3) + 3 * np.eye(3))[0]
    turn[:, 0] *= np.sign(np.linalg.det(turn))  # no mirror
    at = [draw(PLAIN) for _ in range(3)]
    vertices = np.array(corners, dtype=float) * size @ turn.T + at
    order = draw(st.permutations(range(len(corners))))
    renumber = np.argsort(order)
    whole = 1 / 6 if len(corners) == 4 else 4 / 3 if len(corners) == 6 else 1.0
    faces = [tuple(int(renumber[k]) for k in face) for face in faces]
    return vertices[list(order)], faces, whole * float(np.prod(size))


@st.composite
def harmed(draw):
    """Draw a solid that is inside out, open, flat, dented, doubled, or has numbers that mean nothing."""
    vertices, faces, _ = draw(solids())
    vertices, faces = vertices.copy(), list(faces)
    at = draw(st.integers(0, len(faces) - 1))
    match draw(st.integers(0, 9)):
        case 0:
            faces = [face[::-1] for face in faces]
        case 1:
            faces[at] = faces[at][::-1]
        case 2:
            del faces[at]
        case 3:
            faces.append(faces[at])
        case 4:
            vertices[:, draw(st.integers(0, 2))] = draw(PLAIN)
        case 5:  # a dent, deep or as thin as the tolerance
            inward = vertices.mean(axis=0) - vertices[0]
            vertices[0] += inward * draw(st.sampled_from([1.0, 0.5, 1.5, 1e-3, 1e-6, 1e-8]))
        case 6:
            vertices[draw(st.integers(0, len(vertices) - 1)), draw(st.integers(0, 2))] = draw(ODD)
        case 7:
            vertices *= draw(ODD)
        case 8:
            vertices = vertices[:1].repeat(len(vertices), axis=0)
        case 9:  # two solids in one
            faces += [tuple(k + len(vertices) for k in face) for face in faces]
            vertices = np.concatenate([vertices, vertices + draw(PLAIN)])
    return vertices, faces, None


@st.composite
def soups(draw):
    numbers = st.one_of(PLAIN, st.sampled_from([0.0, 1.0, 0.5]), ODD)
    count = draw(st.integers(0, 8))
    vertices = np.array([draw(numbers) for _ in range(3 * count)]).reshape(-1, 3)
    corner = st.integers(-2 if draw(st.integers(0, 9)) == 0 else 0, count)
    faces = draw(st.lists(st.tuples(corner, corner, corner), max_size=14)) if count else []
    return vertices, [face for face in faces if draw(st.integers(0, 9)) == 0 or max(face) < count], None


def _obj(draw, vertices, faces):
    end = draw(st.sampled_from(["\n", "\r\n", "\n\n", " \n", " # x\n"]))
    form = draw(st.sampled_from(["{0}", "{0}/{0}", "{0}//{0}", "{0}/1/1", "-{1}"]))
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    lines += ["f " + " ".join(form.format(k + 1, len(vertices) - k) for k in face) for face in faces]
    extra = st.sampled_from(["", "vn 0 0 1", "g a", "usemtl x", "l 1 2", "# é"])
    return (end.join([draw(extra), *lines, draw(extra)]) + end).encode()


def _text_stl(draw, vertices, faces):
    end = draw(st.sampled_from(["\n", "\r\n", "\n\n"]))
    corner = lambda k: " ".join(map(repr, vertices[k].tolist()))  # noqa: E731
    lines = ["solid a"]
    for face in faces:
        lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {corner(k)}" for k in face), "endloop", "endfacet"]
    return end.join([*lines, "endsolid a", ""]).encode()


def _binary_stl(draw, vertices, faces):
    with np.errstate(over="ignore"):
        corners = np.asarray(vertices, dtype="<f4")
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *corners[list(face)].ravel().tolist(), 0) for face in faces)
    count = len(faces) if draw(st.integers(0, 19)) else draw(st.integers(0, 2**32 - 1))
    return draw(st.sampled_from([b"", b"solid", b"solid facet"])).ljust(80) + struct.pack("<I", count) + body


WRITERS = {"a.obj": _obj, "a_text.stl": _text_stl, "a.stl": _binary_stl}


@st.composite
def files(draw, meshes):
    """Draw a mesh and the content of a file that holds it."""
    vertices, faces, volume = draw(meshes)
    name = draw(st.sampled_from(sorted(WRITERS)))
    if name != "a.obj":  # its corners stand in the file themselves
        faces = [face for face in faces if all(0 <= k < len(vertices) for k in face)]
    return name, WRITERS[name](draw, vertices, faces), vertices, volume


def _feed(kit, watch, folder, meshes, record_property):
    from armcarry.files.meshes import Triangles, convex, read_mesh

    for name in WRITERS:
        (folder / name).write_bytes(b"")

    def feed(drawn):
        name, content, vertices, volume = drawn
        path = folder / name
        path.write_bytes(content)
        hulls = []

        def read(path):
            hulls.append(convex(read_mesh(path)[0], np.ones(3), path))

        accepted = kit.read_fairly(watch, folder, path, read)
        path.write_bytes(b"")
        for hull in hulls:
            inside = Triangles(hull.vertices_m, hull.faces).volume
            assert np.all(np.isfinite(hull.vertices_m)) and inside > 0
            used = vertices.astype(np.float32).astype(float) if name == "a.stl" else vertices
            if name == "a.obj":  # all corners, also those no face uses
                _holds(hull, used)
            if volume is not None:
                assert inside == pytest.approx(volume, rel=1e-3)
        # a binary STL has numbers of seven digits, which dent a solid, and now and then a count drawn at random
        assert accepted or volume is None or name == "a.stl"
        return accepted

    before = kit.listing(folder.parent, but=None)
    counts = kit.feed_drawn(files(meshes), feed, max(30, kit.COUNT), record_property)
    assert kit.listing(folder.parent, but=None) == before
    return counts


def _holds(hull, points):
    """Ask that a solid holds all points, to the tolerance of convexity."""
    a, b, c = (hull.vertices_m[hull.faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    length = np.linalg.norm(normals, axis=1)
    keep = length > 1e-9 * length.max()
    normals = normals[keep] / length[keep, None]
    outside = points @ normals.T - np.einsum("ij,ij->i", normals, a[keep])
    assert outside.max() <= 1e-5 * np.ptp(hull.vertices_m, axis=0).max()


def test_convex_solids_are_read(kit, watch, folder, record_property):
    fed, accepted = _feed(kit, watch, folder, solids(), record_property)
    assert accepted > 0.7 * fed


def test_solids_with_harm(kit, watch, folder, record_property):
    fed, accepted = _feed(kit, watch, folder, harmed(), record_property)
    assert 0 < accepted < 0.3 * fed


def test_soups_of_triangles(kit, watch, folder, record_property):
    fed, accepted = _feed(kit, watch, folder, soups(), record_property)
    assert accepted < 0.1 * fed
