"""The innermost step of forward kinematics: constant poses and joint motions, for a batch at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array

#: so many joint vectors are few: one product a joint is then quicker than one for the whole batch
_FEW = 24


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
    if len(q) <= _FEW:
        return _few(steps, parents, revolute, q, hats)
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


def _few(steps: Array, parents: Sequence[int], revolute: NDArray[np.bool_], q: Array, hats: Array) -> Array:
    """Carry a few vectors: the motions of all joints at once, so that each joint is left one product."""
    turned = np.where(revolute, q, 0.0)
    sin, cos = np.sin(turned).T[:, :, None], np.cos(turned).T[:, :, None]
    x, y, z, at = (steps[:, None, :3, k] for k in range(4))
    own = np.zeros((len(steps), q.shape[0], 4, 4))
    own[:, :, :3, 0] = x * cos + y * sin
    own[:, :, :3, 1] = y * cos - x * sin
    own[:, :, :3, 2] = z
    own[:, :, :3, 3] = at + z * np.where(revolute, 0.0, q).T[:, :, None]
    own[:, :, 3, 3] = 1.0
    for k, parent in enumerate(parents):
        if parent < 0:
            hats[k] = own[k, :, :3]
        else:
            np.matmul(hats[parent], own[k], out=hats[k])
    return hats


def z_onto(axis: Array) -> Array:
    """Return a pose (4, 4) without translation that turns z onto a unit axis (3,); exact for the six main axes."""
    return _z_onto(*axis.tolist()).copy()


@lru_cache(maxsize=1024)
def _z_onto(x: float, y: float, z: float) -> Array:
    result, axis = np.eye(4), np.array([x, y, z])
    if x == 0.0 and y == 0.0 and z > 0.0:
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
