"""The innermost step of forward kinematics: constant poses and joint motions, for a batch at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array


def sweep(steps: Array, parents: Sequence[int], revolute: NDArray[np.bool_], q: Array) -> Array:
    """Carry frames whose z axis is the joint axis from joint to joint.

    Args:
        steps: constant poses (n, 4, 4) from the parent's frame (or the base) to the joint at zero.
        parents: for every joint the earlier joint it hangs from, or -1 for the base.
        revolute: (n,) true where the joint turns about its z axis, else it slides along it.
        q: joint positions (N, n).

    Returns:
        Upper three rows of the frames after each joint's motion, (n, N, 3, 4).
    """
    hats = np.empty((len(steps), len(q), 3, 4))
    sin, cos = np.sin(q)[:, :, None], np.cos(q)[:, :, None]
    for k, step in enumerate(steps):
        hat = hats[k]
        if parents[k] < 0:
            hat[:] = step[:3]
        else:
            # the upper rows (3, 4) of a pose times a constant (4, 4): one matrix product for the whole batch
            np.matmul(hats[parents[k]].reshape(-1, 4), step, out=hat.reshape(-1, 4))
        if revolute[k]:
            x, y = hat[:, :, 0].copy(), hat[:, :, 1]
            hat[:, :, 0] = x * cos[:, k] + y * sin[:, k]
            hat[:, :, 1] = y * cos[:, k] - x * sin[:, k]
        else:
            hat[:, :, 3] += hat[:, :, 2] * q[:, k, None]
    return hats


def z_onto(axis: Array) -> Array:
    """Return a pose (4, 4) without translation that turns z onto a unit axis (3,); exact for the six main axes."""
    result = np.eye(4)
    if axis[0] == 0.0 and axis[1] == 0.0 and axis[2] > 0.0:
        return result
    side = np.cross(np.eye(3)[int(np.argmin(np.abs(axis)))], axis)
    side = side / np.linalg.norm(side)
    result[:3, :3] = np.stack([side, np.cross(axis, side), axis], axis=1)
    return result


def joint_vectors(q: ArrayLike, count: int) -> Array:
    """Return q (..., count) as floats. Raises MotionError when it does not hold count joints."""
    vectors = np.asarray(q, dtype=float)
    if vectors.ndim < 1 or vectors.shape[-1] != count:
        raise MotionError(f"a joint vector of shape {vectors.shape} does not hold {count} joints")
    return vectors
