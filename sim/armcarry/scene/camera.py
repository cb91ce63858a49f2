"""Cameras and eyes: what stands in the field of view, how a head is turned, how well two views cross.

A camera looks along +x of its frame, up is +z (ROS REP 103 body frame). Pan turns the head about +z, to the
left positive; tilt then turns it about the panned y axis, upwards positive. The optical frame of REP 103 has z
forward, x right, y down. Nothing here asks whether a body stands in the way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry import poses
from armcarry.geometry.poses import Array

#: rotation (3, 3) from the glTF camera (looks along -z, y up, x right) to body coordinates
R_BODY_GLTF = np.array([[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True)
class View:
    """The field of view of a camera and how far its head turns.

    Attributes:
        horizontal_rad, vertical_rad: full angles of view, under pi.
        pan_rad, tilt_rad: lowest and highest angle of the head; equal where it does not turn.
    """

    horizontal_rad: float
    vertical_rad: float
    pan_rad: tuple[float, float] = (0.0, 0.0)
    tilt_rad: tuple[float, float] = (0.0, 0.0)

@dataclass(frozen=True, eq=False)
class Sight:
    """How a camera sees points, its head turned to each as far as it goes.

    Attributes:
        inside: whether the point is in the field of view (...).
        pan_rad, tilt_rad: the head's angles (...).
        beyond_rad: angle (...) by which the point is out of view, the larger of the two; 0 or less inside.
        range_m: distance (...) from the camera.
    """

    inside: np.ndarray
    pan_rad: Array
    tilt_rad: Array
    beyond_rad: Array
    range_m: Array


def look(view: View, T_world_camera: Array, points_m: ArrayLike) -> Sight:
    """Turn the head to each point as far as its limits allow, and tell whether the point is in view.

    Pan goes to the point's azimuth and tilt to its height, each stopped at its limit; this keeps the point
    nearest the centre of the picture. A head that could reach a point only by tilting past the vertical is
    not turned round.

    Args:
        T_world_camera: poses (..., 4, 4) of the camera's frame with the head at zero.
        points_m: points (..., 3) in the world frame, broadcast against the poses.
    """
    local = poses.apply(poses.inverse(T_world_camera), points_m)
    x, y, z = np.moveaxis(local, -1, 0)
    azimuth = np.arctan2(y, x)
    pan = _nearest_turn(azimuth, view.pan_rad)
    ahead, left = np.cos(pan) * x + np.sin(pan) * y, np.cos(pan) * y - np.sin(pan) * x
    tilt = np.clip(np.arctan2(z, ahead), *view.tilt_rad)
    forward, up = np.cos(tilt) * ahead + np.sin(tilt) * z, np.cos(tilt) * z - np.sin(tilt) * ahead
    beyond = np.maximum(
        np.abs(np.arctan2(left, forward)) - view.horizontal_rad / 2,
        np.abs(np.arctan2(up, forward)) - view.vertical_rad / 2,
    )
    distance = np.linalg.norm(local, axis=-1)
    return Sight(np.asarray((beyond <= 0.0) & (distance > 0.0)), pan, np.asarray(tilt), beyond, distance)


def _nearest_turn(azimuth: Array, limits: tuple[float, float]) -> Array:
    """Return the angle within limits that is nearest to azimuth on the circle; a full turn reaches every one."""
    low, high = limits
    middle = (low + high) / 2
    around = middle + np.mod(azimuth - middle + np.pi, 2 * np.pi) - np.pi
    return np.asarray(np.clip(around, low, high))


def head_pose(T_world_camera: Array, pan_rad: ArrayLike, tilt_rad: ArrayLike) -> Array:
    """Return poses (..., 4, 4) of the camera with its head turned by pan (...) and tilt (...)."""
    panned = T_world_camera @ poses.rotation_about((0.0, 0.0, 1.0), pan_rad)
    return np.asarray(panned @ poses.rotation_about((0.0, 1.0, 0.0), -np.asarray(tilt_rad, dtype=float)))


def direction_off_axis_rad(T_world_eye: Array, direction: ArrayLike) -> Array:
    """Return the angle (...) of a direction (..., 3) in the world frame, such as the sun's, off the +x axis."""
    local = np.einsum("...ji,...j->...i", T_world_eye[..., :3, :3], np.asarray(direction, dtype=float))
    return np.asarray(np.arctan2(np.hypot(local[..., 1], local[..., 2]), local[..., 0]))


def crossing_rad(eye_a_m: ArrayLike, eye_b_m: ArrayLike, points_m: ArrayLike) -> Array:
    """Return the angle (...) between two lines of sight at points (..., 3), folded to 0 to pi/2.

    At pi/2 the two views fix the point best; at 0 both show the same, from the same side or from opposite sides.
    """
    points = np.asarray(points_m, dtype=float)
    a, b = np.asarray(eye_a_m, dtype=float) - points, np.asarray(eye_b_m, dtype=float) - points
    return np.asarray(
        np.arctan2(np.linalg.norm(np.cross(a, b), axis=-1), np.abs(np.sum(a * b, axis=-1)))
    )
