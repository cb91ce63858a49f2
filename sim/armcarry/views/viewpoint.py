"""Where to put the camera: so that what matters is in view, across the line of sight, and nothing is before it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule, bounding_radius_m, half_extents_m
from armcarry.record.record import Record
from armcarry.scene.build import ARM

#: thickness of a line of sight
_SIGHT_RADIUS_M = 0.01
#: people and things this near to a gap, m, are to be seen with it; what hides this share of their bodies is in the way
_BESIDE_M, _MUCH = 2.5, 0.15
#: the line of sight begins this far from the point looked at, so that its own body does not count as before it
_START_M = 0.06
#: vertical angle of view of every camera that is not one of the platform's
VIEW_RAD = float(np.radians(32))
#: instants of a move at which it is asked where the arm goes
_A_MOVE = 9


@dataclass(frozen=True)
class Viewpoint:
    """A camera: eye and focus in the world, up direction, vertical angle of view.

    ``unblocked`` is the share of the looked-at points that it sees; what is nearer than ``nearest_m`` is not drawn.
    """

    eye_m: tuple[float, float, float]
    focus_m: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    view_rad: float = VIEW_RAD
    unblocked: float = 1.0
    nearest_m: float = 0.0


def directions(count: int = 180) -> Array:
    """Return unit vectors (count, 3) spread evenly over a ball (Fibonacci spiral)."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, np.pi * (1 + 5**0.5) * k
    flat = np.sqrt(1 - z * z)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)


def overview(points_m: ArrayLike, aspect: float, towards: ArrayLike = (0.55, -0.7, 0.5)) -> Viewpoint:
    """Return the closest view that holds all points (n, 3), from a fixed side.

    For each direction of the picture a point p at depth a.p limits where the focus may lie on either side; the
    two limits meet at the least distance (closed form for a pinhole camera).
    """
    points = np.asarray(points_m, dtype=float)
    away = np.asarray(towards, dtype=float) / np.linalg.norm(towards)
    right = np.cross((0.0, 0.0, 1.0), away)
    right /= np.linalg.norm(right)
    up = np.cross(away, right)
    depth, tall = points @ away, float(np.tan(VIEW_RAD / 2)) * 0.94
    far, middle = 0.0, []
    for axis, slope in ((right, tall * aspect), (up, tall * 0.92)):
        high, low = (points @ axis + slope * depth).max(), (points @ axis - slope * depth).min()
        far = max(far, (high - low) / (2 * slope))
        middle.append((high + low) / 2)
    focus = right * middle[0] + up * middle[1] + away * depth.mean()
    return Viewpoint(_triple(focus + away * (far - depth.mean())), _triple(focus))


def body_corners(record: Record, time_s: float) -> Array:
    """Return the corners (8 B, 3) of the boxes around all bodies, in the world."""
    corners = []
    for body, pose in zip(record.bodies, record.body_poses(time_s)[0], strict=True):
        low, high = half_extents_m(body.shape)
        local = np.array([[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]]
                          for i in (0, 1) for j in (0, 1) for k in (0, 1)])
        corners.append(poses.apply(pose, local))
    return np.concatenate(corners)


def moving_points(record: Record) -> Array:
    """Return where the links of the arm go (n, 3), move by move, so that a view of the whole run holds them."""
    spans = [(move.start_s, move.end_s) for move in record.moves if move.end_s > move.start_s]
    spans = spans or [(record.motion.start_s, record.motion.end_s)]
    times = np.unique(np.concatenate([np.linspace(start, end, _A_MOVE) for start, end in spans]))
    links = [link for link in record.scene.tree.links if link.startswith(f"{ARM}/")]
    return np.concatenate([record.link_path(link, times)[:, :3, 3] for link in links])


def whole(record: Record) -> Array:
    """Return the points (n, 3) that a view of the whole run holds: all bodies at the start, and where the arm goes."""
    return np.concatenate([body_corners(record, record.motion.start_s), moving_points(record)])


def towards_gap(
    record: Record, time_s: float, bodies: Sequence[str], point_a: ArrayLike, point_b: ArrayLike
) -> Viewpoint:
    """Return a view of the gap between two bodies: across it, close enough, with nothing before it.

    Args:
        record, time_s: the scene.
        bodies: full names of the two bodies.
        point_a, point_b: the nearest points (3,) in the world.
    """
    a, b = np.asarray(point_a, dtype=float), np.asarray(point_b, dtype=float)
    gap = float(np.linalg.norm(b - a))
    by_name = {body.name: body for body in record.bodies}
    sizes = [min(bounding_radius_m(by_name[name].shape), 1.6) for name in bodies]
    far_m = float(np.clip(max(7 * gap, 2.4 * sum(sizes)), 3.0, 16.0))
    along = (b - a) / gap if gap > 1e-6 else np.zeros(3)
    # from near by a gap inside a truss is seen past the struts that hide it from afar
    shares = [1.0, 0.55, max(0.3, 1.2 / far_m)]
    ways, share = np.tile(directions(), (len(shares), 1)), np.repeat(shares, len(directions()))
    looked_at = np.stack([a + (b - a) * part for part in (0.1, 0.5, 0.9)])
    eyes = ways * (far_m * share)[:, None] + (a + b) / 2
    seen = sight(record, time_s, looked_at, eyes, bodies if gap < 2 * _START_M else ())
    # what is around the gap, the two bodies themselves left out: struts before it spoil the picture
    around = (a + b) / 2 + max(0.4, 0.6 * gap) * np.concatenate([np.eye(3), -np.eye(3)])
    free = sight(record, time_s, around, eyes, bodies)
    across = np.sqrt(1 - np.clip(ways @ along, -1, 1) ** 2) if gap > 1e-6 else np.ones(len(ways))
    # a gap seen nearly end on is not seen; from a little above, and not too near, is how people expect to look
    score = 3.0 * seen + 1.2 * free + across + 0.25 * ways[:, 2] - 0.6 * np.abs(ways[:, 2]) ** 4 + 0.8 * share
    return _best(score, ways, far_m * share, (a + b) / 2, seen)


def towards_place(
    record: Record, time_s: float, points_m: ArrayLike, away_m: float = 8.0, skip: Collection[str] = ()
) -> Viewpoint:
    """Return a view of a few points (k, 3) of a place, with as little before them as can be; ``skip`` may be there."""
    points = np.atleast_2d(np.asarray(points_m, dtype=float))
    ways = directions()
    middle = points.mean(axis=0)
    seen = sight(record, time_s, points, ways * away_m + middle, skip)
    score = 3.0 * seen + 0.5 * ways[:, 2] - 1.0 * np.abs(ways[:, 2]) ** 4
    return _best(score, ways, np.full(len(ways), away_m), middle, seen)


def sight(record: Record, time_s: float, points_m: Array, eyes_m: Array, skip: Collection[str]) -> Array:
    """Return which share (E,) of the points (P, 3) each eye (E, 3) sees past all bodies but those of ``skip``.

    Each line of sight is a thin capsule that starts 6 cm before its point, measured against every body whose
    bounding ball it meets.
    """
    start = np.broadcast_to(points_m, (len(eyes_m), *points_m.shape)).reshape(-1, 3)
    line, _ = _crossings(record, time_s, start, np.repeat(eyes_m, len(points_m), axis=0), skip)
    blocked = np.zeros(len(start), dtype=bool)
    blocked[line] = True
    return np.asarray(1.0 - blocked.reshape(len(eyes_m), -1).mean(axis=1))


def hiding(
    record: Record, time_s: float, points_m: Array, eye_m: ArrayLike, skip: Collection[str]
) -> tuple[str, ...]:
    """Return the names of the bodies, but those of ``skip``, that stand before points (P, 3) seen from an eye (3,)."""
    eyes = np.broadcast_to(np.asarray(eye_m, dtype=float), points_m.shape)
    return tuple(sorted({record.bodies[row].name for row in _crossings(record, time_s, points_m, eyes, skip)[1]}))


def about_gap(a: Array, b: Array) -> Array:
    """Return the points of a gap (9, 3) that must be seen: along it and a little to every side."""
    side = max(0.15, 0.3 * float(np.linalg.norm(b - a))) * np.concatenate([np.eye(3), -np.eye(3)])
    return np.concatenate([[a + (b - a) * part for part in (0.05, 0.5, 0.95)], (a + b) / 2 + side])


def screens(
    record: Record, time_s: float, pair: Sequence[str], gap_m: Array, eye_m: ArrayLike
) -> tuple[str, ...]:
    """Return the names of the bodies that are to be seen through where a gap is shown from an eye (3,).

    They are what stands before the points (P, 3) of the gap, and what hides much of the people and things beside it.

    Args:
        record, time_s: the scene.
        pair: names of the two bodies, which hide nothing of their own gap.
        gap_m: points that must be seen.
        eye_m: from where.
    """
    before = set(hiding(record, time_s, gap_m, eye_m, pair))
    things = {*record.scene.loaded.crew, *record.scene.loaded.hardware}
    middles = record.body_poses(time_s)[0, :, :3, 3]
    close = np.linalg.norm(middles - gap_m.mean(axis=0), axis=1) <= _BESIDE_M
    owners = [body.name.split("/", 1)[0] for body in record.bodies]
    shown = np.array([owner in things for owner in owners], dtype=bool) & close
    if shown.any():
        own = [body.name for body, owner in zip(record.bodies, owners, strict=True) if owner in things]
        eyes = np.broadcast_to(np.asarray(eye_m, dtype=float), (int(shown.sum()), 3))
        rows, counts = np.unique(_crossings(record, time_s, middles[shown], eyes, own)[1], return_counts=True)
        much = rows[counts >= max(2.0, _MUCH * shown.sum())]
        before |= {record.bodies[int(row)].name for row in much} - set(pair)
    return tuple(sorted(before))


def _crossings(
    record: Record, time_s: float, start: Array, end: Array, skip: Collection[str]
) -> tuple[NDArray[np.int64], list[int]]:
    """Return which lines of sight (S, 3) to (S, 3) meet which bodies, as two lists of one length."""
    rows = [k for k, body in enumerate(record.bodies) if body.name not in skip]
    shapes = [record.bodies[k].shape for k in rows]
    place = record.body_poses(time_s)[0, rows]
    far = np.linalg.norm(end - start, axis=1)
    way = (end - start) / far[:, None]
    begin = start + _START_M * way
    radius = np.array([bounding_radius_m(shape) for shape in shapes])
    pairs = np.argwhere(_from_segment_m(place[:, :3, 3], begin, end) <= radius + _SIGHT_RADIUS_M)
    if not len(pairs):
        return np.zeros(0, dtype=np.int64), []
    lines = [Capsule(_SIGHT_RADIUS_M, float(length) - _START_M) for length in far]
    where = _z_along((begin + end) / 2, way)
    found = distances([*lines, *shapes], np.concatenate([where, place])[None], pairs + np.array([0, len(lines)]))
    met = pairs[found.upper_m[0] <= 0.0]
    return met[:, 0], [rows[k] for k in met[:, 1]]


def _from_segment_m(points: Array, start: Array, end: Array) -> Array:
    """Return the distance (S, P) of points (P, 3) from segments between (S, 3) and (S, 3)."""
    along = end - start
    squared = np.einsum("sk,sk->s", along, along)[:, None]
    off = along @ points.T - np.einsum("sk,sk->s", along, start)[:, None]
    share = np.clip(off / squared, 0.0, 1.0)
    far = np.einsum("sk,sk->s", start, start)[:, None] - 2 * start @ points.T + np.einsum("pk,pk->p", points, points)
    return np.asarray(np.sqrt(np.maximum(far + share * (share * squared - 2 * off), 0.0)))


def _best(score: Array, ways: Array, away_m: Array, focus: Array, seen: Array) -> Viewpoint:
    k = int(np.argmax(score))
    up = (0.0, 0.0, 1.0) if abs(ways[k, 2]) < 0.95 else (1.0, 0.0, 0.0)
    return Viewpoint(_triple(focus + ways[k] * away_m[k]), _triple(focus), up, unblocked=float(seen[k]))


def _z_along(middle: Array, way: Array) -> Array:
    """Return poses (S, 4, 4) at points (S, 3) whose z axes point along unit vectors (S, 3)."""
    side = np.cross(way, np.eye(3)[np.argmin(np.abs(way), axis=1)])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    pose = np.tile(np.eye(4), (len(way), 1, 1))
    pose[:, :3, :] = np.stack([side, np.cross(way, side), way, middle], axis=2)
    return pose


def _triple(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])
