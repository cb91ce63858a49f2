"""Geometric Jacobian of a chain at a tool point, its derivative, and measures of singularity."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain


def jacobian(chain: Chain, q: ArrayLike, tool: Array | None = None) -> Array:
    """Compute the geometric Jacobian at the tool point, in the base frame.

    Args:
        chain: the joints.
        q: joint positions (..., n).
        tool: T_tip_tool (4, 4); the tip itself when left out.

    Returns:
        (..., 6, n): rows 0-2 the velocity of the tool point in m/s, rows 3-5 the angular velocity in
        rad/s, per unit joint rate, both in the axes of the base.
    """
    return pose_and_jacobian(chain, q, tool)[1]


def pose_and_jacobian(chain: Chain, q: ArrayLike, tool: Array | None = None) -> tuple[Array, Array]:
    """Return T_base_tool (..., 4, 4) and the Jacobian (..., 6, n) of q (..., n) from one sweep."""
    vectors = np.asarray(q, dtype=float)
    hats = chain.hats(vectors)
    pose = chain.close(hats[-1], tool)
    result = np.zeros((hats.shape[1], 6, chain.size))
    axes = np.moveaxis(hats[:, :, :, 2], 0, -1)  # (N, 3, n)
    arms = pose[:, :3, 3, None] - np.moveaxis(hats[:, :, :, 3], 0, -1)
    turning = chain.revolute
    result[:, :3] = np.where(turning, _cross(axes, arms), axes)
    result[:, 3:] = np.where(turning, axes, 0.0)
    batch = vectors.shape[:-1]
    return pose.reshape(*batch, 4, 4), result.reshape(*batch, 6, chain.size)


def hessian_of(columns: Array) -> Array:
    """Return the derivative (..., 6, n, n) of a Jacobian (..., 6, n) from its own columns."""
    count = columns.shape[-1]
    linear, angular = columns[..., :3, :], columns[..., 3:, :]
    first, second = np.meshgrid(np.arange(count), np.arange(count), indexing="ij")
    near, far = np.minimum(first, second), np.maximum(first, second)
    result = np.zeros((*columns.shape, count))
    # a point beyond joint j is turned by it: d/dq_j v_i = w_j x v_i; and before it w_i x v_j (symmetric)
    result[..., :3, :, :] = _cross_pairs(angular[..., near], linear[..., far])
    turned = _cross_pairs(angular[..., second], angular[..., first])
    result[..., 3:, :, :] = np.where(second < first, turned, 0.0)
    return result


def characteristic_length_m(chain: Chain) -> float:
    """Return the length that makes metres comparable with radians: the reach of the chain."""
    return chain.reach_m


def singular_values(
    chain: Chain, q: ArrayLike, tool: Array | None = None, length_m: float | None = None
) -> Array:
    """Return the singular values (..., min(6, n)), largest first, of the Jacobian with scaled linear rows.

    Linear rows are divided by ``length_m`` (the reach of the chain when left out), so that every value is
    an angular speed per joint rate.
    """
    scaled = jacobian(chain, q, tool)
    scaled[..., :3, :] /= characteristic_length_m(chain) if length_m is None else length_m
    return np.asarray(np.linalg.svd(scaled, compute_uv=False))


def smallest_singular_value(
    chain: Chain, q: ArrayLike, tool: Array | None = None, length_m: float | None = None
) -> Array:
    """Return the smallest of ``singular_values`` (...): 0 where a direction of motion is lost."""
    return np.asarray(singular_values(chain, q, tool, length_m)[..., -1])


def _cross(a: Array, b: Array) -> Array:
    """Cross product along axis -2 of (..., 3, n) arrays; np.cross is several times slower."""
    return np.stack(
        [
            a[..., 1, :] * b[..., 2, :] - a[..., 2, :] * b[..., 1, :],
            a[..., 2, :] * b[..., 0, :] - a[..., 0, :] * b[..., 2, :],
            a[..., 0, :] * b[..., 1, :] - a[..., 1, :] * b[..., 0, :],
        ],
        axis=-2,
    )


def _cross_pairs(a: Array, b: Array) -> Array:
    """Cross product along axis -3 of (..., 3, n, n) arrays."""
    flat = (*a.shape[:-2], -1)
    return _cross(a.reshape(flat), b.reshape(flat)).reshape(a.shape)
