"""Convex shapes as the flat arrays the kernels read (see support.py for their columns)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.errors import InputError
from armcarry.geometry import checked
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import SHAPES, Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere

#: every bound is moved outward by this for rounding, metres
PAD_M = 1e-6
POINT, SEGMENT, BOX, CYLINDER, CLOUD = 0, 1, 2, 3, 4


@dataclass(frozen=True)
class Solids:
    """Shapes packed for the kernels.

    Attributes:
        form: (B, 3) kind, first vertex, number of vertices.
        size: (B, 5) half extents (cylinder: radius, radius, half length), swept radius, bounding radius.
        verts: (V, 3) mesh vertices about the centre of their bounding box.
        centre: (B, 3) that centre in the body frame; zero for all but meshes.
    """

    form: np.ndarray
    size: Array
    verts: Array
    centre: Array


def pack(shapes: Sequence[Shape]) -> Solids:
    """Pack shapes into Solids, in order. Raises InputError for what is no shape."""
    form = np.zeros((len(shapes), 3), dtype=np.int64)
    size = np.zeros((len(shapes), 5))
    centre = np.zeros((len(shapes), 3))
    clouds: list[Array] = []
    first = 0
    for row, shape in enumerate(shapes):
        given: object = shape
        if not isinstance(given, SHAPES):
            accepted = ", ".join(kind.__name__ for kind in SHAPES)
            raise InputError("not a shape", found=checked.told(given), accepted=accepted)
        match shape:
            case Sphere(radius):
                form[row, 0], size[row] = POINT, (0, 0, 0, radius, radius)
            case Capsule(radius, length):
                form[row, 0], size[row] = SEGMENT, (0, 0, length / 2, radius, radius + length / 2)
            case Box((x, y, z)):
                form[row, 0], size[row] = BOX, (x / 2, y / 2, z / 2, 0, np.sqrt(x * x + y * y + z * z) / 2)
            case Cylinder(radius, length):
                bound = np.hypot(radius, length / 2)
                form[row, 0], size[row] = CYLINDER, (radius, radius, length / 2, 0, bound)
            case ConvexMesh(vertices):
                centre[row] = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
                cloud = vertices - centre[row]
                form[row] = CLOUD, first, len(cloud)
                size[row] = (*np.abs(cloud).max(axis=0), 0, np.linalg.norm(cloud, axis=1).max())
                clouds.append(cloud)
                first += len(cloud)
    verts = np.ascontiguousarray(np.concatenate(clouds)) if clouds else np.zeros((1, 3))
    return Solids(form, size, verts, centre)


def pose_rows(pose: Array, centre: Array) -> Array:
    """Return kernel rows (..., 12) of poses (..., 4, 4) of bodies whose cores sit at centre (..., 3)."""
    rows = np.empty((*pose.shape[:-2], 12))
    rows[..., :9] = np.swapaxes(pose[..., :3, :3], -1, -2).reshape(*pose.shape[:-2], 9)
    rows[..., 9:] = np.einsum("...ij,...j->...i", pose[..., :3, :3], centre) + pose[..., :3, 3]
    return rows
