"""Key frames: the fewest instants between which straight motion and steady turning follow the run closely."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.record.record import Record
from armcarry.views.groups import Group, group_poses

#: instants between keys at which the error is looked at
_PROBES = (0.25, 0.5, 0.75)
_FIRST_STEP_S = 8.0
#: what is only drawn may stray so many times as far
_DRAWN_SLACK = 10.0
_LEAST_STEP_S = 0.05


@dataclass(frozen=True, eq=False)
class Keys:
    """Key frames of G groups.

    Attributes:
        times_s: (K,) strictly increasing, also as 32-bit floats; a jump has two keys a millisecond apart.
        place_m: (K, G, 3) origin of each group in the world.
        turn_wxyz: (K, G, 4) unit quaternions, signs continuous in time.
    """

    times_s: Array
    place_m: Array
    turn_wxyz: Array


def key_frames(record: Record, groups: tuple[Group, ...], tolerance_m: float = 2e-3) -> Keys:
    """Choose key frames so that no point of a group strays farther than tolerance_m between them.

    The error is looked at at three instants between two keys and the interval halved until it is small or
    0.05 s long, so it is measured, not proven: good for showing, not for judging.
    """
    jumps = _jumps(record, groups, tolerance_m)
    edges = np.unique([record.motion.start_s, *jumps, record.motion.end_s])
    times: list[float] = []
    for start, end in pairwise(edges):
        inner = _refined(record, groups, float(start), float(end), tolerance_m)
        first = start + _apart(start) if times else start
        times += [float(first), *inner[1:-1][inner[1:-1] > first + _apart(start)], float(end)]
    chosen = np.array(times)
    at_jump = np.isin(chosen, jumps)
    where = group_poses(record, groups, chosen)
    if at_jump.any():
        where[at_jump] = group_poses(record, groups, chosen[at_jump], side="left")
    return Keys(chosen, where[..., :3, 3], continuous(poses.quaternion_wxyz(where)))


def continuous(turn: Array) -> Array:
    """Return quaternions (K, ..., 4) with signs chosen so that each is nearest to the one before."""
    flips = np.einsum("k...i,k...i->k...", turn[1:], turn[:-1]) < 0
    sign = np.cumprod(np.where(flips, -1.0, 1.0), axis=0)
    return np.concatenate([turn[:1], turn[1:] * sign[..., None]])


def between(one: Array, other: Array, share: float) -> Array:
    """Return the quaternions a share of the way from one (..., 4) to another, the short way round (slerp)."""
    dot = np.einsum("...i,...i->...", one, other)[..., None]
    other, dot = np.where(dot < 0, -other, other), np.abs(dot)
    angle = np.arccos(np.clip(dot, -1.0, 1.0))
    near = angle < 1e-6
    sine = np.where(near, 1.0, np.sin(angle))
    a = np.where(near, 1 - share, np.sin((1 - share) * angle) / sine)
    b = np.where(near, share, np.sin(share * angle) / sine)
    result = a * one + b * other
    return np.asarray(result / np.linalg.norm(result, axis=-1, keepdims=True))


def reach_m(record: Record, group: Group) -> float:
    """Return how far the group's farthest point is from its leading link's origin."""
    far = [np.linalg.norm(local[:3, 3]) + bounding_radius_m(record.bodies[row].shape)
           for row, local in zip(group.bodies, group.local, strict=True)]
    return float(max(far, default=0.0))


def _refined(record: Record, groups: tuple[Group, ...], start: float, end: float, tolerance: float) -> Array:
    """Return instants from start to end, halved where the motion between them is not straight enough."""
    reach = np.array([reach_m(record, group) for group in groups])
    times = np.linspace(start, end, max(int(np.ceil((end - start) / _FIRST_STEP_S)), 1) + 1)
    checked = np.zeros(len(times) - 1, dtype=bool)
    while not checked.all():
        todo = np.flatnonzero(~checked)
        error = _error(record, groups, times[todo], times[todo + 1], reach, end)
        split = todo[(error > tolerance) & (np.diff(times)[todo] > 2 * _LEAST_STEP_S)]
        checked[todo] = True
        checked[split] = False
        halves = (times[split] + times[split + 1]) / 2
        times = np.insert(times, split + 1, halves)
        checked = np.insert(checked, split + 1, False)
    return times


def _error(
    record: Record, groups: tuple[Group, ...], low: Array, high: Array, reach: Array, end: float
) -> Array:
    """Return the largest stray (n,) of any group's points inside intervals from low to high (n,)."""
    a = group_poses(record, groups, low)
    b = group_poses(record, groups, high, side="left") if np.any(high >= end) else group_poses(record, groups, high)
    turn_a, turn_b = poses.quaternion_wxyz(a), poses.quaternion_wxyz(b)
    worst = np.zeros(len(low))
    slack = np.array([1.0 if group.drawn_arm is None else _DRAWN_SLACK for group in groups])
    for share in _PROBES:
        truth = group_poses(record, groups, low + share * (high - low))
        place = (1 - share) * a[..., :3, 3] + share * b[..., :3, 3]
        turn = between(turn_a, turn_b, share)
        off = np.abs(np.einsum("...i,...i->...", turn, poses.quaternion_wxyz(truth)))
        angle = 2 * np.arccos(np.clip(off, 0.0, 1.0))
        stray = np.linalg.norm(truth[..., :3, 3] - place, axis=-1) + angle * reach
        worst = np.maximum(worst, (stray / slack).max(axis=1, initial=0.0))
    return worst


def _jumps(record: Record, groups: tuple[Group, ...], tolerance: float) -> NDArray[np.float64]:
    """Return the instants at which a group is suddenly elsewhere: at a switch of phases or a break of the motion."""
    inside = np.union1d([phase.start_s for phase in record.phases], record.motion.breaks_s)
    inside = inside[(inside > record.motion.start_s) & (inside < record.motion.end_s)]
    if not inside.size:
        return inside
    before, after = group_poses(record, groups, inside, side="left"), group_poses(record, groups, inside)
    moved = np.abs(before - after).max(axis=(1, 2, 3), initial=0.0) > tolerance / 10
    return np.asarray(inside[moved])


def _apart(time_s: float) -> float:
    """Return the gap between the two keys of a jump: a millisecond, or what 32-bit floats tell apart."""
    return max(1e-3, 4 * float(np.spacing(np.float32(time_s))))
