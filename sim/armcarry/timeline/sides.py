"""How a worker's body hangs on each handrail: on the roomiest side, trailing or with the feet out.

The gloves are on the rail. The body trails behind them along it, stands straight off it with the feet
away from the structure, or anything half way; straight off it the gloves may hold on one behind the other.
The turns from rail to rail are looked at too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from armcarry.clearance.distance import distances_placed
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule, Shape, bounding_radius_m
from armcarry.timeline.translation import facing

#: sides that are tried about each leg, and tilts from trailing (0) to feet straight out, rad
SIDES, TILTS = 8, (0.0, np.pi / 4, np.pi / 2)
#: room beyond this is as good as any, m
ROOM_M = 0.65
#: contact counts as this much less than touching, m; where it is asked that there be none, as this much
CONTACT_M, FORBIDDEN_M = 0.5, 2.0
#: cost of less than is asked of the body beside what stands there for certain, and what more is to be left, m
BREACH_M, SPARE_M = 0.5, 0.05
#: cost of a radian of turning, in metres of missing room
TURN_M = 0.05
#: cost of holding on with the gloves one behind the other, where they go one after the other, m
TWIST_M = 0.1
#: what is asked of the body is looked at this often along a leg, m
STRIDE_M = 0.15
#: where along a leg, and along a turn, the room is looked at; what is asked, half way of a turn
ALONG, TURNING = (0.0, 0.5, 1.0), (0.25, 0.5, 0.75)
#: what distances of balls and of bodies may differ by in rounding, m
ROUNDING_M = 1e-5
#: a body stands in for the worker: a capsule this thick from the soles to the head, m
THICK_M, SOLE_M = 0.4, 0.05


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands around a worker, a capsule that stands in for the body where room is looked for, and the body itself.

    Attributes:
        frames: T_world_body (B, 4, 4) of the bodies.
        grip: point between the gloves (3,) in the boots frame.
        head_m: height of the head over the boots.
        parts: shapes (P) of the body.
        parts_at: T_boots_part (P, 4, 4).
        asked_m: (P, B) how far each part is to stay from each body, nan where they may touch.
        certain: (B,) the body stands there, whenever the worker comes by.
    """

    bodies: tuple[Body, ...]
    frames: Array
    grip: Array
    head_m: float
    parts: tuple[Shape, ...] = ()
    parts_at: Array = field(default_factory=lambda: np.empty((0, 4, 4)))
    asked_m: Array = field(default_factory=lambda: np.empty((0, 0)))
    certain: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=bool))

    def lacking_m(self, turns: Array, points: Array) -> Array:
        """Return the room that is missing (N,) where the gloves are at points (N, 3) and the body turned (N, 3, 3)."""
        capsule = Capsule(THICK_M, max(self.head_m - SOLE_M - THICK_M, 0.1))
        middle = poses.translation((0.0, 0.0, (self.head_m + SOLE_M - THICK_M) / 2))
        near = self._near((capsule,), middle[None], np.full((1, len(self.bodies)), ROOM_M), turns, points)
        return near.most(np.where(np.isinf(near.room_m), ROOM_M + CONTACT_M, np.maximum(ROOM_M - near.room_m, 0.0)))

    def asked_lack_m(self, turns: Array, points: Array) -> Array:
        """Return what the body lacks most of what is asked of it (N,), held and turned likewise."""
        if not self.parts:
            return np.zeros(len(points))
        near = self._near(self.parts, self.parts_at, self.asked_m + SPARE_M, turns, points)
        room, asked = near.room_m, near.wanted_m
        breach = np.where(self.certain[near.body] & (room < asked - SPARE_M), BREACH_M, 0.0)
        return near.most(np.where(np.isinf(room), asked + FORBIDDEN_M, np.maximum(asked - room, 0.0) + breach))

    def _near(self, shapes: Sequence[Shape], at: Array, wanted_m: Array, turns: Array, points: Array) -> _Near:
        """Return which shapes (S) at T_boots_shape (S, 4, 4) may be nearer to which bodies than wanted (S, B), when.

        Left out is what balls and boxes tell to be farther apart than is wanted, and that of which it is nan.
        """
        from armcarry.clearance.nearby import maybe_within

        own_m, their_m = (np.array([bounding_radius_m(shape) for shape in some]) for some in (shapes, self._shapes))
        out = np.linalg.norm(at[:, :3, 3] - self.grip, axis=1)  # however the body is turned
        places = np.unique(points, axis=0)
        away = np.linalg.norm(self.frames[:, :3, 3] - places[:, None], axis=-1).min(axis=0, initial=np.inf)
        reach = wanted_m + own_m[:, None]
        rows = np.flatnonzero(np.any(away <= reach + their_m + out[:, None], axis=0))
        boots = poses.identity(len(points))
        boots[:, :3, :3] = turns
        boots[:, :3, 3] = points - turns @ self.grip
        placed, around = boots[:, None] @ at, self.frames[rows]
        near = [self._shapes[row] for row in rows.tolist()]
        flags = maybe_within(placed[..., :3, 3], near, around, reach[:, rows] + ROUNDING_M)
        held, one, other = np.nonzero(flags)
        which = np.append(np.tile(np.arange(len(shapes)), len(points)), len(shapes) + np.arange(len(rows)))
        pairs = np.stack([held * len(shapes) + one, len(points) * len(shapes) + other], axis=1)
        frames = np.concatenate([placed.reshape(-1, 4, 4), around])
        room = distances_placed([*shapes, *near], which, frames, pairs).lower_m
        return _Near(len(points), held, rows[other], wanted_m[one, rows[other]], room)

    @cached_property
    def _shapes(self) -> list[Shape]:
        return [body.shape for body in self.bodies]


class _Near(NamedTuple):
    """Pairs (Q,) of a part of a body, held in one of so many ways, and what stands near: the room, -inf at contact."""

    ways: int
    held: np.ndarray
    body: np.ndarray
    wanted_m: Array
    room_m: Array

    def most(self, values: Array) -> Array:
        """Return the greatest of values (Q,) for each way in which the body is held, 0 where there is none."""
        most = np.zeros(self.ways)
        np.maximum.at(most, self.held, values)
        return most


def choose_sides(
    points: Array, around: Surroundings, start: ArrayLike | None = None, goal: ArrayLike | None = None
) -> Array:
    """Return how the body is turned (K, 3, 3) on every leg of a way through points (K+1, 3), so that it has room.

    Of 32 rotations on every leg a chain is chosen (shortest path over legs) that misses least room along
    the legs and in the turns between them, lacks least of what is asked of the body, and turns little. Room is measured
    to a capsule in place of the body; what counts in the end is the proof of clearance.

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
    """Return rotations (SIDES * (tilts + 1), 3, 3) of a body on a leg; at no tilt the head leads along it.

    The last of each side stands straight off the leg, with the gloves one behind the other.
    """
    first = facing(along, np.zeros(3))
    spin = poses.rotation_about((0.0, 0.0, 1.0), np.arange(SIDES) * (2.0 * np.pi / SIDES))[:, None, :3, :3]
    tilt = poses.rotation_about((0.0, 1.0, 0.0), np.array([*TILTS, TILTS[-1]]))[None, :, :3, :3].copy()
    tilt[:, -1] = tilt[:, -1] @ poses.rotation_about(np.array((0.0, 0.0, 1.0)), np.pi / 2)[:3, :3]
    return np.asarray((first @ spin @ tilt).reshape(-1, 3, 3))


def _along(around: Surroundings, turns: Array, a: Array, b: Array) -> Array:
    """Return what each side (S,) costs along a leg: the room missing, the mean over its ends and middle, and more.

    What is asked is looked at all along, and what lacks most counts: the body passes whatever stands there.
    """
    grips = a + np.array(ALONG)[:, None] * (b - a)
    lacking = around.lacking_m(np.repeat(turns, len(ALONG), axis=0), np.tile(grips, (len(turns), 1)))
    count = 2 + int(np.linalg.norm(b - a) / STRIDE_M)
    held = a + np.linspace(0.0, 1.0, count)[:, None] * (b - a)
    asked = around.asked_lack_m(np.repeat(turns, count, axis=0), np.tile(held, (len(turns), 1)))
    twisted = np.tile([0.0] * len(TILTS) + [TWIST_M], SIDES)
    return np.asarray(lacking.reshape(-1, len(ALONG)).mean(axis=1) + asked.reshape(-1, count).max(axis=1) + twisted)


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
    turns = poses.from_quaternion_wxyz(mixed)[..., :3, :3]
    every, half = turns.reshape(-1, 3, 3), turns[..., len(share) // 2, :, :].reshape(-1, 3, 3)
    lacking = around.lacking_m(every, np.broadcast_to(point, (len(every), 3))).reshape(*angle.shape, len(share))
    asked = around.asked_lack_m(half, np.broadcast_to(point, (len(half), 3))).reshape(angle.shape)
    return np.asarray((lacking.max(axis=-1) + asked) * (angle > 1e-6) + TURN_M * angle)
