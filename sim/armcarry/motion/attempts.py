"""Inverse kinematics by Levenberg-Marquardt, many starts at once, reproducible.

On the pose error, with the damping of S. K. Chan and P. D. Lawrence (General inverse kinematics with the error
damped pseudoinverse, ICRA 1988); joints that would leave their travel are held at its end while the others go on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import characteristic_length_m, pose_and_jacobian
from armcarry.motion.redundancy import pin, pose_error
from armcarry.motion.sweep import joint_vectors


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
