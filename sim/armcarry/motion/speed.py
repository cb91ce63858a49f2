"""How fast a tool point moves: bounds that hold at every instant, not at samples."""

from __future__ import annotations

import numpy as np

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.bounds import taylor, tool_acceleration
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.jacobian import jacobian
from armcarry.motion.refine import greatest


def cell_bounds(
    chain: Chain, motion: Motion, middles: Array, halves: Array, tool: Array | None = None
) -> tuple[Array, Array, Array, Array]:
    """Bound the tool's speed over cells of time, each inside one piece of the motion.

    Returns:
        Linear and angular speed at the middles (N,), then their greatest possible values over the cells:
        speed at the middle plus half the cell times the bound of the acceleration.
    """
    q, rate, most_rate, most_acceleration = taylor(motion, middles, halves)
    linear_a, angular_a = tool_acceleration(chain, chain.levers(tool), most_rate, most_acceleration)
    twist = np.einsum("nri,ni->nr", jacobian(chain, q, tool), rate)
    linear, angular = np.linalg.norm(twist[:, :3], axis=1), np.linalg.norm(twist[:, 3:], axis=1)
    return linear, angular, linear + halves * linear_a, angular + halves * angular_a


def tip_speed_maximum(
    chain: Chain, motion: Motion, tool: Array | None = None, *, tolerance_m_s: float = 1e-4
) -> tuple[float, float, float]:
    """Bound the greatest speed of the tool point over a motion from both sides.

    Args:
        chain: the joints; the motion may have others besides.
        motion: joint polynomials.
        tool: T_tip_tool (4, 4).
        tolerance_m_s: widest gap between the two bounds.

    Returns:
        (lower, upper, time): a speed that is reached at ``time`` in s, and one that is never passed.

    Raises:
        MotionError: the motion lacks a joint of the chain.
    """
    part = chain_motion(chain, motion)

    def bounds(starts: Array, ends: Array, *_more: Array) -> tuple[Array, Array]:
        speed, _, most, _ = cell_bounds(chain, part, (starts + ends) / 2, (ends - starts) / 2, tool)
        return speed[:, None], most[:, None]

    found = greatest(
        part.breaks_s[:-1], part.breaks_s[1:], bounds, so_far=np.zeros((1, 1)), enough=lambda best: best + tolerance_m_s
    )
    lower, when = found.reached.item(), found.time_s.item()
    return lower, max(found.most.item(), lower), part.start_s if np.isnan(when) else when


def chain_motion(chain: Chain, motion: Motion) -> Motion:
    """Return the columns of a motion that belong to a chain, in the chain's order.

    Raises:
        MotionError: the motion lacks a joint of the chain.
    """
    if motion.joints == chain.joints:
        return motion
    missing = [name for name in chain.joints if name not in motion.joints]
    if missing:
        raise MotionError(f"the motion does not move {', '.join(missing)}")
    return Motion(chain.joints, motion.breaks_s, motion.coefficients[:, :, motion.columns_of(chain.joints)])


def path_speed_bound(
    chain: Chain, curve: Motion, edges: Array, tool: Array | None, enough: Array, *, angular: bool = False,
    excess: float = 0.002,
) -> Array:
    """Bound the tool's speed (or angular speed) per unit of s over the zones between edges (Z+1,).

    Args:
        chain, tool: whose tool point.
        curve: joints as polynomials of s.
        edges: ends of the zones, at every break of the curve and maybe between.
        enough: (Z,) a bound this low need not be sharper.
        angular: bound the angular speed.
        excess: how much larger than a value that is reached a bound may be, as a share.

    Returns:
        (Z,) never too small.
    """
    part = chain_motion(chain, curve)

    def bounds(starts: Array, ends: Array, *_more: Array) -> tuple[Array, Array]:
        cells = cell_bounds(chain, part, (starts + ends) / 2, (ends - starts) / 2, tool)
        value, most = (cells[1], cells[3]) if angular else (cells[0], cells[2])
        return value[:, None], most[:, None]

    zones = np.arange(len(edges) - 1)
    found = greatest(
        edges[:-1], edges[1:], bounds, group=zones, so_far=np.zeros((len(zones), 1)),
        enough=lambda best: np.maximum(best * (1 + excess), enough[:, None]) + 1e-9,
    )
    return found.most[:, 0]
