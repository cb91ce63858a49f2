"""Poses as arrays of shape (..., 4, 4), and the few operations on them.

``T_a_b`` takes coordinates in b to coordinates in a. Frames follow ROS REP 103:
right-handed, x forward, y left, z up; roll-pitch-yaw about fixed axes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def identity(*batch: int) -> Array:
    """Return identity poses of shape (*batch, 4, 4)."""
    result = np.zeros((*batch, 4, 4))
    for k in range(4):
        result[..., k, k] = 1.0
    return result


def translation(xyz_m: ArrayLike) -> Array:
    """Return poses (..., 4, 4) that move by xyz_m (..., 3) in metres."""
    xyz = np.asarray(xyz_m, dtype=float)
    result = identity(*xyz.shape[:-1])
    result[..., :3, 3] = xyz
    return result


def turning(axis: ArrayLike, angle_rad: ArrayLike) -> Array:
    """Return rotations (..., 3, 3) about unit axes (..., 3) by angles (...), broadcast (Rodrigues)."""
    along, angle = np.asarray(axis, dtype=float), np.asarray(angle_rad, dtype=float)
    x, y, z = along[..., 0], along[..., 1], along[..., 2]
    s, c = np.sin(angle), np.cos(angle)
    k = 1.0 - c
    result = np.empty((*np.broadcast(x, angle).shape, 3, 3))
    result[..., 0, 0] = c + x * x * k
    result[..., 0, 1] = x * y * k - z * s
    result[..., 0, 2] = x * z * k + y * s
    result[..., 1, 0] = y * x * k + z * s
    result[..., 1, 1] = c + y * y * k
    result[..., 1, 2] = y * z * k - x * s
    result[..., 2, 0] = z * x * k - y * s
    result[..., 2, 1] = z * y * k + x * s
    result[..., 2, 2] = c + z * z * k
    return result


def rotation_about(axis: ArrayLike, angle_rad: ArrayLike) -> Array:
    """Return poses (..., 4, 4) turning about a unit axis (3,) by angle_rad (...)."""
    turned = turning(axis, angle_rad)
    result = identity(*turned.shape[:-2])
    result[..., :3, :3] = turned
    return result


def from_xyz_rpy(xyz_m: ArrayLike, rpy_rad: ArrayLike) -> Array:
    """Return one pose (4, 4) from a position in metres and fixed-axis roll, pitch, yaw (REP 103, URDF)."""
    roll, pitch, yaw = np.asarray(rpy_rad, dtype=float)
    turn = (
        rotation_about((0, 0, 1), yaw)
        @ rotation_about((0, 1, 0), pitch)
        @ rotation_about((1, 0, 0), roll)
    )
    turn[:3, 3] = np.asarray(xyz_m, dtype=float)
    return turn


def rpy(pose: Array) -> Array:
    """Return fixed-axis roll, pitch, yaw (3,) in radians of one pose; yaw is 0 where pitch is +-90 deg.

    Near that pitch yaw is known badly; roll is what is left after the yaw that was chosen, so the three
    together give the pose back to rounding everywhere.
    """
    r = pose[:3, :3]
    flat = np.hypot(r[0, 0], r[1, 0])
    yaw = np.arctan2(r[1, 0], r[0, 0]) if flat > 1e-12 else 0.0
    s, c = np.sin(yaw), np.cos(yaw)
    roll = np.arctan2(s * r[0, 2] - c * r[1, 2], c * r[1, 1] - s * r[0, 1])
    return np.array([roll, np.arctan2(-r[2, 0], flat), yaw])


def inverse(pose: Array) -> Array:
    """Return the inverse poses (..., 4, 4)."""
    result = identity(*pose.shape[:-2])
    transposed = np.swapaxes(pose[..., :3, :3], -1, -2)
    result[..., :3, :3] = transposed
    result[..., :3, 3] = -np.einsum("...ij,...j->...i", transposed, pose[..., :3, 3])
    return result


def apply(pose: Array, points_m: ArrayLike) -> Array:
    """Take points (..., 3) in b to a by T_a_b (..., 4, 4), broadcasting."""
    points = np.asarray(points_m, dtype=float)
    return np.asarray(np.einsum("...ij,...j->...i", pose[..., :3, :3], points) + pose[..., :3, 3])


def rotation_vector(pose: Array) -> Array:
    """Return axis times angle (..., 3) in radians, angle in [0, pi], stable near 0 and pi."""
    quaternion = quaternion_wxyz(pose)
    sign = np.where(quaternion[..., :1] < 0, -1.0, 1.0)
    quaternion = quaternion * sign
    vector = quaternion[..., 1:]
    norm = np.linalg.norm(vector, axis=-1, keepdims=True)
    angle = 2.0 * np.arctan2(norm, quaternion[..., :1])
    scale = np.where(norm > 1e-12, angle / np.where(norm > 1e-12, norm, 1.0), 2.0)
    return np.asarray(vector * scale)


def quaternion_wxyz(pose: Array) -> Array:
    """Return unit quaternions (..., 4), order w x y z, of poses (..., 4, 4) (Shepperd's choice of pivot)."""
    r = pose[..., :3, :3]
    m00, m11, m22 = r[..., 0, 0], r[..., 1, 1], r[..., 2, 2]
    candidates = np.stack(
        [1 + m00 + m11 + m22, 1 + m00 - m11 - m22, 1 - m00 + m11 - m22, 1 - m00 - m11 + m22], axis=-1
    )
    pick = np.argmax(candidates, axis=-1)
    s01, s02, s12 = r[..., 0, 1] + r[..., 1, 0], r[..., 0, 2] + r[..., 2, 0], r[..., 1, 2] + r[..., 2, 1]
    d21, d02, d10 = r[..., 2, 1] - r[..., 1, 2], r[..., 0, 2] - r[..., 2, 0], r[..., 1, 0] - r[..., 0, 1]
    columns = np.stack(
        [
            np.stack([candidates[..., 0], d21, d02, d10], axis=-1),
            np.stack([d21, candidates[..., 1], s01, s02], axis=-1),
            np.stack([d02, s01, candidates[..., 2], s12], axis=-1),
            np.stack([d10, s02, s12, candidates[..., 3]], axis=-1),
        ],
        axis=-2,
    )
    chosen = np.take_along_axis(columns, pick[..., None, None], axis=-2)[..., 0, :]
    return np.asarray(chosen / np.linalg.norm(chosen, axis=-1, keepdims=True))


def from_quaternion_wxyz(quaternion_wxyz: ArrayLike, xyz_m: ArrayLike = (0.0, 0.0, 0.0)) -> Array:
    """Return poses (..., 4, 4) from unit quaternions (..., 4), order w x y z, and positions (..., 3)."""
    q = np.asarray(quaternion_wxyz, dtype=float)
    q = q / np.linalg.norm(q, axis=-1, keepdims=True)
    w, x, y, z = np.moveaxis(q, -1, 0)
    result = identity(*q.shape[:-1])
    result[..., 0, 0] = 1 - 2 * (y * y + z * z)
    result[..., 0, 1] = 2 * (x * y - z * w)
    result[..., 0, 2] = 2 * (x * z + y * w)
    result[..., 1, 0] = 2 * (x * y + z * w)
    result[..., 1, 1] = 1 - 2 * (x * x + z * z)
    result[..., 1, 2] = 2 * (y * z - x * w)
    result[..., 2, 0] = 2 * (x * z - y * w)
    result[..., 2, 1] = 2 * (y * z + x * w)
    result[..., 2, 2] = 1 - 2 * (x * x + y * y)
    result[..., :3, 3] = np.asarray(xyz_m, dtype=float)
    return result
