"""Triangles of convex shapes, for everything that draws: pictures, glTF, the page and the player.

Curved shapes are drawn with vertices on their surface, so the drawn body lies inside the true one by at
most ``radius * (1 - cos(pi / sides))``: 2 mm on a radius of 0.2 m with 24 sides. Distances shown to people
never come from these triangles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere, bounding_radius_m


@dataclass(frozen=True, eq=False)
class Triangles:
    """A closed surface.

    Attributes:
        vertices_m: (n, 3); a vertex on a sharp edge stands once for each face that meets there.
        faces: (m, 3) rows of vertices, counter-clockwise seen from outside.
        normals: (n, 3) outward unit normals.
    """

    vertices_m: Array
    faces: NDArray[np.int64]
    normals: Array


#: fewest and most corners of a round part
_FEW, _MANY = 6, 24


def sides_within(off_m: float) -> Callable[[Shape], int]:
    """Return what tells how many corners, an even number, keep what is drawn of a round shape this near to it, m.

    A truss has hundreds of thin tubes, and each of their corners costs time in every picture: the thinnest get 6, and
    ends like roofs instead of round ones.
    """

    def sides(shape: Shape) -> int:
        # what is no round shape may be drawn with soft edges
        radius = shape.radius_m if isinstance(shape, Sphere | Capsule | Cylinder) else bounding_radius_m(shape)
        if radius <= off_m:
            return _FEW
        return int(np.clip(2 * np.ceil(np.pi / np.arccos(1 - off_m / radius) / 2), _FEW, _MANY))

    return sides


def triangles(shape: Shape, sides: int = 24) -> Triangles:
    """Return the surface of a shape in its own frame, round parts with so many sides (even, at least 6)."""
    match shape:
        case Sphere(radius):
            return _round(radius, 0.0, sides)
        case Capsule(radius, length):
            return _round(radius, length, sides)
        case Box(size):
            return _box(np.asarray(size, dtype=float))
        case Cylinder(radius, length):
            return _cylinder(radius, length, sides)
        case ConvexMesh(vertices, faces):
            return _flat(vertices[faces])


def joined(parts: list[tuple[Triangles, Array]]) -> Triangles:
    """Return several surfaces as one, each placed by a pose (4, 4)."""
    vertices, faces, normals, count = [], [], [], 0
    for part, pose in parts:
        vertices.append(part.vertices_m @ pose[:3, :3].T + pose[:3, 3])
        normals.append(part.normals @ pose[:3, :3].T)
        faces.append(part.faces + count)
        count += len(part.vertices_m)
    return Triangles(np.concatenate(vertices), np.concatenate(faces), np.concatenate(normals))


def _flat(corners: Array) -> Triangles:
    """Return triangles (m, 3, 3) shaded flat; those without area are left out."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(across, axis=1)
    keep = size > 1e-12
    normals = across[keep] / size[keep, None]
    return Triangles(
        corners[keep].reshape(-1, 3), np.arange(3 * int(keep.sum())).reshape(-1, 3), np.repeat(normals, 3, axis=0)
    )


def _box(size: Array) -> Triangles:
    vertices, normals, faces = np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for side in (1.0, -1.0):
            corners = np.zeros((4, 3))
            corners[:, axis] = side
            corners[:, u] = np.array([-1, 1, 1, -1]) * side  # mirrored with the side, so both turn outward
            corners[:, v] = [-1, -1, 1, 1]
            normal = np.zeros(3)
            normal[axis] = side
            start = len(vertices)
            faces = np.concatenate([faces, [[start, start + 1, start + 2], [start, start + 2, start + 3]]])
            vertices = np.concatenate([vertices, corners * size / 2])
            normals = np.concatenate([normals, np.tile(normal, (4, 1))])
    return Triangles(vertices, faces, normals)


def _ring(sides: int) -> Array:
    """Return unit vectors (sides, 2) around a circle."""
    angle = 2 * np.pi * np.arange(sides) / sides
    return np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _cylinder(radius: float, length: float, sides: int) -> Triangles:
    ring, next_one = _ring(sides), (np.arange(sides) + 1) % sides
    here, half = np.arange(sides), length / 2
    flat = np.zeros((sides, 1))
    low = np.hstack([ring * radius, flat - half])
    high = np.hstack([ring * radius, flat + half])
    outward, up = np.hstack([ring, flat]), np.tile([0.0, 0.0, 1.0], (sides, 1))
    wall = np.concatenate([
        np.stack([here, next_one, next_one + sides], axis=1), np.stack([here, next_one + sides, here + sides], axis=1),
    ])
    fan = np.arange(1, sides - 1)
    first = np.zeros_like(fan)
    lid = np.stack([first, fan, fan + 1], axis=1)
    return Triangles(
        np.concatenate([low, high, low, high]),
        np.concatenate([wall, lid[:, ::-1] + 2 * sides, lid + 3 * sides]),
        np.concatenate([outward, outward, -up, up]),
    )


def _round(radius: float, length: float, sides: int) -> Triangles:
    """Return a capsule about z, a ball where the length is 0: poles, and rings of latitude between them."""
    # a ball needs two rings above its middle, or it would be no more than two cones
    ring, quarter = _ring(sides), max(sides // 4, 2 if length == 0.0 else 1)
    up = np.linspace(0.0, np.pi / 2, quarter + 1)[:-1]  # latitudes of the upper half, equator first, no pole
    latitudes = np.concatenate([-up[::-1], up])  # the equator stands twice: at either end of the straight part
    shift = np.concatenate([np.full(quarter, -length / 2), np.full(quarter, length / 2)])
    if length == 0.0:
        latitudes, shift = np.delete(latitudes, quarter), np.delete(shift, quarter)
    directions = np.concatenate(
        [np.hstack([ring * np.cos(a), np.full((sides, 1), np.sin(a))]) for a in latitudes]
        + [np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])]
    )
    lift = np.concatenate([np.repeat(shift, sides), [-length / 2, length / 2]])
    vertices = directions * radius
    vertices[:, 2] += lift
    return Triangles(vertices, _belts(len(latitudes), sides), directions)


def _belts(rings: int, sides: int) -> NDArray[np.int64]:
    """Return faces between rings of latitude, and to the two poles that follow them."""
    here, next_one = np.arange(sides), (np.arange(sides) + 1) % sides
    south, north = rings * sides, rings * sides + 1
    faces = [np.stack([next_one, here, np.full(sides, south)], axis=1)]
    for k in range(rings - 1):
        a, b = here + k * sides, next_one + k * sides
        faces += [np.stack([a, b, b + sides], axis=1), np.stack([a, b + sides, a + sides], axis=1)]
    top = (rings - 1) * sides
    faces.append(np.stack([here + top, next_one + top, np.full(sides, north)], axis=1))
    return np.concatenate(faces)
