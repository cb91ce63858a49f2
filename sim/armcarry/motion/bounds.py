"""Rigorous bounds of a tool's motion over an interval, from the joints' polynomials and the arm's levers."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion

#: intervals that are expanded at once
_BATCH = 4096


def taylor(curve: Motion, middles: Array, halves: Array) -> tuple[Array, Array, Array, Array]:
    """Expand joints about the middles of intervals, each inside one piece.

    Args:
        curve: joint polynomials.
        middles, halves: interval centres and half lengths (N,).

    Returns:
        Position and rate (N, n) at the middles, then the greatest possible |rate| and |acceleration|
        (N, n) over each interval: the sums of the absolute Taylor terms.
    """
    found = np.empty((4, len(middles), len(curve.joints)))
    for first in range(0, len(middles), _BATCH):  # all orders of all intervals at once are many times what is asked
        part = slice(first, first + _BATCH)
        found[:, part] = _expanded(curve, middles[part], halves[part])
    return found[0], found[1], found[2], found[3]


def _expanded(curve: Motion, middles: Array, halves: Array) -> tuple[Array, Array, Array, Array]:
    terms = curve.derivatives(middles)
    while len(terms) < 3:
        terms.append(np.zeros_like(terms[0]))
    most_rate, most_acceleration = np.zeros_like(terms[0]), np.zeros_like(terms[0])
    factor = np.ones_like(halves)[:, None]
    for order in range(1, len(terms)):
        most_rate += np.abs(terms[order]) * factor
        if order + 1 < len(terms):
            most_acceleration += np.abs(terms[order + 1]) * factor
        factor = factor * halves[:, None] / order
    return terms[0], terms[1], most_rate, most_acceleration


def tool_acceleration(
    chain: Chain, levers: Array, most_rate: Array, most_acceleration: Array
) -> tuple[Array, Array]:
    """Bound the tool's linear and angular acceleration (N,), (N,) from bounds of the joints' (N, n).

    From ``a = sum_i J_i qdd_i + sum_ij H_ij qd_i qd_j``, with |J_i| at most the lever of joint i and
    |H_ij| at most the lever of the later joint where the earlier one turns, 0 where it slides.

    Args:
        chain: the joints.
        levers: ``chain.levers(tool)``.
        most_rate, most_acceleration: greatest |rate| and |acceleration| of each joint (N, n).
    """
    turning = chain.revolute.astype(float)
    first, second = np.meshgrid(np.arange(chain.size), np.arange(chain.size), indexing="ij")
    near, far = np.minimum(first, second), np.maximum(first, second)
    linear_pairs = turning[near] * levers[far]
    angular_pairs = np.where(second < first, turning[first] * turning[second], 0.0)
    linear = most_acceleration @ levers + np.einsum("ni,ij,nj->n", most_rate, linear_pairs, most_rate)
    angular = most_acceleration @ turning + np.einsum("ni,ij,nj->n", most_rate, angular_pairs, most_rate)
    return np.asarray(linear), np.asarray(angular)
