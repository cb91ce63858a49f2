"""Distance of two convex bodies at rest, with proven bounds; one pair or many poses at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.arguments import asked_pairs
from armcarry.clearance.solids import PAD_M, Solids, pack, pose_rows
from armcarry.errors import InputError
from armcarry.geometry import checked
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape

#: bodies this close or closer count as in contact: twice what rounding can hide, metres
CONTACT_M = 2 * PAD_M


@dataclass(frozen=True)
class Distance:
    """Bounds of one distance, and where it is.

    Attributes:
        lower_m: proven; -inf where the bodies touch or overlap.
        upper_m: distance of the two points; 0 where the bodies touch or overlap.
        point_a, point_b: (3,) nearest points in the frame of the poses; one common point at contact.
    """

    lower_m: float
    upper_m: float
    point_a: Array
    point_b: Array


@dataclass(frozen=True)
class Distances:
    """Bounds of many distances: the fields of Distance with a leading axis (N,)."""

    lower_m: Array
    upper_m: Array
    point_a: Array
    point_b: Array


def distance(shape_a: Shape, T_world_a: Array, shape_b: Shape, T_world_b: Array) -> Distance:
    """Bound the distance of two bodies at poses (4, 4), to 1e-6 m or better above and below.

    Raises:
        InputError: no pose, or no shape.
    """
    poses = np.stack([checked.pose("T_world_a", T_world_a), checked.pose("T_world_b", T_world_b)])
    many = distances([shape_a, shape_b], poses[None], np.array([[0, 1]]))
    return Distance(
        float(many.lower_m[0, 0]), float(many.upper_m[0, 0]), many.point_a[0, 0], many.point_b[0, 0]
    )


def distances(shapes: Sequence[Shape], T_world_body: Array, pairs: np.ndarray) -> Distances:
    """Bound the distances of pairs of bodies in many configurations.

    Args:
        shapes: B shapes.
        T_world_body: (N, B, 4, 4) their poses, one configuration a row.
        pairs: (P, 2) rows into shapes.

    Returns:
        Distances with fields (N, P) and (N, P, 3).

    Raises:
        InputError: poses of another shape, what is no list of shapes, or pairs that are not rows of shapes.
    """
    shapes = checked.listed("shapes", shapes, "shapes of bodies")
    try:
        given = np.asarray(T_world_body, dtype=float)
    except (TypeError, ValueError, OverflowError):
        given = np.zeros(0)
    if given.ndim != 4 or given.shape[1:] != (len(shapes), 4, 4):  # the kernels read memory without asking
        accepted = f"(N, {len(shapes)}, 4, 4), one configuration of all {len(shapes)} bodies a row"
        found = f"an array of shape {given.shape}"
        raise InputError("poses that do not fit the bodies", found=found, accepted=accepted)
    pairs = np.ascontiguousarray(asked_pairs(pairs))
    if np.any((pairs < 0) | (pairs >= len(shapes))):
        found = str(sorted({*pairs.ravel().tolist()}))
        raise InputError("a pair of no body", found=found, accepted=f"rows from 0 to {len(shapes) - 1}")
    solids = pack(shapes)
    return _measured(solids, np.ascontiguousarray(pose_rows(given, solids.centre)), pairs)


def distances_placed(shapes: Sequence[Shape], which: np.ndarray, T_world_body: Array, pairs: np.ndarray) -> Distances:
    """Bound the distances of pairs of bodies of which many may have the same shape; what is given is trusted.

    Args:
        shapes: of the bodies.
        which: (M,) row into shapes of each body.
        T_world_body: (M, 4, 4) their poses.
        pairs: (P, 2) rows into bodies.

    Returns:
        Distances with fields (P,) and (P, 3), each pair as ``distances`` gives it to the bit.
    """
    some = pack(shapes)
    solids = Solids(some.form[which], some.size[which], some.verts, some.centre[which])
    every = _measured(solids, pose_rows(T_world_body, solids.centre)[None], np.ascontiguousarray(pairs))
    return Distances(every.lower_m[0], every.upper_m[0], every.point_a[0], every.point_b[0])


def _measured(solids: Solids, pose: Array, pairs: np.ndarray) -> Distances:
    """Bound distances of pairs (P, 2) of solids at kernel rows (N, B, 12)."""
    from armcarry.clearance.rest import measure

    bounds, points = measure(solids.form, solids.size, solids.verts, pose, pairs, 0.1 * PAD_M)
    contact = bounds[..., 1] <= CONTACT_M
    lower = np.where(contact, -np.inf, np.maximum(bounds[..., 0] - PAD_M, 0.0))
    upper = np.where(contact, 0.0, bounds[..., 1])
    return Distances(lower, upper, points[..., :3], points[..., 3:])
