"""Timing: when a path is where, so that no rate, acceleration or tip speed passes its limit at any instant.

The path parameter s is a piecewise quadratic of time: the path is cut into zones with one speed and one
acceleration of s each, and a forward and a backward pass join them (J. Bobrow, S. Dubowsky and J. Gibson,
Time-optimal control of robotic manipulators along specified paths, Int. J. Robotics Research 4 (1985),
with zone constants in place of pointwise limits). On a straight joint segment the zone constants are exact,
so the result is the minimum time; elsewhere they are bounds over the zone, so it is safe and a little slow,
the less the more zones a bend is cut into.
Composition with the path is exact: the Motion is polynomial, nothing is sampled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import comb, sqrt

import numpy as np

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.path import Path
from armcarry.motion.speed import path_speed_bound

#: share of a joint's acceleration that the bends of a path may use up; the rest starts and stops it
BEND_SHARE = 0.6

#: zones that a piece of a bent path is cut into, if nothing else is asked; in finer ones, where starting and stopping
#: takes less, the share of its bends
BEND_ZONES, FINE_SHARE = 4, 0.85

_LAW = ("s",)


@dataclass(frozen=True, eq=False)
class RateLimits:
    """What a motion may not pass.

    Attributes:
        velocity: joint rates (n,), rad/s or m/s, all positive.
        acceleration: joint accelerations (n,), rad/s^2 or m/s^2, all positive.
        tip_speed_m_s: speed of the tool point.
        tip_angular_speed_rad_s: angular speed of the tool.
        bend_zones: zones that a piece that turns all the way is cut into; not a limit, how closely they are used.
    """

    velocity: Array
    acceleration: Array
    tip_speed_m_s: float = np.inf
    tip_angular_speed_rad_s: float = np.inf
    bend_zones: int = BEND_ZONES

    def __post_init__(self) -> None:
        values = [*np.ravel(self.velocity), *np.ravel(self.acceleration)]
        values += [self.tip_speed_m_s, self.tip_angular_speed_rad_s]
        if not all(value > 0 for value in values):
            raise MotionError("rate and acceleration limits must be greater than zero; pin a joint that stands still")


def time_path(
    path: Path,
    limits: RateLimits,
    start_s: float = 0.0,
    *,
    slow_zones: Sequence[tuple[float, float, float]] = (),
    chain: Chain | None = None,
    tool: Array | None = None,
) -> Motion:
    """Give a path its timing, from rest to rest.

    Args:
        path: the way the joints take.
        limits: joint rates and accelerations in the order of ``path.joints``, tip speeds.
        start_s: instant at which the motion starts.
        slow_zones: (s0, s1, factor): between s0 and s1 joint rates and tip speeds stay under factor times
            their limit. Where zones overlap the smallest factor holds.
        chain, tool: whose tip speed is limited; taken from the path when left out.

    Returns:
        A Motion that never passes the limits.

    Raises:
        MotionError: limits of the wrong number, a tip speed limit without a chain, a bad zone.
    """
    return compose(path.curve, law_of(path, limits, slow_zones, chain, tool), start_s)


def law_of(
    path: Path,
    limits: RateLimits,
    slow_zones: Sequence[tuple[float, float, float]] = (),
    chain: Chain | None = None,
    tool: Array | None = None,
) -> Motion:
    """Return s as a function of time, from 0 s, as ``time_path`` uses it."""
    count = len(path.joints)
    velocity, acceleration = np.asarray(limits.velocity, dtype=float), np.asarray(limits.acceleration, dtype=float)
    for values in (velocity, acceleration):
        if values.shape != (count,):
            raise MotionError(f"{values.size} rate and acceleration limits for {count} joints")
    chain, tool = (path.chain, path.tool) if chain is None else (chain, tool)
    edges = _edges(path, slow_zones, limits.bend_zones)
    rate, bend = _greatest(path.curve, edges)
    factor = np.ones(len(edges) - 1)
    for first, last, slow in slow_zones:
        middle = (edges[:-1] + edges[1:]) / 2  # edges lie at the ends of slow zones: a zone is all in or all out
        inside = (middle > first) & (middle < last)
        factor[inside] = np.minimum(factor[inside], slow)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.min(np.where(rate > 0, velocity / rate, np.inf), axis=1) * factor
        share = _share(path.curve, edges, limits.bend_zones)[:, None]
        turning = np.min(np.where(bend > 0, share * acceleration / bend, np.inf), axis=1)
        speed = np.minimum(speed, np.sqrt(turning))
        for angular, most in ((False, limits.tip_speed_m_s), (True, limits.tip_angular_speed_rad_s)):
            if np.isfinite(most):
                if chain is None:
                    raise MotionError("a tip speed limit needs a chain and its tool point")
                bound = path_speed_bound(chain, path.curve, edges, tool, factor * most / speed, angular=angular)
                speed = np.minimum(speed, np.where(bound > 0, factor * most / bound, np.inf))
        left = acceleration - np.where(bend > 0, bend * speed[:, None] ** 2, 0.0)
        push = np.min(np.where(rate > 0, left / rate, np.inf), axis=1)
    if not np.all(np.isfinite(speed) | np.isfinite(push)):
        raise MotionError("the path stands still over part of its length, or nothing limits it")
    # a hair below, so that rounding never passes a limit
    return _join(edges, speed * (1 - 1e-12), push * (1 - 1e-12))


def _edges(path: Path, slow_zones: Sequence[tuple[float, float, float]], bend_zones: int) -> Array:
    """Return where zones of constant limits begin and end: breaks, zone ends, and parts of a bent path's pieces."""
    breaks = path.curve.breaks_s
    cuts: list[float] = []
    for first, last, slow in slow_zones:
        if not (breaks[0] <= first < last <= breaks[-1] and 0 < slow <= 1):
            raise MotionError(
                f"slow zone ({first:g}, {last:g}, {slow:g}) is not inside the path or its factor not in (0, 1]"
            )
        cuts += [first, last]
    if path.curve.coefficients.shape[1] > 2:
        for at, length, zones in zip(breaks[:-1], np.diff(breaks), _zones_of(path.curve, bend_zones), strict=True):
            cuts += list(at + length * np.arange(1, zones) / zones)
    edges = list(breaks)
    for cut in cuts:
        if np.abs(np.array(edges) - cut).min() > 1e-9:
            edges.append(cut)
    return np.sort(np.array(edges, dtype=float))


def _zones_of(curve: Motion, bend_zones: int) -> list[int]:
    """Return how many zones each piece of a bent path gets: the more its joints' rates change along it, the more."""
    table, length = curve.coefficients, np.diff(curve.breaks_s)[:, None]
    start = table[:, 1]
    end = sum(power * table[:, power] * length ** (power - 1) for power in range(1, table.shape[1]))
    largest = np.maximum(np.abs(start), np.abs(end)).max(axis=1)
    change = np.abs(end - start).max(axis=1) / np.where(largest > 0, largest, 1.0)
    return [int(zones) for zones in np.maximum(BEND_ZONES, np.ceil(bend_zones * np.minimum(change, 1.0) - 1e-9))]


def _share(curve: Motion, edges: Array, bend_zones: int) -> Array:
    """Return the share of the accelerations (Z,) that bends may use up in each zone."""
    piece = np.searchsorted(curve.breaks_s[1:-1], (edges[:-1] + edges[1:]) / 2)
    return np.where(np.array(_zones_of(curve, bend_zones))[piece] > BEND_ZONES, FINE_SHARE, BEND_SHARE)


def _greatest(curve: Motion, edges: Array) -> tuple[Array, Array]:
    """Return the exact greatest |dq/ds| and |d2q/ds2| (Z, n) over each zone."""
    zones = curve.cut_at(edges)
    rate, bend = (np.abs(zones.extremes_of_pieces(order)).max(axis=0) for order in (1, 2))
    return rate, bend


def _join(edges: Array, speed: Array, push: Array) -> Motion:
    """Join zones of greatest speed and acceleration (Z,) into s(t), at rest at both ends."""
    length = np.diff(edges)
    square = np.minimum(np.append(speed, np.inf), np.append(np.inf, speed)) ** 2
    square[0] = square[-1] = 0.0
    for k in range(len(length)):
        square[k + 1] = min(square[k + 1], square[k] + 2 * push[k] * length[k])
    for k in reversed(range(len(length))):
        square[k] = min(square[k], square[k + 1] + 2 * push[k] * length[k])
    times, table = [0.0], []
    for k in range(len(length)):
        for duration, *coefficients in _trapezoid(
            float(edges[k]), float(length[k]), sqrt(square[k]), sqrt(square[k + 1]), float(speed[k]), float(push[k])
        ):
            if times[-1] + duration > times[-1]:  # else it is shorter than what the clock can tell apart by then
                times.append(times[-1] + duration)
                table.append(coefficients)
    return Motion(_LAW, np.array(times), np.array(table)[:, :, None])


def _trapezoid(
    at: float, length: float, first: float, last: float, speed: float, push: float
) -> list[tuple[float, float, float, float]]:
    """Return (duration, s, speed, half acceleration) of the quickest phases over a length, given end speeds."""
    peak = min(speed, sqrt((first**2 + last**2) / 2 + push * length))
    peak = max(peak, first, last)
    rise, fall = (peak - first) / push, (peak - last) / push
    run = (peak**2 - first**2) / (2 * push)
    cruise = max(0.0, length - run - (peak**2 - last**2) / (2 * push))
    phases = [
        (rise, at, first, push / 2),
        (cruise / peak, at + run, peak, 0.0),
        (fall, at + run + cruise, peak, -push / 2),
    ]
    least = 1e-12 * (rise + fall + cruise / peak)
    return [phase for phase in phases if phase[0] > least]


# -- laws of s, and their composition with a path -------------------------------------------------------------


def smooth(duration_s: float, degree: int = 5, length: float = 1.0) -> Motion:
    """Return the cubic (rate zero at both ends) or quintic (acceleration zero too) move over a length.

    Source: K. Lynch and F. Park, Modern Robotics (2017), sec. 9.2.
    """
    shapes = {3: (0.0, 0.0, 3.0, -2.0), 5: (0.0, 0.0, 0.0, 10.0, -15.0, 6.0)}
    if degree not in shapes:
        raise MotionError(f"a smooth law has degree 3 or 5, not {degree}")
    table = [length * value / duration_s**power for power, value in enumerate(shapes[degree])]
    return Motion(_LAW, np.array([0.0, duration_s]), np.array(table)[None, :, None])


def compose(curve: Motion, law: Motion, start_s: float = 0.0) -> Motion:
    """Return curve(s(t)) as an exact Motion from start_s.

    Args:
        curve: joints as polynomials of s.
        law: one coordinate s as polynomials of time, rising; cut at the curve's breaks where it crosses them.
        start_s: first instant.
    """
    times, table = [], []
    inner = curve.breaks_s[1:-1]
    for k in range(len(law.breaks_s) - 1):
        begin, duration = float(law.breaks_s[k]), float(np.diff(law.breaks_s)[k])
        for first, last in _cuts(law.coefficients[k, :, 0], duration, inner):
            shape = _shift(law.coefficients[k, :, 0], first)
            middle = float(np.polynomial.polynomial.polyval((last - first) / 2, shape))
            piece = int(np.searchsorted(inner, middle, side="right"))
            shape[0] -= curve.breaks_s[piece]
            times.append(begin + first)
            table.append(_substitute(curve.coefficients[piece], shape))
    breaks = np.append(times, law.breaks_s[-1]) - law.breaks_s[0] + start_s
    return Motion(curve.joints, breaks, np.array(table))


def _cuts(shape: Array, duration: float, inner: Array) -> list[tuple[float, float]]:
    """Return the parts of [0, duration] between crossings of a curve's inner breaks."""
    cuts = [0.0, duration]
    low, high = np.polynomial.polynomial.polyval(np.array([0.0, duration]), shape)
    for value in inner[(inner > low + 1e-9) & (inner < high - 1e-9)]:
        roots = np.polynomial.polynomial.polyroots(np.trim_zeros(shape - value * np.eye(len(shape))[0], "b"))
        real = roots.real[(np.abs(roots.imag) < 1e-9) & (roots.real > 0) & (roots.real < duration)]
        cuts.append(float(real[0]))
    cuts = sorted(cuts)
    return list(pairwise(cuts))


def _shift(shape: Array, by: float) -> Array:
    """Taylor shift of ascending coefficients."""
    count = len(shape)
    return np.array([sum(comb(m, k) * shape[m] * by ** (m - k) for m in range(k, count)) for k in range(count)])


def _substitute(table: Array, shape: Array) -> Array:
    """Return coefficients of p(s(t)) from those of p (D+1, n) and s (E+1,), by Horner's rule."""
    degree = (len(table) - 1) * (len(shape) - 1)
    result = np.zeros((degree + 1, table.shape[1]))
    for row in table[::-1]:
        product = np.zeros((degree + len(shape), table.shape[1]))
        for power, factor in enumerate(shape):
            product[power : power + degree + 1] += factor * result
        result = product[: degree + 1]
        result[0] += row
    return result


__all__: Sequence[str] = ["RateLimits", "compose", "law_of", "smooth", "time_path"]
