"""Whether two bodies of one thing share a point wherever the joints between them stand: a proof, not a sample.

A point fixed to the lower body moves on an arc (or a straight way) against the upper one as a joint goes through its
travel. A convex body that holds the corners of a polygon around that arc holds all of the arc; so one point that lies
in the lower body, and whose corners all lie in the upper one, is common to both in every posture. A point on a joint's
own axis does not move at all, which settles bodies that only just touch there. How deep a point lies in a body is
concave in the point, so along a line the best one is found for sure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from armcarry.geometry.model import Body, Joint
from armcarry.geometry.poses import Array, inverse, rotation_about
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere, bounding_radius_m

#: a point this far outside still counts as inside: less than what the proof takes as contact, m
OUTSIDE_M = 1e-7
#: parts of a whole turn in the polygon around an arc, with one joint between and with two
_PARTS = (72, 24)
#: cuts of a line in the search for its deepest point; each leaves 0.62 of it
_CUTS = 64
_GOLDEN = (5**0.5 - 1) / 2


@dataclass(frozen=True, eq=False)
class Link:
    """One joint on the way from an upper body down to a lower one.

    Attributes:
        joint: the joint.
        travel: from where to where it goes, rad or m.
        before: (4, 4) from what is rigid above to the joint's frame.
    """

    joint: Joint
    travel: tuple[float, float]
    before: Array


def share_a_point(upper: Body, lower: Body, way: Sequence[Link], start: Array | None = None) -> bool:
    """Tell whether two bodies are proven to have a point in common, to 1e-6 m, in every posture of joints between.

    Args:
        upper, lower: with their poses in what is rigid with the first joint's parent and the last joint's child.
        way: the joints between, from the upper body down.
        start: a common point (3,) in some posture, in the lower body's frame of that posture, to try beside others.
    """
    parts = _PARTS[min(len(way), len(_PARTS)) - 1]
    # where a point of the lower body may be in the upper one's frame, and the other way round
    down, up = np.eye(4)[None], np.eye(4)[None]
    for link in way:
        down = _products(down, link.before @ _around(link.joint, link.travel, parts))
    for link in reversed(way):
        low, high = link.travel
        up = _products(up, _around(link.joint, (-high, -low), parts) @ inverse(link.before))
    first, last = way[0], way[-1]
    axis_up = first.before[:3, :3] @ first.joint.axis
    starts = [np.zeros(3), lower.pose[:3, 3], *([] if start is None else [start])]
    return any(_held(lower, upper, down, line) for line in _lines(starts, last.joint.axis)) or any(
        _held(upper, lower, up, line) for line in _lines([first.before[:3, 3], upper.pose[:3, 3]], axis_up)
    )


def _products(some: Array, others: Array) -> Array:
    return np.asarray((some[:, None] @ others[None]).reshape(-1, 4, 4))


def _lines(points: Sequence[Array], direction: Array) -> Iterator[tuple[Array, Array]]:
    for point in points:
        yield np.asarray(point, dtype=float), np.asarray(direction, dtype=float)


def _around(joint: Joint, travel: tuple[float, float], parts: int) -> Array:
    """Return maps (K, 4, 4) that take any point to corners whose hull holds its whole way through the travel."""
    low, high = travel
    if joint.kind == "prismatic":
        maps = np.tile(np.eye(4), (2, 1, 1))
        maps[:, :3, 3] = np.array([[low], [high]]) * joint.axis
        return maps
    count = max(int(np.ceil((high - low) / (2 * np.pi) * parts)), 1)
    step = (high - low) / count
    angle = np.concatenate([[low, high], low + (np.arange(count) + 0.5) * step])
    wider = np.concatenate([[1.0, 1.0], np.full(count, 1 / np.cos(step / 2))])
    along = np.outer(joint.axis, joint.axis)
    turned = rotation_about(joint.axis, angle)[:, :3, :3]
    maps = np.tile(np.eye(4), (len(angle), 1, 1))
    maps[:, :3, :3] = along + wider[:, None, None] * (turned - along)
    return maps


def _held(owner: Body, other: Body, maps: Array, line: tuple[Array, Array]) -> bool:
    """Tell whether some point of a line lies in its owner and, wherever the maps take it, in the other body."""
    origin, direction = line
    inside, outside = inverse(owner.pose), inverse(other.pose) @ maps

    def depth(along: float) -> float:
        point = np.append(origin + along * direction, 1.0)
        here = _depth_m(owner.shape, (inside @ point)[None, :3])
        return float(min(here.min(), _depth_m(other.shape, (outside @ point)[:, :3]).min()))

    middle = float((owner.pose[:3, 3] - origin) @ direction)
    low, high = middle - bounding_radius_m(owner.shape), middle + bounding_radius_m(owner.shape)
    one, two = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_one, at_two = depth(one), depth(two)
    for _ in range(_CUTS):
        if max(at_one, at_two) >= 0.0:
            return True
        if at_one < at_two:
            low, one, at_one = one, two, at_two
            two = low + _GOLDEN * (high - low)
            at_two = depth(two)
        else:
            high, two, at_two = two, one, at_one
            one = high - _GOLDEN * (high - low)
            at_one = depth(one)
    return max(at_one, at_two) >= -OUTSIDE_M


def _depth_m(shape: Shape, points: Array) -> Array:
    """Return how deep points (K, 3) lie in a shape: concave, negative outside, inside at most the way out."""
    match shape:
        case Sphere(radius):
            return np.asarray(radius - np.linalg.norm(points, axis=1))
        case Capsule(radius, length):
            beyond = np.maximum(np.abs(points[:, 2]) - length / 2, 0.0)
            return np.asarray(radius - np.sqrt(points[:, 0] ** 2 + points[:, 1] ** 2 + beyond**2))
        case Cylinder(radius, length):
            return np.minimum(radius - np.hypot(points[:, 0], points[:, 1]), length / 2 - np.abs(points[:, 2]))
        case Box(size):
            return np.asarray((np.asarray(size) / 2 - np.abs(points)).min(axis=1))
        case ConvexMesh():
            planes = _planes(shape)
            return np.asarray(-(points @ planes[:, :3].T + planes[:, 3]).max(axis=1))


@lru_cache(maxsize=1024)
def _planes(mesh: ConvexMesh) -> Array:
    """Return the planes (F, 4) of a mesh, unit normals outward."""
    from scipy.spatial import ConvexHull

    return np.asarray(ConvexHull(mesh.vertices_m).equations)
