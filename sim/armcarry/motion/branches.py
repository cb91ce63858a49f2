"""Which way of taking each pose to use, so that a whole carry keeps joint margin and never turns about."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError, ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.line import straight_line
from armcarry.motion.redundancy import windings
from armcarry.motion.sweep import joint_vectors

#: costs (a, b) of going from each of a to each of b joint vectors; infinite where it is not possible
LegCost = Callable[[Array, Array], Array]


def choose_branches(
    chain: Chain,
    candidates: Sequence[Array],
    start: ArrayLike,
    *,
    velocity: ArrayLike | None = None,
    legs: Sequence[LegCost | None] | None = None,
    margin_weight_s: float = 20.0,
    least_margin: float = 0.0,
    wind: bool = True,
) -> list[Array]:
    """Choose one candidate a waypoint by dynamic programming over the whole carry.

    The cost of a leg is the time its slowest joint needs at full rate; a waypoint adds
    ``margin_weight_s * (1/m - 1)``, m the smallest joint margin as a share of half the travel.

    Args:
        chain: the joints.
        candidates: for every waypoint the joint vectors (k, n) that take it (``inverse.solutions``).
        start: joint positions (n,) before the first leg.
        velocity: joint rates (n,); those of the model when left out (1 where it states none).
        legs: for every leg its own cost, or None for the one above. A straight line joins only certain
            pairs: see ``line_cost``.
        margin_weight_s: what margin is worth, in seconds.
        least_margin: smallest margin (rad or m) of a candidate that is used.
        wind: also use candidates shifted by whole turns where the travel allows it.

    Returns:
        One joint vector (n,) a waypoint.

    Raises:
        MotionError: a waypoint has no candidate with the margin asked, or a leg joins none.
    """
    rate = np.asarray(chain.velocity if velocity is None else velocity, dtype=float)
    rate = np.where(np.isfinite(rate) & (rate > 0), rate, 1.0)
    layers = [joint_vectors(start, chain.size)[None]]
    cost, back = np.zeros(1), []
    for k, found in enumerate(candidates):
        layer = _layer(chain, found, wind, least_margin, k)
        leg = None if legs is None else legs[k]
        table = _time(layers[-1], layer, rate) if leg is None else leg(layers[-1], layer)
        total = cost[:, None] + table
        back.append(np.argmin(total, axis=0))
        cost = total.min(axis=0) + margin_weight_s * (1.0 / np.maximum(_share(chain, layer), 1e-6) - 1.0)
        if not np.isfinite(cost).any():
            raise MotionError(f"no way of taking waypoint {k + 1} can be joined to one of the waypoint before it")
        layers.append(layer)
    pick = int(np.argmin(cost))
    chosen = []
    for layer, came in zip(reversed(layers[1:]), reversed(back), strict=True):
        chosen.append(layer[pick])
        pick = int(came[pick])
    return chosen[::-1]


def line_ends(
    chain: Chain, starts: Array, goal: ArrayLike, *, tool: Array | None = None, pinned: tuple[str, ...] = ()
) -> tuple[Array, Array]:
    """Follow a straight line from every start (k, n) that can.

    Returns:
        (starts, ends), both (j, n), of the lines that arrive; j may be 0.
    """
    begun, ended = [], []
    for row in starts:
        try:
            path = straight_line(chain, row, goal, tool=tool, pinned=pinned, fallback=False)
        except ReachError:
            continue
        begun.append(row)
        ended.append(path.end)
    return np.array(begun).reshape(-1, chain.size), np.array(ended).reshape(-1, chain.size)


def line_cost(starts: Array, ends: Array, velocity: ArrayLike) -> LegCost:
    """Return the leg cost of straight lines that join starts (j, n) to ends (j, n), row by row, and nothing else."""
    rate = np.asarray(velocity, dtype=float)

    def cost(before: Array, after: Array) -> Array:
        first = np.abs(before[:, None] - starts).max(axis=2) < 1e-9
        last = np.abs(after[:, None] - ends).max(axis=2) < 1e-9
        joined = first.astype(float) @ last.T.astype(float) > 0
        return np.where(joined, _time(before, after, rate), np.inf)

    return cost


def _layer(chain: Chain, found: Array, wind: bool, least_margin: float, k: int) -> Array:
    rows = joint_vectors(found, chain.size).reshape(-1, chain.size)
    if wind and len(rows):
        rows = np.concatenate([windings(chain, row) for row in rows])
    if len(rows):
        rows = rows[chain.margins(rows).min(axis=1) >= least_margin]
    if not len(rows):
        raise MotionError(f"waypoint {k + 1} has no candidate with a joint margin of {least_margin:g} rad or m")
    return rows


def _time(before: Array, after: Array, rate: Array) -> Array:
    return np.asarray((np.abs(after[None] - before[:, None]) / rate).max(axis=2))


def _share(chain: Chain, q: Array) -> Array:
    """Smallest margin (k,) as a share of half the travel; 1 for joints without limits."""
    half = np.where(chain.bounded, chain.half, 1.0)
    return np.asarray(np.where(chain.bounded, chain.margins(q) / half, 1.0).min(axis=1))
