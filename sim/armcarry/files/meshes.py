"""Convex meshes from STL (binary, text) and OBJ files."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from armcarry.errors import InputError
from armcarry.files.yaml_text import read_bytes, shorten
from armcarry.geometry.checked import LARGEST_M
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import ConvexMesh

MAX_BYTES = 50_000_000
MAX_TRIANGLES = 500_000
#: how far a vertex may lie inside the hull, as a share of the mesh's size, and the mesh still counts as convex
CONVEX_TOLERANCE = 1e-6
SUFFIXES = (".stl", ".obj")


@dataclass(frozen=True, eq=False)
class Triangles:
    """A surface: vertices (n, 3) in the file's unit, faces (f, 3) with outward corners counter-clockwise."""

    vertices: Array
    faces: np.ndarray

    @property
    def volume(self) -> float:
        """Enclosed volume, negative when the faces point inwards."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def read_mesh(path: Path, most_triangles: int = MAX_TRIANGLES) -> tuple[Triangles, bytes]:
    """Read an STL or OBJ file; equal vertices become one.

    Raises:
        InputError: not readable, of another kind, damaged, with more triangles than may be read, or with numbers that
            are not finite.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError("a mesh of a kind that is not read", file=path, found=suffix, accepted=", ".join(SUFFIXES))
    content = read_bytes(path, MAX_BYTES, "mesh")
    _check_count(content, suffix, path, most_triangles)
    if suffix == ".obj":
        mesh = _read_obj(content, path, most_triangles)
    elif content[:5].lower() == b"solid" and b"facet" in content[:1000] and not _binary_length(content):
        mesh = _read_text_stl(content, path)
    else:
        mesh = _read_binary_stl(content, path)
    return checked(mesh.vertices, mesh.faces, path, most_triangles), content


def checked(vertices: Array, faces: np.ndarray, path: Path, most_triangles: int = MAX_TRIANGLES) -> Triangles:
    """Return vertices (n, 3) and faces (f, 3) that a reader found as a mesh; equal vertices become one.

    Raises:
        InputError: too many triangles, a face that names no vertex, or numbers that are not finite.
    """
    if len(faces) > most_triangles:
        raise too_many("triangles", len(faces), most_triangles, path)
    if np.any(faces < 0) or np.any(faces >= len(vertices)):
        raise InputError("a face names a vertex that is not there", file=path)
    if not np.all(np.isfinite(vertices)) or np.max(np.abs(vertices), initial=0.0) > 1e9:
        raise InputError("coordinates that are not finite or too large", file=path, accepted="finite numbers")
    return merged(Triangles(vertices, faces))


def too_many(what: str, found: float, most: int, path: Path) -> InputError:
    """Return (not raise) the refusal of more than may be read, with the option that raises the limit."""
    accepted = f"at most {most}; armcarry inspect --most-triangles N reads more of a model from elsewhere"
    return InputError(f"too many {what}", file=path, found=int(found), accepted=accepted)


def _check_count(content: bytes, suffix: str, path: Path, most_triangles: int) -> None:
    """Refuse a file by how often it says vertex, before minutes are spent on reading it."""
    words = b"\nv " if suffix == ".obj" else b"vertex"
    vertices, most = content.count(words), 3 * most_triangles
    if vertices > most and not (suffix == ".stl" and _binary_length(content)):
        raise too_many("vertices", vertices, most, path)


def convex(mesh: Triangles, scale: Array, path: Path) -> ConvexMesh:
    """Return the solid of a closed convex surface.

    Args:
        mesh: the surface in the file's unit.
        scale: metres per unit along x, y, z, all positive.
        path: only named in errors.

    Raises:
        InputError: flat, not closed, inside out, or not convex.
    """
    vertices = mesh.vertices * scale
    if np.any(np.abs(vertices) > LARGEST_M):
        raise InputError("the mesh is too large to be meant", file=path, accepted=f"at most {LARGEST_M:g} m")
    try:
        hull = ConvexMesh.hull_of(vertices)
    except InputError:
        raise InputError("the mesh is flat or empty", file=path, accepted="a closed convex surface") from None
    if not is_closed(mesh.faces):
        raise InputError("the mesh is not closed", file=path, accepted="a surface in which each edge joins two faces")
    volume = Triangles(vertices, mesh.faces).volume
    if volume <= 0:
        accepted = "faces with corners counter-clockwise from outside"
        raise InputError("the mesh is inside out", file=path, accepted=accepted)
    depth_m = _deepest(vertices, hull)
    size = float(np.max(np.ptp(vertices, axis=0)))
    hull_volume = Triangles(hull.vertices_m, hull.faces).volume
    if depth_m > CONVEX_TOLERANCE * size or volume < hull_volume * (1 - 1e-6):
        share = 100 * (1 - volume / hull_volume)
        raise InputError(
            f"the mesh is not convex: its hull holds {share:.2g} % more, a vertex lies {depth_m:.3g} m inside",
            file=path,
            accepted="convex pieces, one mesh a <collision>",
        )
    return hull


def exactly_convex(mesh: Triangles) -> ConvexMesh | None:
    """Return the solid of a closed mesh that is convex to rounding, in the file's unit; None where it is not."""
    try:
        hull = convex(mesh, np.ones(3), Path())
    except InputError:
        return None
    size = float(np.max(np.ptp(mesh.vertices, axis=0)))
    return hull if _deepest(mesh.vertices, hull) <= 1e-9 * size else None


def _deepest(vertices: Array, hull: ConvexMesh) -> float:
    """Return how deep the deepest vertex lies inside the hull, in metres."""
    corners = hull.vertices_m[hull.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    keep = length > 1e-12 * np.max(length)
    normals = normals[keep] / length[keep, None]
    offsets = np.einsum("ij,ij->i", normals, corners[keep, 0])
    deepest = 0.0
    for start in range(0, len(vertices), 2000):
        inside = offsets - vertices[start : start + 2000] @ normals.T
        deepest = max(deepest, float(np.max(np.min(inside, axis=1), initial=0.0)))
    return deepest


def is_closed(faces: np.ndarray) -> bool:
    """Tell whether every directed edge has exactly one edge the other way."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    count = int(faces.max(initial=0)) + 1
    there, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    return len(np.unique(there)) == len(there) and np.array_equal(np.sort(there), np.sort(back))


def merged(mesh: Triangles) -> Triangles:
    """Return the mesh with equal vertices made one and faces of no area left out."""
    vertices, index = np.unique(mesh.vertices + 0.0, axis=0, return_inverse=True)
    faces = index.reshape(-1)[mesh.faces.reshape(-1)].reshape(-1, 3)
    a, b, c = faces.T
    return Triangles(vertices, faces[(a != b) & (b != c) & (c != a)])


def _binary_length(content: bytes) -> bool:
    """Tell whether the length is that of a binary STL, whose header may be any words, "solid" and "facet" too."""
    return len(content) >= 84 and len(content) == 84 + 50 * int(struct.unpack_from("<I", content, 80)[0])


def _read_binary_stl(content: bytes, path: Path) -> Triangles:
    if len(content) < 84:
        raise InputError("not an STL file: shorter than its header", file=path)
    (count,) = struct.unpack_from("<I", content, 80)
    if len(content) != 84 + 50 * count:
        raise InputError(
            f"not an STL file: {count} triangles need {84 + 50 * count} bytes", file=path, found=f"{len(content)} bytes"
        )
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    with np.errstate(invalid="ignore"):  # a signalling NaN; refused with the others that are not finite
        corners = np.frombuffer(content, record, count, 84)["corners"].astype(float).reshape(-1, 3)
    return Triangles(corners, np.arange(3 * count).reshape(-1, 3))


def _read_text_stl(content: bytes, path: Path) -> Triangles:
    corners: list[list[float]] = []
    loop = 0
    for number, line in enumerate(content.decode("latin-1").splitlines(), start=1):
        words = line.split()
        if not words:
            continue
        if words[0] == "vertex":
            corners.append(_floats(words[1:], 3, path, number))
            loop += 1
        elif words[0] == "outer":
            loop = 0
        elif words[0] == "endloop" and loop != 3:
            raise InputError("a facet that is not a triangle", file=path, line=number, found=f"{loop} corners")
        elif words[0] not in ("solid", "facet", "endfacet", "endsolid", "endloop"):
            raise InputError("not an STL line", file=path, line=number, found=shorten(line.strip()))
    if len(corners) % 3:
        raise InputError("the file ends within a triangle", file=path)
    return Triangles(np.array(corners, dtype=float).reshape(-1, 3), np.arange(len(corners)).reshape(-1, 3))


def _read_obj(content: bytes, path: Path, most_triangles: int) -> Triangles:
    vertices: list[list[float]] = []
    faces: list[tuple[int, int, int]] = []
    for number, line in enumerate(content.decode("latin-1").splitlines(), start=1):
        words = line.split("#", 1)[0].split()
        if not words:
            continue
        if words[0] == "v":
            vertices.append(_floats(words[1:4], 3, path, number))
        elif words[0] == "f":
            if len(words) > most_triangles:
                raise too_many("triangles", len(words), most_triangles, path)
            corners = [_corner(word, len(vertices), path, number) for word in words[1:]]
            if len(corners) < 3:
                raise InputError("a face with fewer than three corners", file=path, line=number)
            if len(faces) + len(corners) - 2 > most_triangles:
                raise too_many("triangles", len(faces) + len(corners) - 2, most_triangles, path)
            faces.extend((corners[0], corners[k], corners[k + 1]) for k in range(1, len(corners) - 1))
    return Triangles(np.array(vertices, dtype=float).reshape(-1, 3), np.array(faces, dtype=np.int64).reshape(-1, 3))


def _floats(words: list[str], count: int, path: Path, line: int) -> list[float]:
    try:
        values = [float(word) for word in words]
    except ValueError:
        values = []
    if len(values) != count or not np.all(np.isfinite(values)):
        raise InputError(
            "not a point", file=path, line=line, found=shorten(" ".join(words)), accepted=f"{count} finite numbers"
        )
    return values


def _corner(word: str, count: int, path: Path, line: int) -> int:
    """Return the 0-based vertex of ``7``, ``7/1``, ``7//3`` or ``-1`` (from the end)."""
    try:
        index = int(word.split("/", 1)[0])
    except ValueError:
        index = 0
    index = index - 1 if index > 0 else count + index
    if not 0 <= index < count or word.split("/", 1)[0] in ("0", ""):
        raise InputError(
            "a face names a vertex that does not stand before it", file=path, line=line, found=shorten(word)
        )
    return index
