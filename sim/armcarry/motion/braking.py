"""How far and how long things run on after something has gone wrong: a late stop, a runaway joint.

A joint that brakes with a constant deceleration b from a rate v stops after |v|/b and turns v^2/2b; each
joint brakes on its own and stops at its own time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array


class RunOut(NamedTuple):
    """Distance and time from a command, or a fault, to rest; rad or m, and s, of the same shape."""

    distance: Array
    time_s: Array


def run_out(rate: ArrayLike, deceleration: ArrayLike, reaction_s: ArrayLike = 0.0) -> RunOut:
    """Return how far something runs on: at an even rate while nothing is done, then braked.

    Args:
        rate: when the command is given, rad/s or m/s; its sign does not matter.
        deceleration: of the brake, greater than 0.
        reaction_s: from the command to braking.
    """
    speed, brake = np.abs(np.asarray(rate, dtype=float)), np.asarray(deceleration, dtype=float)
    reaction = np.asarray(reaction_s, dtype=float)
    return RunOut(speed * reaction + speed**2 / (2 * brake), reaction + speed / brake)


def runaway(
    rate: ArrayLike, detection_s: ArrayLike, deceleration: ArrayLike, acceleration: ArrayLike = 0.0
) -> RunOut:
    """Return how far a joint that runs away gets: w t + a t^2 / 2 while undetected, then (w + a t)^2 / 2b.

    Args:
        rate: at the fault, rad/s or m/s.
        detection_s: from the fault to braking.
        deceleration: of the brake, greater than 0.
        acceleration: while undetected.
    """
    w, t, a = (np.asarray(value, dtype=float) for value in (rate, detection_s, acceleration))
    braking = run_out(w + a * t, deceleration)
    return RunOut(w * t + a * t**2 / 2 + braking.distance, t + braking.time_s)


def detection_that_keeps(excursion: ArrayLike, rate: ArrayLike, deceleration: ArrayLike) -> Array:
    """Return the longest detection time with which a joint running away at ``rate`` keeps to an excursion.

    Negative where braking alone takes more: then no detection is quick enough.
    """
    speed = np.asarray(rate, dtype=float)
    return np.asarray((np.asarray(excursion) - speed**2 / (2 * np.asarray(deceleration))) / speed)


def rate_that_keeps(excursion: ArrayLike, detection_s: ArrayLike, deceleration: ArrayLike) -> Array:
    """Return the fastest a joint may run away to keep to an excursion: w t_d + w^2 / 2b = x solved for w."""
    late = np.asarray(deceleration) * np.asarray(detection_s)
    return np.asarray(np.sqrt(late**2 + 2 * np.asarray(deceleration) * np.asarray(excursion)) - late)


def time_to(excursion: float, rate: float, detection_s: float, deceleration: float) -> float:
    """Return how long after the fault a joint that runs away has come this far; inf where it never does."""
    if excursion <= rate * detection_s:
        return excursion / rate
    left = rate**2 - 2 * deceleration * (excursion - rate * detection_s)
    return detection_s + (rate - np.sqrt(left)) / deceleration if left >= 0 else float("inf")


class Braking(NamedTuple):
    """N arms braking: pieces between the stops of n joints, K = n + 1 of them, the last at rest.

    Attributes:
        breaks_s: (N, K+1) from 0, strictly increasing; braking is over at ``breaks_s[:, -2]`` at the latest.
        coefficients: (N, K, 3, n) ascending powers of seconds since the start of each piece, from 0.
        rest_s: (N,) when the last joint has stopped.
    """

    breaks_s: Array
    coefficients: Array
    rest_s: Array


#: stops closer together than this are one, s; joints turn less than b (1e-9)^2 / 2 in it
_APART_S = 1e-9


def braking(rate: Array, deceleration: Array) -> Braking:
    """Return the displacement of joints (N, n) that brake from these rates, each to its own stop.

    Args:
        rate: (N, n), signed.
        deceleration: (n,), greater than 0.

    Raises:
        MotionError: a deceleration is not greater than zero.
    """
    if not np.all(deceleration > 0):
        raise MotionError("brakes need a deceleration greater than zero")
    stop = np.abs(rate) / deceleration
    order = np.sort(stop, axis=1)
    breaks = np.concatenate([np.zeros((len(rate), 1)), order, order[:, -1:] + 1.0], axis=1)
    # joints that stop together, and those that never move, leave pieces without length: they are given a hair
    for k in range(1, breaks.shape[1]):
        breaks[:, k] = np.maximum(breaks[:, k], breaks[:, k - 1] + _APART_S)
    start = breaks[:, :-1, None]
    sign, gone = np.sign(rate)[:, None, :], np.minimum(start, stop[:, None, :])
    moving = start < stop[:, None, :] - _APART_S
    speed = np.abs(rate)[:, None, :]
    table = np.zeros((*breaks[:, :-1].shape, 3, rate.shape[1]))
    table[:, :, 0] = sign * (speed * gone - deceleration * gone**2 / 2)
    table[:, :, 1] = np.where(moving, sign * (speed - deceleration * gone), 0.0)
    table[:, :, 2] = np.where(moving, -sign * deceleration / 2, 0.0)
    return Braking(breaks, table, order[:, -1])


__all__ = ["Braking", "RunOut", "braking", "detection_that_keeps", "rate_that_keeps", "run_out", "runaway", "time_to"]
