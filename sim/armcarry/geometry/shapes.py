"""Convex shapes: data only, in metres, each centred on its own frame.

Cylinders and capsules lie along z. A capsule's length is that of its axis
segment, so its overall length is ``length_m + 2 * radius_m``. A shape of no size, of a size that is no number, or
larger than 1e6 m is refused where it is made, with InputError.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from armcarry.errors import InputError
from armcarry.geometry import checked
from armcarry.geometry.poses import Array


@dataclass(frozen=True)
class Sphere:
    """A ball of radius_m about the origin; a point where that is 0."""

    radius_m: float

    def __post_init__(self) -> None:
        checked.size_m("radius of a sphere", self.radius_m, zero=True)


@dataclass(frozen=True)
class Capsule:
    """All points within radius_m of the segment z in [-length_m/2, length_m/2].

    Either may be 0: a ball, a segment, a point.
    """

    radius_m: float
    length_m: float

    def __post_init__(self) -> None:
        checked.size_m("radius of a capsule", self.radius_m, zero=True)
        checked.size_m("length of a capsule", self.length_m, zero=True)


@dataclass(frozen=True)
class Box:
    """A box with full edge lengths size_m = (x, y, z)."""

    size_m: tuple[float, float, float]

    def __post_init__(self) -> None:
        x, y, z = checked.vectors("sides of a box", self.size_m, (3,)).tolist()
        for side in (x, y, z):
            checked.size_m("side of a box", side)
        object.__setattr__(self, "size_m", (x, y, z))  # whatever sequence it was


@dataclass(frozen=True)
class Cylinder:
    """A solid cylinder of radius_m, z in [-length_m/2, length_m/2]."""

    radius_m: float
    length_m: float

    def __post_init__(self) -> None:
        checked.size_m("radius of a cylinder", self.radius_m)
        checked.size_m("length of a cylinder", self.length_m)


@dataclass(frozen=True, eq=False)
class ConvexMesh:
    """The convex hull of vertices_m (n, 3); only hull vertices are kept, faces are outward (f, 3)."""

    vertices_m: Array
    faces: np.ndarray = field(default_factory=lambda: np.zeros((0, 3), dtype=np.int64))

    def __post_init__(self) -> None:
        vertices = checked.vectors("vertices of a mesh", self.vertices_m, (None, 3))
        if len(vertices) < 4:
            raise InputError("a mesh needs vertices that span a solid", found=f"{len(vertices)}", accepted="4 or more")
        object.__setattr__(self, "vertices_m", vertices)

    @staticmethod
    def hull_of(points_m: Array) -> ConvexMesh:
        """Build the convex hull of points_m (n, 3), n >= 4 and not flat.

        Raises:
            InputError: the points are flat, too few or not finite.
        """
        from scipy.spatial import ConvexHull, QhullError

        points = checked.vectors("points of a hull", points_m, (None, 3))
        try:
            hull = ConvexHull(points)
        except (QhullError, ValueError) as error:  # ValueError: no points at all
            accepted = "4 or more, not in a plane"
            raise InputError("points are flat or too few to span a solid", accepted=accepted) from error
        renumber = np.full(len(points), -1)
        renumber[hull.vertices] = np.arange(len(hull.vertices))
        faces = renumber[hull.simplices]
        vertices = points[hull.vertices]
        corners = vertices[faces]
        outward = np.einsum(
            "ij,ij->i", np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]),
            hull.equations[:, :3],
        )
        faces[outward < 0] = faces[outward < 0][:, ::-1]
        return ConvexMesh(vertices, faces)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ConvexMesh) and np.array_equal(self.vertices_m, other.vertices_m)

    def __hash__(self) -> int:
        return hash(self.vertices_m.tobytes())


SHAPES = (Sphere, Capsule, Box, Cylinder, ConvexMesh)
Shape: TypeAlias = Sphere | Capsule | Box | Cylinder | ConvexMesh


def bounding_radius_m(shape: Shape) -> float:
    """Return the radius of the smallest origin-centred ball that holds the shape."""
    match shape:
        case Sphere(radius):
            return radius
        case Capsule(radius, length):
            return radius + length / 2
        case Box(size):
            return math.hypot(*size) / 2  # asked of every body, very often
        case Cylinder(radius, length):
            return math.hypot(radius, length / 2)
        case ConvexMesh(vertices):
            return float(np.max(np.linalg.norm(vertices, axis=1)))


def half_extents_m(shape: Shape) -> tuple[Array, Array]:
    """Return the lower and upper corner (3,), (3,) of the shape's axis-aligned box in its own frame."""
    match shape:
        case Sphere(radius):
            upper = np.full(3, radius)
        case Capsule(radius, length):
            upper = np.array([radius, radius, radius + length / 2])
        case Box(size):
            upper = np.asarray(size, dtype=float) / 2
        case Cylinder(radius, length):
            upper = np.array([radius, radius, length / 2])
        case ConvexMesh(vertices):
            return vertices.min(axis=0), vertices.max(axis=0)
    return -upper, upper


def volume_m3(shape: Shape) -> float:
    """Return the enclosed volume in cubic metres."""
    match shape:
        case Sphere(radius):
            return 4 / 3 * np.pi * radius**3
        case Capsule(radius, length):
            return np.pi * radius**2 * (length + 4 / 3 * radius)
        case Box(size):
            return float(np.prod(size))
        case Cylinder(radius, length):
            return np.pi * radius**2 * length
        case ConvexMesh(vertices, faces):
            a, b, c = (vertices[faces[:, k]] for k in range(3))
            return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
