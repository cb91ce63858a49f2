"""The shell of required clearance: round every part that moves, the surface that structure must stay out of."""

from __future__ import annotations

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere
from armcarry.record.record import Record
from armcarry.scene.rules import required_clearance_m
from armcarry.views.groups import Group, body_kinds
from armcarry.views.meshes import Triangles, joined, triangles
from armcarry.views.viewpoint import directions

#: corners of round parts; the shell is a sign, not a measure, so few are enough
_SIDES = 12
_BALL = 26


def grown(shape: Shape, by_m: float) -> Shape:
    """Return the points within by_m of a shape: exact for balls and capsules, from inside for the others.

    The rounded edges of the others are hulls of points on their surface and lie inside the true one by at
    most an eighth of by_m at the middle of a facet.
    """
    match shape:
        case Sphere(radius):
            return Sphere(radius + by_m)
        case Capsule(radius, length):
            return Capsule(radius + by_m, length)
        case Box(size):
            corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * np.array(size) / 2
        case Cylinder(radius, length):
            turn = 2 * np.pi * np.arange(_SIDES) / _SIDES
            ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * radius
            corners = np.concatenate([np.pad(ring, ((0, 0), (0, 1)), constant_values=end * length / 2)
                                      for end in (-1, 1)])
        case ConvexMesh(vertices):
            corners = vertices
    ball = np.concatenate([directions(_BALL), np.eye(3), -np.eye(3)]) * by_m
    return ConvexMesh.hull_of((corners[:, None] + ball[None]).reshape(-1, 3))


def shells(record: Record, groups: tuple[Group, ...]) -> dict[int, Triangles]:
    """Return by group the shell of its parts in the frame of the group, for what the rules ask against structure.

    Parts that never move, or that no rule keeps off structure, have none. Relaxations for a while are not shown.
    """
    kinds = body_kinds(record)
    rules = record.scene.loaded.rules
    result = {}
    for k, group in enumerate(groups):
        required = [required_clearance_m(rules, kinds[row], "structure") if group.moves else None
                    for row in group.bodies]
        shapes = [record.bodies[row].shape for row in group.bodies]
        asked = [(shape, local, by_m) for shape, local, by_m in zip(shapes, group.local, required, strict=True) if by_m]
        parts = [_outer(asked, i) for i in range(len(asked))]
        if parts:
            result[k] = joined(parts)
    return result


def _outer(parts: list[tuple[Shape, Array, float]], i: int) -> tuple[Triangles, Array]:
    """Return the shell of part i without the triangles that lie inside the shell of another part of its group."""
    shape, local, by_m = parts[i]
    surface = triangles(grown(shape, by_m), _SIDES)
    others = [k for k in range(len(parts)) if k != i]
    if not others:
        return surface, local
    # a long triangle may have all corners inside other shells and still show in its middle
    middles = surface.vertices_m[surface.faces].mean(axis=1)
    probes = np.concatenate([surface.vertices_m, middles])
    where = np.tile(np.eye(4), (len(probes), 1 + len(others), 1, 1))
    where[:, 0, :3, 3] = probes @ local[:3, :3].T + local[:3, 3]
    where[:, 1:] = np.stack([parts[k][1] for k in others])
    found = distances([Sphere(0.0), *(parts[k][0] for k in others)], where,
                      np.array([(0, 1 + k) for k in range(len(others))]))
    deep = np.any(found.upper_m < 0.98 * np.array([parts[k][2] for k in others]), axis=1)
    corners, middle = deep[: len(surface.vertices_m)][surface.faces].all(axis=1), deep[len(surface.vertices_m) :]
    return Triangles(surface.vertices_m, surface.faces[~(corners & middle)], surface.normals), local
