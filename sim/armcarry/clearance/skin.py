"""Small triangles on the surface of convex shapes, with how far the true surface bulges over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere


@dataclass(frozen=True, eq=False)
class Skin:
    """Triangles on a surface, vertices on it.

    Attributes:
        vertices_m: (V, 3) in the shape's frame.
        faces: (F, 3).
        bulge_m: the surface is nowhere farther than this from the triangles.
    """

    vertices_m: Array
    faces: np.ndarray
    bulge_m: float


def skin(shape: Shape, edge_m: float, divide_m: float | None = None) -> Skin:
    """Cover the surface of a shape with triangles.

    Args:
        shape: what to cover.
        edge_m: round parts are cut into steps of at most this.
        divide_m: no edge is longer; ``edge_m`` by default.
    """
    bulge = 0.0
    match shape:
        case Box(size):
            corners = np.stack(np.meshgrid((-0.5, 0.5), (-0.5, 0.5), (-0.5, 0.5), indexing="ij"), axis=-1)
            mesh = ConvexMesh.hull_of(corners.reshape(-1, 3))
            vertices, faces = mesh.vertices_m * np.asarray(size), mesh.faces
        case ConvexMesh(vertices, faces):
            pass
        case Sphere(radius):
            vertices, faces, bulge = _turned(_arc(radius, 0.0, edge_m), radius, edge_m, round_ends=True)
        case Capsule(radius, length):
            vertices, faces, bulge = _turned(_arc(radius, length, edge_m), radius, edge_m, round_ends=True)
        case Cylinder(radius, length):
            profile = np.array([[0.0, -length / 2], [radius, -length / 2], [radius, length / 2], [0.0, length / 2]])
            vertices, faces, bulge = _turned(profile, radius, edge_m, round_ends=False)
    small, _ = halved(np.asarray(vertices, dtype=float)[np.asarray(faces)], divide_m or edge_m)
    return Skin(*merged(small), bulge)


def _steps(radius: float, edge_m: float) -> int:
    return max(8, int(np.ceil(2 * np.pi * radius / edge_m)))


def _arc(radius: float, length: float, edge_m: float) -> Array:
    """Return the profile (n, 2) of a capsule, radius and height, from the lower to the upper pole."""
    angle = np.linspace(-np.pi / 2, 0.0, max(3, _steps(radius, edge_m) // 4 + 1))
    low = np.stack([radius * np.cos(angle), radius * np.sin(angle) - length / 2], axis=1)
    low[0, 0] = 0.0
    high = low[::-1] * np.array([1.0, -1.0])
    return np.concatenate([low, high]) if length > 0.0 else np.concatenate([low, high[1:]])


def _turned(profile: Array, radius: float, edge_m: float, *, round_ends: bool) -> tuple[Array, np.ndarray, float]:
    """Turn a profile about z; also return how far the true surface bulges over the triangles."""
    steps = _steps(radius, edge_m)
    angle = np.linspace(0.0, 2 * np.pi, steps, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    vertices = np.concatenate(
        [np.column_stack([ring * r, np.full(steps, z)]) for r, z in profile]
    )  # poles stand once a step
    row, k = np.meshgrid(np.arange(len(profile) - 1), np.arange(steps), indexing="ij")
    a, b = row * steps + k, row * steps + (k + 1) % steps
    lower = np.stack([a, b, b + steps], axis=-1)[profile[:-1, 0] > 0.0]
    upper = np.stack([a, b + steps, a + steps], axis=-1)[profile[1:, 0] > 0.0]
    faces = np.concatenate([lower.reshape(-1, 3), upper.reshape(-1, 3)])
    around = radius * (1.0 - np.cos(np.pi / steps))
    along = radius * (1.0 - np.cos(np.pi / 4 / (max(3, steps // 4 + 1) - 1))) if round_ends else 0.0
    return vertices, faces, around + along


def halved(corners: Array, edge_m: float) -> tuple[Array, np.ndarray]:
    """Halve triangles (F, 3, 3) at their longest edge until no edge is longer than edge_m.

    Returns:
        The triangles (F', 3, 3), and the row (F',) of the triangle each comes from, in order.
    """
    done, origins = [], []
    origin = np.arange(len(corners))
    while len(corners):
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        longest = edges.argmax(axis=1)
        long = edges.max(axis=1) > edge_m
        done.append(corners[~long])
        origins.append(origin[~long])
        turned = np.stack([corners[long][np.arange(long.sum()), (longest[long] + k) % 3] for k in range(3)], axis=1)
        middle = (turned[:, 0] + turned[:, 1]) / 2
        first, second, third = turned[:, 0], turned[:, 1], turned[:, 2]
        halves = [np.stack([first, middle, third], axis=1), np.stack([middle, second, third], axis=1)]
        corners, origin = np.concatenate(halves), np.tile(origin[long], 2)
    if not done:
        return corners, origin
    every, source = np.concatenate(done), np.concatenate(origins)
    order = np.argsort(source, kind="stable")
    return every[order], source[order]


def merged(corners: Array) -> tuple[Array, np.ndarray]:
    """Return vertices (V, 3) and faces (F, 3) of triangles (F, 3, 3), equal corners once."""
    unique, back = np.unique(corners.reshape(-1, 3).round(9), axis=0, return_inverse=True)
    return unique, back.reshape(-1, 3)
