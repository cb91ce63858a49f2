"""How a worker's body hangs on each handrail: on the roomiest side, trailing or with the feet out.

The gloves are on the rail. The body trails behind them along it, stands straight off it with the feet
away from the structure, or anything half way; the turns from rail to rail are looked at too.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from armcarry.clearance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule, bounding_radius_m
from armcarry.timeline.translation import facing

#: sides that are tried about each leg, and tilts from trailing (0) to feet straight out, rad
SIDES, TILTS = 8, (0.0, np.pi / 4, np.pi / 2)
#: room beyond this is as good as any, m
ROOM_M = 0.65
#: contact counts as this much less than touching, m
CONTACT_M = 0.5
#: cost of a radian of turning, in metres of missing room
TURN_M = 0.05
#: where along a leg, and along a turn, the room is looked at
ALONG, TURNING = (0.0, 0.5, 1.0), (0.35, 0.65)
#: a body stands in for the worker: a capsule this thick from the soles to the head, m
THICK_M, SOLE_M = 0.4, 0.05


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands around a worker, and the capsule that stands in for the body.

    Attributes:
        frames: T_world_body (B, 4, 4) of the bodies.
        grip: point between the gloves (3,) in the boots frame.
        head_m: height of the head over the boots.
    """

    bodies: tuple[Body, ...]
    frames: Array
    grip: Array
    head_m: float

    def lacking_m(self, turns: Array, points: Array) -> Array:
        """Return the room that is missing (N,) where the gloves are at points (N, 3) and the body turned (N, 3, 3)."""
        capsule = Capsule(THICK_M, max(self.head_m - SOLE_M - THICK_M, 0.1))
        middle = np.array([0.0, 0.0, (self.head_m + SOLE_M - THICK_M) / 2]) - self.grip
        body = poses.identity(len(points))
        body[:, :3, :3] = turns
        body[:, :3, 3] = points + turns @ middle
        reach = bounding_radius_m(capsule) + ROOM_M + np.array([bounding_radius_m(b.shape) for b in self.bodies])
        apart = np.linalg.norm(self.frames[:, None, :3, 3] - body[None, :, :3, 3], axis=-1)
        near = np.flatnonzero(np.any(apart <= reach[:, None], axis=1))
        if not near.size:
            return np.zeros(len(points))
        shapes = [*(self.bodies[int(n)].shape for n in near), capsule]
        pairs = np.stack([np.full(len(near), len(near)), np.arange(len(near))], axis=1)
        around = np.broadcast_to(self.frames[near], (len(points), len(near), 4, 4))
        room = distances(shapes, np.concatenate([around, body[:, None]], axis=1), pairs).lower_m.min(axis=1)
        return np.asarray(np.where(np.isinf(room), ROOM_M + CONTACT_M, np.maximum(ROOM_M - room, 0.0)))


def choose_sides(
    points: Array, around: Surroundings, start: ArrayLike | None = None, goal: ArrayLike | None = None
) -> Array:
    """Return how the body is turned (K, 3, 3) on every leg of a way through points (K+1, 3), so that it has room.

    Of 24 rotations on every leg a chain is chosen (shortest path over legs) that misses least room along
    the legs and in the turns between them, and turns little. Room is measured to a capsule in place of the
    body; what counts in the end is the proof of clearance.

    Args:
        start, goal: rotations (3, 3) of the body before and after, None where it may be any.
    """
    stages = [_turns(b - a) for a, b in pairwise(points)]
    own = [_along(around, turns, a, b) for turns, (a, b) in zip(stages, pairwise(points), strict=True)]
    cost = own[0].copy()
    if start is not None:
        cost += _between(around, np.asarray(start, dtype=float)[None], stages[0], points[0])[0]
    came = []
    for k in range(1, len(stages)):
        total = cost[:, None] + _between(around, stages[k - 1], stages[k], points[k])
        came.append(total.argmin(axis=0))
        cost = total.min(axis=0) + own[k]
    if goal is not None:
        cost = cost + _between(around, stages[-1], np.asarray(goal, dtype=float)[None], points[-1])[:, 0]
    side = int(cost.argmin())
    chosen = [side]
    for back in reversed(came):
        side = int(back[side])
        chosen.append(side)
    return np.stack([stages[k][side] for k, side in enumerate(reversed(chosen))])


def _turns(along: Array) -> Array:
    """Return rotations (SIDES * tilts, 3, 3) of a body on a leg; at no tilt the head leads along it."""
    first = facing(along, np.zeros(3))
    spin = poses.rotation_about((0.0, 0.0, 1.0), np.arange(SIDES) * (2.0 * np.pi / SIDES))[:, None, :3, :3]
    tilt = poses.rotation_about((0.0, 1.0, 0.0), np.array(TILTS))[None, :, :3, :3]
    return np.asarray((first @ spin @ tilt).reshape(-1, 3, 3))


def _along(around: Surroundings, turns: Array, a: Array, b: Array) -> Array:
    """Return for each side (S,) the room missing along a leg, the mean over its ends and middle."""
    grips = a + np.array(ALONG)[:, None] * (b - a)
    lacking = around.lacking_m(np.repeat(turns, len(ALONG), axis=0), np.tile(grips, (len(turns), 1)))
    return np.asarray(lacking.reshape(len(turns), len(ALONG)).mean(axis=1))


def _between(around: Surroundings, first: Array, second: Array, point: Array) -> Array:
    """Return the cost (S, T) of turning about the gloves at a point from each of (S, 3, 3) to each of (T, 3, 3)."""
    pose = poses.identity(len(first), len(second), 2)
    pose[..., 0, :3, :3], pose[..., 1, :3, :3] = first[:, None], second[None]
    q = poses.quaternion_wxyz(pose)
    cosine = np.einsum("abi,abi->ab", q[..., 0, :], q[..., 1, :])
    q[..., 1, :] *= np.where(cosine < 0.0, -1.0, 1.0)[..., None]
    angle = 2.0 * np.arccos(np.clip(np.abs(cosine), 0.0, 1.0))
    share = np.array(TURNING)
    mixed = q[..., 0, None, :] * (1.0 - share)[:, None] + q[..., 1, None, :] * share[:, None]
    turns = poses.from_quaternion_wxyz(mixed)[..., :3, :3].reshape(-1, 3, 3)
    lacking = around.lacking_m(turns, np.broadcast_to(point, (len(turns), 3))).reshape(*angle.shape, len(share))
    return np.asarray(lacking.mean(axis=-1) * (angle > 1e-6) + TURN_M * angle)
