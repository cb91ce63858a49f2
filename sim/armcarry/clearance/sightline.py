"""Lines of sight past convex bodies: proven distance of the line from each, zero where it is blocked.

A line of sight is a segment from an eye to a point. It is blocked where a body touches it, and clear where a
proven lower bound of the distance is above zero; bodies are exact, no picture is drawn and no ray is sampled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.clearance.solids import PAD_M, SEGMENT, Solids, pack, pose_rows
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape


@dataclass(frozen=True, eq=False)
class SightLines:
    """Bounds of the distance of S lines from B bodies, metres.

    Attributes:
        lower_m: (S, B) proven; -inf where blocked.
        upper_m: (S, B) 0 where blocked; inf for a body that was only shown to be farther than asked for.
    """

    lower_m: Array
    upper_m: Array

    @property
    def blocked(self) -> np.ndarray:
        """Which lines a body stands in (S,)."""
        return np.asarray(np.any(self.upper_m <= 0.0, axis=1))

    @property
    def clear(self) -> np.ndarray:
        """Which lines are proven free (S,)."""
        return np.asarray(np.all(self.lower_m > 0.0, axis=1))

def sight_lines(
    eyes_m: ArrayLike,
    points_m: ArrayLike,
    shapes: Sequence[Shape] | Solids,
    T_world_body: Array,
    *,
    configuration: np.ndarray | None = None,
    within_m: float = 0.0,
    skip_start_m: float = 0.0,
    skip_end_m: float = 0.0,
) -> SightLines:
    """Bound the distance of lines of sight from bodies.

    Args:
        eyes_m, points_m: (S, 3) ends of each line in the world frame, or one (3,) for all.
        shapes: B bodies; packed already where many lines are asked about.
        T_world_body: their poses, (B, 4, 4) for all lines or (S, B, 4, 4), one configuration a line; with
            ``configuration`` (C, B, 4, 4).
        configuration: (S,) which of C configurations holds for each line.
        within_m: bodies proven farther than this are not measured; their lower bound is that of a ball about them,
            from the line or from the box about all lines.
        skip_start_m: length left out at the eye, which sits in the body of its camera.
        skip_end_m: length left out at the point, which may lie on the surface of a body.

    Raises:
        ValueError: neither one configuration nor one a line, and ``configuration`` does not say which is whose.
    """
    from armcarry.clearance.rest import measure

    eyes, points = np.broadcast_arrays(
        np.atleast_2d(np.asarray(eyes_m, dtype=float)), np.atleast_2d(np.asarray(points_m, dtype=float))
    )
    solids = shapes if isinstance(shapes, Solids) else pack(shapes)
    count, bodies = len(eyes), len(solids.size)
    starts, ends = _shortened(eyes, points, skip_start_m, skip_end_m)
    poses = np.asarray(T_world_body, dtype=float)
    poses = poses[None] if poses.ndim == 3 else poses
    if configuration is None and len(poses) not in (1, count):
        raise ValueError(f"{count} lines in {len(poses)} configurations do not say which is in which")
    of = np.arange(count) % len(poses) if configuration is None else np.asarray(configuration)
    centres = poses[..., :3, 3].copy()
    moved = np.flatnonzero(np.any(solids.centre != 0.0, axis=1))  # meshes, whose cores sit beside their frames
    centres[:, moved] += np.einsum("cbij,bj->cbi", poses[:, moved, :3, :3], solids.centre[moved])
    # most bodies stand outside the box about all the lines: those are told by their distance from it
    lower = np.repeat(_box_distance_m(starts, ends, centres, solids.size[:, 4])[None] - PAD_M, count, axis=0)
    some = np.flatnonzero(np.any(lower <= within_m, axis=0))
    lower[:, some] = _ball_distance_m(starts, ends, centres[:, some], of, solids.size[some, 4]) - PAD_M
    upper = np.full((count, bodies), np.inf)
    line, body = np.nonzero(lower <= within_m)
    if line.size:
        # one set of solids: every near body once a line, then the lines themselves
        form = np.concatenate([solids.form[body], np.repeat([[SEGMENT, 0, 0]], count, axis=0)])
        size = np.concatenate([solids.size[body], np.zeros((count, 5))])
        size[line.size :, 2] = size[line.size :, 4] = np.linalg.norm(ends - starts, axis=1) / 2
        near = pose_rows(poses[of[line], body], solids.centre[body])
        rows = np.concatenate([near, _segment_rows(starts, ends)])
        pairs = np.stack([np.arange(line.size), line.size + line], axis=1)
        bounds = measure(form, size, solids.verts, rows[None], pairs, 0.1 * PAD_M)[0][0]
        touching = bounds[:, 1] <= PAD_M
        lower[line, body] = np.where(touching, -np.inf, np.maximum(bounds[:, 0] - PAD_M, 0.0))
        upper[line, body] = np.where(touching, 0.0, bounds[:, 1])
    return SightLines(lower, upper)


def _shortened(eyes: Array, points: Array, start_m: float, end_m: float) -> tuple[Array, Array]:
    """Return the ends (S, 3), (S, 3) without the lengths left out; a line shorter than those is its middle point."""
    step = points - eyes
    length = np.linalg.norm(step, axis=1, keepdims=True)
    unit = step / np.where(length > 0.0, length, 1.0)
    keep = length > start_m + end_m
    middle = (eyes + points) / 2
    return np.where(keep, eyes + start_m * unit, middle), np.where(keep, points - end_m * unit, middle)


def _segment_rows(starts: Array, ends: Array) -> Array:
    """Return kernel rows (S, 12) of segments along z about their middle."""
    step = ends - starts
    length = np.linalg.norm(step, axis=1, keepdims=True)
    z = np.where(length > 0.0, step / np.where(length > 0.0, length, 1.0), [0.0, 0.0, 1.0])
    aside = np.eye(3)[np.argmin(np.abs(z), axis=1)]
    x = np.cross(aside, z)
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    turn = np.stack([x, np.cross(z, x), z], axis=-1)
    pose = np.zeros((len(starts), 4, 4))
    pose[:, :3, :3], pose[:, :3, 3], pose[:, 3, 3] = turn, (starts + ends) / 2, 1.0
    return pose_rows(pose, np.zeros((len(starts), 3)))


def _box_distance_m(starts: Array, ends: Array, centres: Array, radii: Array) -> Array:
    """Return how far balls (B,) are from the box about segments (S, 3), whichever of their centres (C, B, 3) counts."""
    if not len(starts):
        return np.zeros(len(radii))
    least, most = np.minimum(starts, ends).min(axis=0), np.maximum(starts, ends).max(axis=0)
    away = np.maximum(np.maximum(least - centres.max(axis=0), centres.min(axis=0) - most), 0.0)
    return np.asarray(np.linalg.norm(away, axis=1) - radii)


def _ball_distance_m(starts: Array, ends: Array, centres: Array, of: np.ndarray, radii: Array) -> Array:
    """Return the distance (S, B) of segments from balls, whose centres (C, B, 3) are those of a row (S,) each.

    Axis by axis: sums over three numbers a row take numpy several times as long.
    """
    step, from_start = ends - starts, [centres[..., k][of] - starts[:, k, None] for k in range(3)]
    squared = (step[:, 0] ** 2 + step[:, 1] ** 2 + step[:, 2] ** 2)[:, None]
    along = _sum([from_start[k] * step[:, k, None] for k in range(3)]) / np.where(squared > 0.0, squared, 1.0)
    along = np.clip(along, 0.0, 1.0)
    away = [centres[..., k][of] - (starts[:, k, None] + along * step[:, k, None]) for k in range(3)]
    return np.asarray(np.sqrt(_sum([part**2 for part in away])) - radii)


def _sum(parts: Sequence[Array]) -> Array:
    return parts[0] + parts[1] + parts[2]
