"""A spare joint: pinning it, moving it away from the ends of travel, and whole turns of joints."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import characteristic_length_m, hessian_of, pose_and_jacobian

TURN = 2.0 * np.pi


def pose_error(pose: Array, goal: Array) -> Array:
    """Return what is left from pose to goal (..., 6): position in m, then rotation vector in rad, base axes."""
    turn = goal @ poses.inverse(pose)
    return np.concatenate([goal[..., :3, 3] - pose[..., :3, 3], poses.rotation_vector(turn)], axis=-1)


def pin(chain: Chain, q: Array, pinned: Mapping[str, float] | None) -> NDArray[np.bool_]:
    """Write pinned values into q (S, n) and return which joints are free (n,)."""
    free = np.ones(chain.size, dtype=bool)
    for name, value in (pinned or {}).items():
        column = chain.column(name)
        low, high = chain.limits[column]
        if not low <= value <= high:
            raise MotionError(f"joint '{name}' is pinned at {value:g}, outside its travel {low:g} to {high:g}")
        q[:, column] = value
        free[column] = False
    return free


def centre(
    chain: Chain,
    q: Array,
    T_base_tool: Array,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    rounds: int = 40,
) -> Array:
    """Move solutions (S, n) within the null space of the pose towards the middle of the joints' travel.

    Each ends at a local optimum of the joint margin (u^2/2 + 2u^4 summed over joints, u the position in
    half travels from the middle). A row that cannot be brought back to the pose is returned as it came.
    """
    vectors = q.copy()
    free = pin(chain, vectors, pinned)
    if free.sum() <= 6:
        return vectors
    scale = np.array([1.0 / characteristic_length_m(chain)] * 3 + [1.0] * 3)
    going = np.arange(len(vectors))
    for _ in range(rounds):
        if not len(going):
            break
        q = vectors[going]
        pose, columns = pose_and_jacobian(chain, q, tool)
        error = pose_error(pose, np.broadcast_to(T_base_tool, pose.shape)) * scale
        slope, bend = margin_slopes(chain, q)
        curved = hessian_of(columns)[..., free, :][..., free] * scale[:, None, None]
        step = np.zeros_like(q)
        step[:, free] = _newton(columns[..., free] * scale[:, None], curved, error, slope[:, free], bend[:, free])
        largest = np.abs(step).max(axis=1, keepdims=True)
        q += step * np.minimum(1.0, 0.3 / np.maximum(largest, 1e-300))
        vectors[going] = np.clip(q, chain.limits[:, 0], chain.limits[:, 1])
        going = going[largest[:, 0] >= 1e-7]
    return vectors


def _newton(columns: Array, curved: Array, error: Array, slope: Array, bend: Array) -> Array:
    """Return the step (S, n) back to the pose and, within its null space, down the margin cost.

    Newton's step with the curvature of the pose (the multipliers times the derivative of the Jacobian);
    where that is not convex, its size is kept and the sign taken downhill.
    """
    rank = columns.shape[1]
    left, values, right = np.linalg.svd(columns)
    soft = values / (values**2 + 1e-8)
    row, spare = right[:, :rank], right[:, rank:]
    push = np.einsum("srk,sk->sr", left, soft * np.einsum("ski,si->sk", row, slope))
    curvature = -np.einsum("sr,srij->sij", push, curved)
    curvature[:, np.arange(len(slope[0])), np.arange(len(slope[0]))] += bend
    reduced = spare @ curvature @ np.swapaxes(spare, 1, 2)
    sizes, turns = np.linalg.eigh((reduced + np.swapaxes(reduced, 1, 2)) / 2)
    downhill = -np.einsum("ski,si->sk", spare, slope)
    inside = np.einsum("skm,sm->sk", turns, np.einsum("skm,sk->sm", turns, downhill) / np.maximum(np.abs(sizes), 0.01))
    back = np.einsum("ski,sk->si", row, soft * np.einsum("srk,sr->sk", left, error))
    return np.asarray(back + np.einsum("ski,sk->si", spare, inside))


def margin_cost(chain: Chain, q: Array) -> Array:
    """Return what ``centre`` makes least (S,): u^2/2 + 2u^4 summed over joints with limits."""
    u = np.where(chain.bounded, (q - chain.middle) / np.where(chain.bounded, chain.half, 1.0), 0.0)
    return np.asarray((u**2 / 2 + 2 * u**4).sum(axis=-1))


def margin_share(chain: Chain, q: Array) -> Array:
    """Return the least margin of any joint (S,), as a share of half its travel; 1 without limits."""
    shares = chain.margins(q) / np.where(chain.bounded, chain.half, 1.0)
    return np.asarray(np.where(chain.bounded, shares, 1.0).min(axis=-1))


def margin_slopes(chain: Chain, q: Array) -> tuple[Array, Array]:
    """Return first and second derivative (S, n) of the margin cost; zero for a joint without limits."""
    bounded = chain.bounded
    half = np.where(bounded, chain.half, 1.0)
    u = (q - chain.middle) / half
    return np.where(bounded, (u + 8 * u**3) / half, 0.0), np.where(bounded, (1 + 24 * u**2) / half**2, 0.0)


def unwind(chain: Chain, q: Array, reference: Array | None = None) -> Array:
    """Shift turning joints (..., n) by whole turns, inside their travel, to be nearest the reference.

    The reference (n,) is the middle of travel when left out.
    """
    low, high = chain.limits[:, 0], chain.limits[:, 1]
    reference = chain.middle if reference is None else reference
    turns = np.round((reference - q) / TURN)
    least, most = np.ceil((low - q) / TURN - 1e-12), np.floor((high - q) / TURN + 1e-12)
    turns = np.where(chain.revolute & (least <= most), np.clip(turns, least, np.maximum(least, most)), 0.0)
    return np.asarray(np.where(turns == 0, q, np.clip(q + turns * TURN, low, high)))
