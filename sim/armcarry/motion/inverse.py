"""Inverse kinematics of arms with five joints or more, many seeds at once, reproducible.

Levenberg-Marquardt on the pose error with the damping of S. K. Chan and P. D. Lawrence (General inverse
kinematics with the error damped pseudoinverse, ICRA 1988); joints that would leave their travel are held at
its end while the others go on. Solutions are then moved within the null space, away from the ends of travel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import characteristic_length_m, pose_and_jacobian
from armcarry.motion.redundancy import centre, pin, pose_error, unwind
from armcarry.motion.sweep import joint_vectors

__all__ = ["Attempts", "Tolerance", "nearest", "pose_error", "solutions", "solve", "unwind"]


@dataclass(frozen=True)
class Tolerance:
    """How exactly a pose is met: position and angle apart, each the plain error, not a square."""

    position_m: float = 1e-9
    angle_rad: float = 1e-9


@dataclass(frozen=True, eq=False)
class Attempts:
    """Where every seed ended.

    Attributes:
        q: joint positions (S, n), inside their travel.
        short_m, short_rad: distance and angle left to the pose (S,).
        met: (S,) true where both are within the tolerance.
    """

    q: Array
    short_m: Array
    short_rad: Array
    met: NDArray[np.bool_]


def solve(
    chain: Chain,
    T_base_tool: Array,
    seeds: ArrayLike,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    limited: bool = True,
    turned: bool = True,
    rounds: int = 80,
) -> Attempts:
    """Bring the tool to a pose from every seed.

    Args:
        chain: the joints.
        T_base_tool: the pose wanted (4, 4), or one a seed (S, 4, 4).
        seeds: joint positions to start from (S, n).
        tool: T_tip_tool (4, 4).
        pinned: joints held at a value, by name: the explicit redundancy parameter.
        tolerance: how exactly the pose is met.
        limited: keep the joints in their travel.
        turned: meet the orientation too, not the position alone.
        rounds: most steps taken.
    """
    tolerance = tolerance or Tolerance()
    q = joint_vectors(seeds, chain.size).reshape(-1, chain.size).copy()
    free = pin(chain, q, pinned)
    bounds = chain.limits if limited else np.full_like(chain.limits, np.inf) * (-1.0, 1.0)
    q[:, free] = np.clip(q[:, free], bounds[free, 0], bounds[free, 1])
    goals = np.broadcast_to(T_base_tool, (len(q), 4, 4))
    length = characteristic_length_m(chain)
    short_m, short_rad = np.empty(len(q)), np.empty(len(q))
    best = np.full(len(q), np.inf)
    kept = q.copy()
    active = np.arange(len(q))
    for round_ in range(rounds + 1):
        pose, columns = pose_and_jacobian(chain, q[active], tool)
        error = pose_error(pose, goals[active])
        if not turned:
            error[:, 3:] = columns[:, 3:] = 0.0
        metres, radians = np.linalg.norm(error[:, :3], axis=1), np.linalg.norm(error[:, 3:], axis=1)
        worth = np.hypot(metres / length, radians)
        better = worth < best[active]
        rows = active[better]
        kept[rows], best[rows] = q[rows], worth[better]
        short_m[rows], short_rad[rows] = metres[better], radians[better]
        # two decades inside the tolerance, so that a solution stays one after rounding
        going = (metres > 1e-2 * tolerance.position_m) | (radians > 1e-2 * tolerance.angle_rad)
        going &= better | (worth > 1e-8)  # rounding is reached where a tiny error no longer falls
        active, columns, error = active[going], columns[going], error[going]
        if round_ == rounds or not len(active):
            break
        q[active] = _step(q[active], columns, error, free, bounds, length)
    met = (short_m <= tolerance.position_m) & (short_rad <= tolerance.angle_rad)
    return Attempts(kept, short_m, short_rad, met)


def _step(
    q: Array, columns: Array, error: Array, free: NDArray[np.bool_], bounds: Array, length: float, cap: float = 0.7
) -> Array:
    """Take one damped least-squares step (S, n), holding joints that would be pushed past their travel."""
    scale = np.array([1.0 / length] * 3 + [1.0] * 3)
    error = error * scale
    columns = columns * scale[:, None] * free
    damping = 1e-14 + 0.02 * np.einsum("si,si->s", error, error)
    for _ in range(3):
        gram = columns @ np.swapaxes(columns, 1, 2) + damping[:, None, None] * np.eye(6)
        step = np.einsum("sri,sr->si", columns, np.linalg.solve(gram, error[..., None])[..., 0])
        blocked = ((q <= bounds[:, 0]) & (step < 0)) | ((q >= bounds[:, 1]) & (step > 0))
        if not np.any(blocked & (step != 0)):
            break
        columns = np.where(blocked[:, None, :], 0.0, columns)
    largest = np.abs(step).max(axis=1, keepdims=True)
    step *= np.minimum(1.0, cap / np.maximum(largest, 1e-300))
    moved = np.where(free, np.clip(q + step, bounds[:, 0], bounds[:, 1]), q)
    return np.asarray(moved)


# -- the questions asked ---------------------------------------------------------------------------------


def solutions(
    chain: Chain,
    T_base_tool: Array,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    seeds: int = 96,
    seed: int = 0,
    what: str = "the pose",
) -> Array:
    """Find the distinct ways the arm can take a pose.

    Args:
        chain: the joints.
        T_base_tool: the pose wanted (4, 4).
        tool: T_tip_tool (4, 4).
        pinned: joints held at a value, by name. Without it an arm with a spare joint is brought, on each
            of its branches, to a local optimum of joint margin.
        tolerance: how exactly the pose is met, 1e-9 m and 1e-9 rad when left out.
        seeds: how many joint vectors to start from.
        seed: of the generator they are drawn with; the same seed gives the same answer bit for bit.
        what: the pose in words, for the error.

    Returns:
        (k, n), k >= 1, distinct by more than 0.02 rad or m, widest joint margin first. Whole turns are
        taken out.

    Raises:
        ReachError: no solution; says how far short the best attempt is and what stops it.
    """
    starts = _seeds(chain, seeds, seed)
    attempts = solve(chain, T_base_tool, starts, tool=tool, pinned=pinned, tolerance=tolerance)
    if not attempts.met.any():
        raise _unreached(chain, T_base_tool, attempts, starts, tool, pinned, what)
    found = attempts.q[attempts.met]
    shifted = unwind(chain, found)
    for name in pinned or {}:
        shifted[:, chain.column(name)] = found[:, chain.column(name)]
    centred = centre(chain, shifted, T_base_tool, tool=tool, pinned=pinned)
    polished = solve(chain, T_base_tool, centred, tool=tool, pinned=pinned, tolerance=tolerance, rounds=10)
    result = np.where(polished.met[:, None], polished.q, shifted)
    return _distinct(chain, result)


def nearest(
    chain: Chain,
    T_base_tool: Array,
    reference: ArrayLike,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    seed: int = 0,
    what: str = "the pose",
) -> Array:
    """Find the joint vector (n,) that takes a pose and is nearest a reference (n,).

    Starts at the reference; when that fails, or runs off by more than 0.5 rad, every branch is looked at
    too and the nearest by the largest joint difference is returned. Whole turns are chosen to be nearest.

    Raises:
        ReachError: as ``solutions``.
    """
    start = joint_vectors(reference, chain.size)
    first = solve(chain, T_base_tool, start[None], tool=tool, pinned=pinned, tolerance=tolerance)
    near = unwind(chain, first.q[0], start)
    if first.met[0] and np.abs(near - start).max() < 0.5:
        return near
    try:
        others = solutions(
            chain, T_base_tool, tool=tool, pinned=pinned, tolerance=tolerance, seed=seed, what=what
        )
    except ReachError:
        if first.met[0]:
            return near
        raise
    candidates = unwind(chain, others, start)
    if first.met[0]:
        candidates = np.vstack([near, candidates])
    return np.asarray(candidates[np.argmin(np.abs(candidates - start).max(axis=1))])


def _seeds(chain: Chain, count: int, seed: int) -> Array:
    """Draw joint vectors over the travel; joints without limits within half a turn (or a metre)."""
    low = np.where(np.isfinite(chain.limits[:, 0]), chain.limits[:, 0], np.where(chain.revolute, -np.pi, -1.0))
    high = np.where(np.isfinite(chain.limits[:, 1]), chain.limits[:, 1], np.where(chain.revolute, np.pi, 1.0))
    return np.random.default_rng(seed).uniform(low, high, size=(count, chain.size))


def _distinct(chain: Chain, q: Array, apart: float = 0.02) -> Array:
    share = np.where(chain.bounded, chain.margins(q) / np.where(chain.bounded, chain.half, 1.0), 1.0).min(axis=1)
    # rounded first, so that equal margins keep one order on every machine
    order = np.lexsort((*np.round(q.T[::-1], 6), -np.round(share, 6)))
    kept: list[Array] = []
    for row in q[order]:
        if not kept or np.abs(np.array(kept) - row).max(axis=1).min() > apart:
            kept.append(row)
    return np.array(kept)


def _unreached(
    chain: Chain, goal: Array, attempts: Attempts, starts: Array, tool: Array | None,
    pinned: Mapping[str, float] | None, what: str,
) -> ReachError:
    """Say how far short the best attempt is, and whether travel or reach stops it."""
    length = characteristic_length_m(chain)
    best = int(np.argmin(np.hypot(attempts.short_m / length, attempts.short_rad)))
    short_m, short_rad = float(attempts.short_m[best]), float(attempts.short_rad[best])
    tight = np.abs(chain.margins(attempts.q[best])) < 1e-6
    stops = [name for name, at in zip(chain.joints, tight, strict=True) if at and name not in (pinned or {})]
    unlimited = solve(chain, goal, starts, tool=tool, pinned=pinned, limited=False)
    if unlimited.met.any():
        names = ", ".join(
            f"{name} at {chain.limits[chain.column(name), side]:.4g}"
            for name in stops
            for side in [int(attempts.q[best, chain.column(name)] > chain.limits[chain.column(name)].mean())]
        )
        reason = f"stopped by the end of travel of {names}" if stops else "stopped by the travel of its joints"
    else:
        reason = _not_by_travel(chain, goal, starts, tool, pinned, attempts.q[best])
    return ReachError(what, reason, short_m=short_m, short_rad=short_rad, stopped_by=stops)


def _not_by_travel(
    chain: Chain, goal: Array, starts: Array, tool: Array | None, pinned: Mapping[str, float] | None, q: Array
) -> str:
    """Say what keeps the arm from a pose that it cannot take with longer travel either: its length, or the turn."""
    distance, span = float(np.linalg.norm(goal[:3, 3] - chain.hats(q)[0, 0, :, 3])), _span(chain, tool)
    held = f" with {', '.join(pinned)} pinned" if pinned else ""
    if distance > span:
        return f"out of reach: {distance:.3f} m from the first joint, the arm is {span:.3f} m long{held}"
    if solve(chain, goal, starts, tool=tool, pinned=pinned, turned=False).met.any():
        free = chain.size - len(pinned or {})
        why = f"; {free} joints cannot turn it every way" if free < 6 else ""
        return f"within reach, but not turned like that: the point gets there turned otherwise{held}{why}"
    return f"out of reach, though nearer than the arm is long: no joint positions bring the point there{held}"


def _span(chain: Chain, tool: Array | None) -> float:
    return float(chain.levers(tool)[0]) if chain.revolute[0] else chain.reach_m
