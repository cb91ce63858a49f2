"""What tests measure motions and arms with, and no code of the package needs: closed forms, samples, counts."""

from __future__ import annotations

import itertools

import numpy as np

from armcarry.motion.braking import braking
from armcarry.motion.curve import Motion
from armcarry.motion.jacobian import jacobian
from armcarry.scene.light import EARTH_RADIUS_M

TURN = 2 * np.pi


def minimum_time_s(length, speed, acceleration):
    """Return the time of the quickest move of one coordinate from rest to rest: a trapezoid, or a triangle."""
    short = length < speed**2 / acceleration
    return 2 * np.sqrt(length / acceleration) if short else length / speed + speed / acceleration


def greatest_rates(motion):
    """Return the exact greatest |rate| and |acceleration| (n,), (n,) of each joint."""
    return np.abs(motion.extremes(1)).max(axis=0), np.abs(motion.extremes(2)).max(axis=0)


def night_share(radius_m, beta_rad):
    """Return the share (...) of a circular orbit inside the cylinder of the Earth's shadow.

    acos(sqrt(h^2 + 2 R h) / ((R + h) cos beta)) / pi, and none where abs(beta) >= asin(R / (R + h)).
    """
    sine = EARTH_RADIUS_M / radius_m
    cosine = np.abs(np.cos(np.asarray(beta_rad, dtype=float)))
    reach = np.sqrt(1.0 - sine**2)
    return np.where(cosine > reach, np.arccos(np.minimum(reach / np.maximum(cosine, 1e-12), 1.0)) / np.pi, 0.0)


def projection(vertical_rad, aspect, near_m, far_m=None):
    """Return the perspective matrix (4, 4) of glTF 2.0, section Cameras; without far_m the infinite one.

    It takes glTF camera coordinates (looks along -z, y up) to clip coordinates.
    """
    f = 1.0 / np.tan(vertical_rad / 2)
    matrix = np.zeros((4, 4))
    matrix[0, 0], matrix[1, 1], matrix[3, 2] = f / aspect, f, -1.0
    if far_m is None:
        matrix[2, 2], matrix[2, 3] = -1.0, -2.0 * near_m
    else:
        matrix[2, 2] = (far_m + near_m) / (near_m - far_m)
        matrix[2, 3] = 2.0 * far_m * near_m / (near_m - far_m)
    return matrix


def tool_speed(chain, motion, time_s, tool=None):
    """Return linear speed in m/s and angular speed in rad/s (...), (...) of the tool at time_s (...)."""
    twist = np.einsum("...ri,...i->...r", jacobian(chain, motion.at(time_s), tool), motion.at(time_s, 1))
    return np.linalg.norm(twist[..., :3], axis=-1), np.linalg.norm(twist[..., 3:], axis=-1)


def manipulability(chain, q, tool=None, rows="all"):
    """Return Yoshikawa's manipulability (...): sqrt(det(J J^T)), metres and radians unscaled.

    The value of all six rows depends on the unit of length; "translation" and "rotation" take three rows.
    Source: T. Yoshikawa, Manipulability of Robotic Mechanisms, Int. J. Robotics Research 4 (1985).
    """
    part = {"all": slice(0, 6), "translation": slice(0, 3), "rotation": slice(3, 6)}[rows]
    chosen = jacobian(chain, q, tool)[..., part, :]
    gram = chosen @ np.swapaxes(chosen, -1, -2)
    return np.asarray(np.sqrt(np.maximum(np.linalg.det(gram), 0.0)))


def windings(chain, q):
    """Return all joint vectors (k, n) inside the travel that differ from q (n,) by whole turns."""
    choices = []
    for j, value in enumerate(q):
        low, high = chain.limits[j]
        values = [value]
        if chain.revolute[j] and np.isfinite(high - low):
            turns = np.arange(np.ceil((low - value) / TURN), np.floor((high - value) / TURN) + 1)
            values = sorted({*(value + turns * TURN), value}, key=lambda v: abs(v - value))
        choices.append(values)
    return np.array(list(itertools.product(*choices)))


def braking_motion(joints, position, rate, deceleration):
    """Return joints (n,) braking from a position and rate, to a second after the last has stopped."""
    arc = braking(rate[None], deceleration)
    table = arc.coefficients[0].copy()
    table[:, 0] += position
    return Motion(joints, arc.breaks_s[0], table)
