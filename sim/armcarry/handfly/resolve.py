"""From a twist of the tool to joint rates, and from wanted rates to rates that the joints can take up."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.handfly.command import TICK_S
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import pose_and_jacobian

#: largest damping of the pseudo-inverse
_DAMPING = 0.08
#: how hard the free joint is sent away from the ends of travel and from what is close, rad/s
_FREE_RATE = 0.006


@dataclass(frozen=True)
class Closeness:
    """What control needs to know of what is close: whether the arm must be slow, and which way is out.

    Attributes:
        near: something the arm moves is inside slow_within of structure.
        margin_m: least distance beyond what is required.
        point_m: (3,) the point of the arm, rider or load there; away: (3,) unit, from what is close to it.
        joints: how many of the arm's joints move that point.
    """

    near: bool = False
    margin_m: float = np.inf
    point_m: Array = field(default_factory=lambda: np.zeros(3))
    away: Array = field(default_factory=lambda: np.zeros(3))
    joints: int = 0


def resolved(
    chain: Chain, q: Array, twist: Array, length_m: float, least_singular: float, close: Closeness
) -> Array:
    """Turn motion of the tool into joint rates (n,) by damped least squares; what is free goes out of harm's way.

    Args:
        chain, q: the arm and where it stands (n,).
        twist: (6,) m/s and rad/s in the base frame.
        length_m: weighs turning against moving.
        least_singular: damping begins under twice this smallest singular value.
        close: what is close.
    """
    pose, jacobian = pose_and_jacobian(chain, q)
    weights = np.repeat([1.0 / length_m, 1.0], 3)
    left, sizes, right = np.linalg.svd(weights[:, None] * jacobian, full_matrices=False)
    asked = 2.0 * least_singular
    damping = _DAMPING**2 * max(0.0, 1.0 - (sizes[-1] / asked) ** 2) if asked > 0 else 0.0
    rates = right.T @ (sizes / (sizes**2 + damping) * (left.T @ (weights * twist)))
    free = np.eye(chain.size) - right.T @ right
    return np.asarray(rates + free @ _out_of_harm(chain, q, jacobian, pose, close))


def _out_of_harm(chain: Chain, q: Array, jacobian: Array, pose: Array, close: Closeness) -> Array:
    """Return joint rates (n,) that lead to the middle of travel and away from what is close."""
    low, high = chain.limits.T
    wide = np.where(np.isfinite(high - low), high - low, np.inf)
    way = -((2.0 * (q - chain.middle) / wide) ** 3)
    if close.margin_m < 1.0 and close.joints:
        # the point is moved by the joints before it: its Jacobian is that of the tool, carried over
        lever = close.point_m - pose[:3, 3]
        gradient = close.away @ (jacobian[:3] - np.cross(lever, jacobian[3:].T).T)
        gradient[close.joints :] = 0.0
        size = float(np.linalg.norm(gradient))
        if size > 1e-9:
            way = way + (1.0 - max(close.margin_m, 0.0)) * gradient / size
    return np.asarray(_FREE_RATE * way)


def ramped(chain: Chain, q: Array, rate: Array, wanted: Array, acceleration: Array) -> Array:
    """Approach wanted rates (n,) by one tick inside the accelerations, in step, and stop softly before the ends."""
    change = wanted - rate
    per = acceleration * TICK_S
    share = min(1.0, float(1.0 / max(np.max(np.abs(change) / per), 1e-12)))
    new = rate + share * change
    low, high = chain.limits.T
    # from the rate after this tick the joint can still stop before the end with its own acceleration
    for sign, left in ((1.0, high - q), (-1.0, q - low)):
        room = np.where(np.isfinite(left), np.maximum(left - (sign * rate) * TICK_S / 2, 0.0), np.inf)
        most = np.sqrt((per / 2) ** 2 + 2 * acceleration * room) - per / 2
        slowed = np.maximum(np.minimum(sign * new, most), sign * rate - per)
        new = np.where(sign * new > most, sign * np.maximum(slowed, 0.0), new)
    return np.asarray(new)
