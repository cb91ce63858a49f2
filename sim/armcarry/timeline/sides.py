"""Which side of a handrail a worker's body hangs on: the roomiest, without turning about more than needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from armcarry.clearance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule
from armcarry.timeline.handrails import RailRoute
from armcarry.timeline.translation import facing

#: sides that are tried about each leg
SIDES = 12
#: room beyond this is as good as any, m
ROOM_M = 0.4
#: contact counts as this much less than touching, m
CONTACT_M = 0.5
#: cost of a radian of turning, in metres of missing room
TURN_M = 0.05
#: a body stands in for the worker: a capsule this thick from the shins to the head
THICK_M, SHIN_M = 0.38, 0.3


def choose_sides(
    route: RailRoute, grip_m: ArrayLike, head_m: float, bodies: Sequence[Body], frames: Array
) -> RailRoute:
    """Return the route with its ``aways`` chosen so that the worker's body has room.

    Of twelve sides about every leg a chain is chosen (shortest path over legs) that misses least room at the
    legs' ends and middles and turns little from leg to leg. Room is measured to a capsule in place of the
    body; what counts in the end is the proof of clearance.

    Args:
        grip_m: point between the gloves (3,) in the boots frame.
        head_m: height of the head over the boots.
        bodies: what stands around.
        frames: T_world_body (B, 4, 4) of these.
    """
    grip = np.asarray(grip_m, dtype=float)
    turns = np.stack([_turns(b - a) for a, b in pairwise(route.points)])  # (K, SIDES, 3, 3)
    missing = _missing_m(route, turns, grip, head_m, bodies, frames)
    cost, came = missing[0], np.zeros(missing.shape, dtype=np.int64)
    for k in range(1, len(missing)):
        total = cost[:, None] + TURN_M * _angles(turns[k - 1], turns[k])
        came[k] = total.argmin(axis=0)
        cost = total.min(axis=0) + missing[k]
    side = int(cost.argmin())
    aways = np.zeros((len(missing), 3))
    for k in range(len(missing) - 1, -1, -1):
        aways[k] = -turns[k, side, :, 0]
        side = int(came[k, side])
    return replace(route, aways=aways)


def _turns(along: Array) -> Array:
    """Return rotations (SIDES, 3, 3) of a body whose head leads along, spread about it."""
    first = facing(along, np.zeros(3))
    spin = poses.rotation_about((0.0, 0.0, 1.0), np.arange(SIDES) * (2.0 * np.pi / SIDES))[:, :3, :3]
    return np.asarray(first @ spin)


def _angles(first: Array, second: Array) -> Array:
    """Return the angle (S, S) between every two rotations of (S, 3, 3) and (S, 3, 3)."""
    trace = np.einsum("aij,bij->ab", first, second)
    return np.asarray(np.arccos(np.clip((trace - 1.0) / 2.0, -1.0, 1.0)))


def _missing_m(
    route: RailRoute, turns: Array, grip: Array, head_m: float, bodies: Sequence[Body], frames: Array
) -> Array:
    """Return for each leg and side (K, SIDES) the room that is missing, the mean over its ends and middle."""
    capsule = Capsule(THICK_M, max(head_m - SHIN_M - THICK_M, 0.1))
    middle = np.array([0.0, 0.0, (head_m + SHIN_M - THICK_M) / 2]) - grip
    shapes = [*(body.shape for body in bodies), capsule]
    pairs = np.stack([np.full(len(bodies), len(bodies)), np.arange(len(bodies))], axis=1)
    missing = np.zeros((len(turns), SIDES))
    for k, (a, b) in enumerate(pairwise(route.points)):
        body = poses.identity(SIDES, 3)
        body[..., :3, :3] = turns[k][:, None]
        along = a + np.array([0.0, 0.5, 1.0])[:, None] * (b - a)
        body[..., :3, 3] = along[None] + (turns[k] @ middle)[:, None]
        rows = np.concatenate(
            [np.broadcast_to(frames, (SIDES * 3, *frames.shape)), body.reshape(-1, 1, 4, 4)], axis=1
        )
        room = distances(shapes, rows, pairs).lower_m.min(axis=1).reshape(SIDES, 3)
        lacking = np.where(np.isinf(room), ROOM_M + CONTACT_M, np.maximum(ROOM_M - room, 0.0))
        missing[k] = lacking.mean(axis=1)
    return missing
