"""Every way six turning joints can take a pose, in closed form, for many poses or arms at once.

Three neighbouring axes that meet in a point, at either end of the arm (D. L. Pieper, The kinematics of manipulators
under computer control, 1968), or that are parallel, second to fourth or third to fifth. The arm then comes apart into
steps of one or two joints each, the subproblems of B. Paden (1986) and of A. J. Elias and J. T. Wen (IK-Geo: Unified
robot inverse kinematics using subproblem decomposition, Mechanism and Machine Theory 209, 2025). Both kinds lead to
the same pair of equations, K w = F (cos t, sin t, 1) with the length of w known, a quartic at worst.

Angles are exact to rounding save near singular postures; whoever asks polishes them against the arm itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.poses import Array, turning
from armcarry.motion.vectors import (
    about,
    across_of,
    applied,
    between,
    circle,
    cross,
    dot,
    flat,
    seen_in,
    shown,
    times,
    wrapped,
)

#: axes are parallel, or meet, within this (rad, or share of the arm's size)
_SAME = 1e-7
#: what must be 1 at most may pass it by this: an arm stretched out is not lost to rounding
_SLACK = 1e-6


@dataclass(frozen=True)
class Shape:
    """What makes a closed form possible: three axes that are parallel or meet, on the arm as it is or turned round."""

    parallel: bool
    reversed: bool


def shape_of(axes: Array, points: Array) -> Shape | None:
    """Return the shape of six axes: directions and a point each, (6, 3), at zero; None where there is none."""
    for reversed_ in (False, True):
        h, r = (axes[::-1], points[::-1]) if reversed_ else (axes, points)
        if _parallel(h[1:4]) and np.linalg.norm(np.cross(h[4], h[3])) > _SAME:
            return Shape(True, reversed_)
    for reversed_ in (False, True):
        h, r = (axes[::-1], points[::-1]) if reversed_ else (axes, points)
        if _meeting(h[3:6], r[3:6], float(np.ptp(points, axis=0).max())) is not None:
            return Shape(False, reversed_)
    return None


def ways(axes: Array, points: Array, motion: Array, shape: Shape) -> tuple[Array, Array]:
    """Return every way of six joints to make a motion, and how far those are from being ways that are none.

    Args:
        axes, points: (S, 6, 3) directions of the axes and a point of each, where all joints are at zero.
        motion: (S, 4, 4) what the six rotations one after the other must come to.
        shape: of these axes, the same in every row.

    Returns:
        (S, 8, 6) angles, nan where there are fewer ways. Where joints can be traded for each other, one of them is 0.
        (S, 8) by what share a cosine passes 1, or a length is short, where there is no way; 0 or less where there is.
    """
    if shape.reversed:
        back, lacking = ways(-axes[:, ::-1], points[:, ::-1], poses.inverse(motion), Shape(shape.parallel, False))
        return np.asarray(back[..., ::-1]), lacking
    q, lacking = _parallel_ways(axes, points, motion) if shape.parallel else _meeting_ways(axes, points, motion)
    lacking = np.where(np.isnan(lacking), np.inf, lacking)
    return np.where(lacking[..., None] <= _SLACK, wrapped(q), np.nan), lacking


# -- the two kinds ---------------------------------------------------------------------------------------


def _parallel_ways(h: Array, r: Array, motion: Array) -> tuple[Array, Array]:
    """Second to fourth axes parallel: they keep heights along their direction, and tilts against it."""
    turn, along = motion[:, :3, :3], h[:, 1]
    size = 1.0 + np.ptp(r, axis=1).max(axis=1)
    # a point of the last axis, where the fifth comes nearest: there the heights do not ask for the fifth joint
    at = _nearest_on(r[:, 5], h[:, 5], r[:, 4], h[:, 4])
    moved = applied(motion, at)
    rows = []
    for first, fifth in ((moved - r[:, 0], at - r[:, 4]), (times(turn, h[:, 5]), h[:, 5])):
        near, far = shown(along, -h[:, 0], first), shown(along, h[:, 4], fifth)
        rows.append((near, far))
    (height, rise), (tilt, lean) = rows
    height[:, 2] += np.einsum("si,si->s", along, r[:, 0] - r[:, 4])
    sides = np.stack([rise[:, :2] / size[:, None], lean[:, :2]], axis=1)
    wanted = np.stack([height / size[:, None], tilt], axis=1)
    wanted[:, :, 2] -= np.stack([rise[:, 2] / size, lean[:, 2]], axis=1)
    unit = np.zeros((len(h), 3, 3))
    unit[:, 2, 2] = 1.0
    q0, w, lacking = _pairs(sides, wanted, unit)
    q4 = np.arctan2(w[..., 1], w[..., 0])
    h, r, along = h[:, None], r[:, None], along[:, None]
    turn = np.swapaxes(turning(h[:, :, 0], q0), -1, -2) @ turn[:, None]  # of the three, the fifth and the sixth
    fifth = turning(h[:, :, 4], q4)
    q5 = -between(h[:, :, 5], times(np.swapaxes(fifth, -1, -2), along), times(np.swapaxes(turn, -1, -2), along))
    planar = turn @ np.swapaxes(fifth @ turning(h[:, :, 5], q5), -1, -2)
    across = across_of(along)
    total = between(along, across, times(planar, across))
    # where the fourth axis goes: back over the sixth and the fifth, on with the motion, back over the first
    point = about(h[:, :, 5], r[:, :, 5], -q5, about(h[:, :, 4], r[:, :, 4], -q4, r[:, :, 3]))
    point = about(h[:, :, 0], r[:, :, 0], -q0, applied(motion[:, None], point))
    q1, q2, short = _two_links(along, r[:, :, 1], r[:, :, 2], r[:, :, 3], point)
    q0, q4, q5, total = (np.repeat(angle[..., None], 2, axis=-1) for angle in (q0, q4, q5, total))
    found = np.stack([q0, q1, q2, total - q1 - q2, q4, q5], axis=-1)
    found[..., 2:4] *= np.sign(dot(h[:, :, 2:4], along[:, :, None]))[..., 0][:, :, None]  # two may point the other way
    return found.reshape(-1, 8, 6), np.maximum(lacking, short).repeat(2, axis=1)


def _meeting_ways(h: Array, r: Array, motion: Array) -> tuple[Array, Array]:
    """Last three axes through one point: the first three place it, the last three turn about it."""
    size = 1.0 + np.ptp(r, axis=1).max(axis=1)
    centre = _meeting_point(h[:, 3:], r[:, 3:])
    placed = applied(motion, centre) - r[:, 0]
    offset, axis = r[:, 1] - r[:, 0], h[:, 1]
    # v: from the second axis to the point, by the third joint; affine in its cosine and sine
    arm = centre - r[:, 2]
    v = np.stack([flat(h[:, 2], arm), cross(h[:, 2], arm), r[:, 2] - r[:, 1] + h[:, 2] * dot(h[:, 2], arm)], axis=-1)
    height = np.einsum("si,sij->sj", axis, v)
    square = np.einsum("sij,sik->sjk", v, v)
    rho = square - height[:, :, None] * height[:, None, :]
    # the square of v is affine too: its parts in cos and sin are of equal length and at right angles
    length = np.stack([2 * square[:, 0, 2], 2 * square[:, 1, 2], square[:, 2, 2] + square[:, 0, 0]], axis=1)
    ex = across_of(axis)
    ey = cross(axis, ex)
    one = np.array([0.0, 0.0, 1.0])
    reach = (dot(placed, placed) - dot(offset, offset)) / 2 * one - length / 2 - dot(offset, axis) * height
    lift = dot(h[:, 0], placed - offset) * one - dot(h[:, 0], axis) * height
    scale = size[:, None]
    sides = np.stack([seen_in(offset, ex, ey) / scale, seen_in(h[:, 0], ex, ey)], axis=1)
    q2, w, lacking = _pairs(sides, np.stack([reach / scale, lift], axis=1), rho)
    u = np.stack([np.cos(q2), np.sin(q2), np.ones_like(q2)], axis=-1)
    vector = np.einsum("sij,smj->smi", v, u)
    seen = seen_in(vector, ex[:, None], ey[:, None])
    q1 = np.arctan2(w[..., 1], w[..., 0]) - np.arctan2(seen[..., 1], seen[..., 0])
    h, r = h[:, None], r[:, None]
    turned = times(turning(h[:, :, 1], q1), vector) + offset[:, None]
    q0 = between(h[:, :, 0], turned, np.repeat(placed[:, None], 4, axis=1))
    before = turning(h[:, :, 0], q0) @ turning(h[:, :, 1], q1) @ turning(h[:, :, 2], q2)
    rest = np.swapaxes(before, -1, -2) @ motion[:, None, :3, :3]
    wrist, short = _wrist(h[:, :, 3:], rest)
    placing = np.repeat(np.stack([q0, q1, q2], axis=-1)[:, :, None], 2, axis=2)
    return np.concatenate([placing, wrist], axis=-1).reshape(-1, 8, 6), np.maximum(lacking, short).repeat(2, axis=1)


def _wrist(h: Array, rest: Array) -> tuple[Array, Array]:
    """Return the angles (..., 2, 3) with which three axes (..., 3, 3) through a point make a rotation (..., 3, 3)."""
    first, second, third = h[..., 0, :], h[..., 1, :], h[..., 2, :]
    ends = times(rest, third)
    seen = shown(first, second, third)
    q1, lacking = _linear(seen[..., 0], seen[..., 1], dot(first, ends)[..., 0] - seen[..., 2])
    first, second, third = first[..., None, :], second[..., None, :], third[..., None, :]
    middle = turning(second, q1)
    q0 = between(first, times(middle, third), np.repeat(ends[..., None, :], 2, axis=-2))
    left = np.swapaxes(turning(first, q0) @ middle, -1, -2) @ rest[..., None, :, :]
    across = across_of(third)
    return np.stack([q0, q1, between(third, across, times(left, across))], axis=-1), lacking


# -- the steps they come apart into ------------------------------------------------------------------------


def _pairs(sides: Array, wanted: Array, rho: Array) -> tuple[Array, Array, Array]:
    """Solve K w = F u for an angle t and a vector w in the plane, u = (cos t, sin t, 1).

    Args:
        sides: K (S, 2, 2).
        wanted: F (S, 2, 3).
        rho: (S, 3, 3) of the square of the length of w, a form in u.

    Returns:
        t (S, 4), w (S, 4, 2) and what each of them lacks (S, 4).
    """
    gram = sides @ np.swapaxes(sides, 1, 2)
    tilt = np.arctan2(2 * gram[:, 0, 1], gram[:, 0, 0] - gram[:, 1, 1]) / 2
    strong = np.stack([np.cos(tilt), np.sin(tilt)], axis=1)
    weak = np.stack([-strong[:, 1], strong[:, 0]], axis=1)
    onto = np.einsum("si,sij->sj", strong, sides)
    large = np.linalg.norm(onto, axis=1)
    small = np.linalg.norm(np.einsum("si,sij->sj", weak, sides), axis=1)
    angle, w, lacking = np.zeros((len(sides), 4)), np.zeros((len(sides), 4, 2)), np.full((len(sides), 4), np.inf)
    some = large > _SAME
    rows = np.flatnonzero(some & (small <= _SAME * large))
    if len(rows):
        angle[rows], w[rows], lacking[rows] = _one_by_one(
            strong[rows], weak[rows], onto[rows] / large[rows, None], large[rows], wanted[rows], rho[rows]
        )
    rows = np.flatnonzero(some & (small > _SAME * large))
    if len(rows):
        solved = np.linalg.solve(sides[rows], wanted[rows])
        angle[rows], lacking[rows] = _on_circle(np.swapaxes(solved, 1, 2) @ solved - rho[rows])
        w[rows] = np.einsum("sij,smj->smi", solved, circle(angle[rows]))
    return angle, w, lacking


def _one_by_one(
    strong: Array, weak: Array, along: Array, large: Array, wanted: Array, rho: Array
) -> tuple[Array, Array, Array]:
    """Solve the pair where one of the two equations does not ask for w: the angle first, then w."""
    line = np.einsum("si,sij->sj", weak, wanted)
    angle, lacking = _linear(line[:, 0], line[:, 1], -line[:, 2])
    angle = np.repeat(angle, 2, axis=1)
    u = circle(angle)
    reach = np.einsum("sj,smj->sm", np.einsum("si,sij->sj", strong, wanted), u) / large[:, None]
    whole = np.einsum("smi,sij,smj->sm", u, rho, u)
    left = whole - reach**2
    side = np.sqrt(np.maximum(left, 0.0)) * (1.0, -1.0, 1.0, -1.0)
    short = -left / np.maximum(np.abs(whole), 1e-300)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    w = reach[..., None] * along[:, None] + side[..., None] * across[:, None]
    return angle, w, np.maximum(lacking[:, None], short)


def _on_circle(form: Array) -> tuple[Array, Array]:
    """Return the angles (S, 4) at which a form (S, 3, 3) in (cos, sin, 1) is nothing, and what each lacks."""
    twice = (form[:, 0, 0] - form[:, 1, 1]) / 2 - 1j * form[:, 0, 1]
    once = 2 * (form[:, 0, 2] - 1j * form[:, 1, 2])
    none = (form[:, 0, 0] + form[:, 1, 1]) + 2 * form[:, 2, 2]
    largest = np.maximum(np.maximum(np.abs(twice), np.abs(once)), np.abs(none))
    twice = np.where(np.abs(twice) < 1e-14 * largest, 1e-14 * largest, twice)
    companion = np.zeros((len(form), 4, 4), dtype=complex)
    companion[:, 1:, :3] = np.eye(3)
    companion[:, 0] = -np.stack([once, none, np.conj(once), np.conj(twice)], axis=1) / twice[:, None]
    roots = np.linalg.eigvals(companion)
    # two that fall together leave the circle by the root of the rounding
    return np.angle(roots), np.abs(np.abs(roots) - 1.0) - 1e-4


def _linear(cos: Array, sin: Array, value: Array) -> tuple[Array, Array]:
    """Return both angles (..., 2) at which cos times cosine and sin times sine come to a value, and what they lack."""
    half, lacking = _arc(value, np.hypot(cos, sin))
    return np.arctan2(sin, cos)[..., None] + half, lacking


def _arc(value: Array, size: Array) -> tuple[Array, Array]:
    """Return plus and minus the angle (..., 2) whose cosine is value by size, and by how much that passes 1 (...)."""
    share = value / np.maximum(size, 1e-300)
    half = np.arccos(np.clip(share, -1.0, 1.0))
    return np.stack([half, -half], axis=-1), np.abs(share) - 1.0


def _two_links(axis: Array, first: Array, second: Array, third: Array, point: Array) -> tuple[Array, Array, Array]:
    """Return both pairs of angles (..., 2) about parallel axes that bring a third to a point, and what they lack."""
    near, far, goal = (flat(axis, v) for v in (second - first, third - second, point - first))
    a, b, d = (dot(v, v)[..., 0] for v in (near, far, goal))
    half, lacking = _arc(d - a - b, 2 * np.sqrt(a * b))
    second_angle = between(axis, far, near)[..., None] + half
    axis = axis[..., None, :]
    bent = near[..., None, :] + times(turning(axis, second_angle), far[..., None, :])
    return between(axis, bent, np.repeat(goal[..., None, :], 2, axis=-2)), second_angle, lacking


# -- which shape ---------------------------------------------------------------------------------------------


def _parallel(h: Array) -> bool:
    return bool(np.linalg.norm(np.cross(h[1:], h[0]), axis=1).max() < _SAME)


def _meeting_point(h: Array, r: Array) -> Array:
    """Return the point (S, 3) nearest to three axes (S, 3, 3)."""
    off = np.eye(3) - h[..., :, None] * h[..., None, :]
    return np.asarray(np.linalg.solve(off.sum(axis=1), np.einsum("skij,skj->si", off, r)[..., None])[..., 0])


def _meeting(h: Array, r: Array, size: float) -> Array | None:
    if min(np.linalg.norm(np.cross(h[0], h[1])), np.linalg.norm(np.cross(h[1], h[2]))) < _SAME:
        return None
    point = _meeting_point(h[None], r[None])[0]
    return point if np.linalg.norm(flat(h, point - r), axis=1).max() <= _SAME * (1.0 + size) else None


def _nearest_on(r: Array, h: Array, other_r: Array, other_h: Array) -> Array:
    """Return the point of each axis that is nearest to the other; its own point where they are parallel."""
    across = cross(h, other_h)
    square = dot(across, across)
    far = np.where(square > _SAME**2, dot(cross(other_r - r, other_h), across) / np.maximum(square, 1e-300), 0.0)
    return np.asarray(r + far * h)
