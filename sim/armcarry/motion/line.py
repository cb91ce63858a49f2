"""Straight lines of a chosen point: joint positions that follow them within a proven tolerance.

A spare joint is no freedom left to chance. Either a named joint is pinned, or the joints stay as near a
reference as the line allows, nearness being measured so that it grows towards the ends of travel. The
reference is the start (or runs from the start to a given end), so a closed path ends where it began.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError, ReachError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.bounds import taylor, tool_acceleration
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.inverse import pose_error
from armcarry.motion.jacobian import hessian_of, jacobian, pose_and_jacobian
from armcarry.motion.path import Path, clamped_spline
from armcarry.motion.sweep import joint_vectors

STEP = 0.35  # rad or m: a joint that moves more than this between two knots gets a knot in between


def straight_line(
    chain: Chain,
    start: ArrayLike,
    goal: ArrayLike,
    *,
    tool: Array | None = None,
    pinned: tuple[str, ...] = (),
    end: ArrayLike | None = None,
    near: ArrayLike | None = None,
    tolerance_m: float = 5e-3,
    tolerance_rad: float = np.deg2rad(0.1),
) -> Path:
    """Lead a point of the tool along a straight line.

    Args:
        chain: the joints.
        start: joint positions (n,) at the start of the line.
        goal: T_base_tool (4, 4) at its end: orientation turns evenly about one axis (slerp); or a
            position (3,) in the base frame: orientation is held.
        tool: T_tip_tool (4, 4); its origin is the point that runs straight.
        pinned: joints that keep their place (or run evenly to their place in ``end``).
        end: joint positions (n,) wanted at the end of the line, if one of its solutions is.
        near: joint positions (n,) a spare joint keeps near, ``start`` when left out (running evenly to
            ``end`` if that is given). Lines that share one ``near`` close: a loop of them ends at the joint
            positions where it began, when the first line starts at ``near``.
        tolerance_m, tolerance_rad: how far the tool may leave the line, at every s.

    Returns:
        A C2 path over s in [0, 1] with proven deviations; equal steps of s are equal steps of the line.

    Raises:
        ReachError: the line cannot be followed to its end; says where it stops and why.
        MotionError: the line has no length, or the start is not as near ``near`` as its pose allows.
        FrameError: a pinned joint is not in the chain.
    """
    q = joint_vectors(start, chain.size)
    line = _line(chain, q, np.asarray(goal, dtype=float), tool)
    last = None if end is None else joint_vectors(end, chain.size)
    reference = q if near is None else joint_vectors(near, chain.size)
    change = np.zeros(chain.size) if last is None or near is not None else last - q
    pins = tuple(chain.column(name) for name in pinned)
    try:
        return _follow(_Tracker(chain, tool, line, reference, change, pins), q, last, tolerance_m, tolerance_rad)
    except ReachError:
        if pinned or near is not None or chain.size <= 6:
            raise
        # nearness may lead into a fold where one pinned joint still passes
        for joint in range(chain.size):
            tracker = _Tracker(chain, tool, line, reference, change, (joint,))
            with contextlib.suppress(ReachError):
                return _follow(tracker, q, last, tolerance_m, tolerance_rad)
        raise


@dataclass(frozen=True, eq=False)
class Line:
    """A straight line of a frame: start pose, displacement (3,) in m, rotation vector (3,) in base axes."""

    start: Array
    shift_m: Array
    turn: Array

    def at(self, s: ArrayLike) -> Array:
        """Return poses (..., 4, 4) at s (...)."""
        share = np.asarray(s, dtype=float)
        angle = float(np.linalg.norm(self.turn))
        axis = self.turn / angle if angle > 0 else np.array([0.0, 0.0, 1.0])
        result = poses.rotation_about(axis, share * angle) @ self.start
        result[..., :3, 3] = self.start[:3, 3] + share[..., None] * self.shift_m
        return result

    @property
    def length_m(self) -> float:
        """Length in metres."""
        return float(np.linalg.norm(self.shift_m))

    @property
    def turn_rad(self) -> float:
        """Angle turned."""
        return float(np.linalg.norm(self.turn))


def _line(chain: Chain, q: Array, goal: Array, tool: Array | None) -> Line:
    first = chain.forward(q, tool)
    if goal.shape == (3,):
        position, goal = goal, first.copy()
        goal[:3, 3] = position
    error = pose_error(first, goal)
    line = Line(first, error[:3], error[3:])
    if line.length_m < 1e-9 and line.turn_rad < 1e-9:
        raise MotionError("the straight line has no length and no turn")
    return line


# -- following -----------------------------------------------------------------------------------------


class _Tracker:
    """Finds the joint positions on a line at any s, near those at a smaller s."""

    def __init__(
        self, chain: Chain, tool: Array | None, line: Line, first: Array, change: Array, pins: tuple[int, ...]
    ) -> None:
        self.chain, self.tool, self.line = chain, tool, line
        self.first, self.change, self.pins = first, change, pins
        self.scale = np.array([1.0 / chain.reach_m] * 3 + [1.0] * 3)
        self.twist = np.concatenate([line.shift_m, line.turn]) * self.scale
        self.half = np.where(chain.bounded, chain.half, np.where(chain.revolute, np.pi, 1.0))

    def _cost(self, q: Array) -> tuple[Array, Array]:
        """First and second derivative (n,) of u^2/2 + 2u^4, u in half travels from the middle."""
        u = (q - self.chain.middle) / self.half
        return (u + 8 * u**3) / self.half, (1 + 24 * u**2) / self.half**2

    def _system(self, s: float, q: Array, push: Array) -> tuple[Array, Array, Array]:
        """Return matrix, residual and s-derivative of: as near the reference as pose and pins allow.

        Unknowns are q (n,) and the multipliers ``push`` of the pose (6,) and the pins. Nearness is the
        Bregman distance of the cost from the reference: zero there, steep towards the ends of travel.
        """
        n, rows = self.chain.size, 6 + len(self.pins)
        pose, columns = pose_and_jacobian(self.chain, q, self.tool)
        error = pose_error(pose, self.line.at(s)) * self.scale
        reference = self.first + s * self.change
        slope, bend = self._cost(q)
        slope_there, bend_there = self._cost(reference)
        constraint = np.zeros((rows, n))
        constraint[:6] = columns * self.scale[:, None]
        constraint[np.arange(6, rows), list(self.pins)] = 1.0
        curved = np.einsum("r,rij->ij", push[:6] * self.scale, hessian_of(columns))
        matrix = np.zeros((n + rows, n + rows))
        matrix[:n, :n] = np.diag(bend) - curved
        matrix[:n, n:] = -constraint.T
        matrix[n:, :n] = constraint
        residual = np.concatenate(
            [slope_there - slope + constraint.T @ push, error, (reference - q)[list(self.pins)]]
        )
        change = np.concatenate([bend_there * self.change, self.twist, self.change[list(self.pins)]])
        return matrix, residual, change

    def slope(self, s: float, q: Array, push: Array) -> tuple[Array, Array]:
        """Return the derivatives by s of q (n,) and of the multipliers."""
        matrix, _, change = self._system(s, q, push)
        solved = _solve(matrix, change)
        return solved[: len(q)], solved[len(q) :]

    def multipliers(self, q: Array) -> Array:
        """Return the multipliers at the start. Raises MotionError when q (n,) is not nearest the reference."""
        matrix, residual, _ = self._system(0.0, q, np.zeros(6 + len(self.pins)))
        n = len(q)
        push = np.asarray(np.linalg.lstsq(-matrix[:n, n:], -residual[:n], rcond=1e-9)[0], dtype=float)
        _, residual, _ = self._system(0.0, q, push)
        if np.abs(residual[:n]).max() > 1e-6:
            raise MotionError("the start is not as near the reference as its pose allows; leave out 'near'")
        return push

    def least_singular_value(self, q: Array) -> float:
        """Return the smallest singular value at q (n,) of the joints that are not pinned, rows scaled."""
        columns = jacobian(self.chain, q, self.tool) * self.scale[:, None]
        return float(np.linalg.svd(np.delete(columns, list(self.pins), axis=1), compute_uv=False)[-1])

    def correct(self, s: float, q: Array, push: Array) -> tuple[Array, Array] | None:
        """Return q and multipliers that meet the line at s, by Newton from a guess, or None."""
        n = len(q)
        for _ in range(12):
            matrix, residual, _ = self._system(s, q, push)
            step = _solve(matrix, residual)
            if not np.all(np.isfinite(step)) or np.abs(step[:n]).max() > 1.0:
                return None
            q, push = q + step[:n], push + step[n:]
            if np.abs(step[:n]).max() < 1e-11:
                return q, push
        return (q, push) if np.abs(step[:n]).max() < 1e-8 else None


def _solve(matrix: Array, right: Array) -> Array:
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=float)
    except np.linalg.LinAlgError:
        return np.full(len(right), np.nan)


@dataclass
class _Knot:
    s: float
    q: Array
    push: Array


def _follow(
    tracker: _Tracker, start: Array, end: Array | None, tolerance_m: float, tolerance_rad: float
) -> Path:
    line = tracker.line
    first = _Knot(0.0, start, tracker.multipliers(start))
    count = int(np.ceil(max(4.0, line.length_m / 0.5, line.turn_rad / 0.2)))
    knots = [first]
    for k in range(1, count + 1):
        knots.extend(_advance(tracker, knots[-1], k / count))
    if end is not None and np.abs(knots[-1].q - end).max() > 1e-6:
        raise _stopped(tracker, knots[-1], "the line does not lead to the joint positions wanted at its end")
    for _ in range(20):
        path, worst = _spline(tracker, knots)
        late = (worst[:, 0] > tolerance_m) | (worst[:, 1] > tolerance_rad)
        if not late.any():
            _within_travel(tracker, path)
            return path
        finer: list[_Knot] = [knots[0]]
        for before, after, split in zip(knots[:-1], knots[1:], late, strict=True):
            if split:
                finer.extend(_advance(tracker, before, (before.s + after.s) / 2))
            finer.append(after)
        knots = finer
    raise MotionError(f"no path within {tolerance_m:g} m and {tolerance_rad:g} rad of the line was found")


def _advance(tracker: _Tracker, knot: _Knot, s: float) -> list[_Knot]:
    """Return knots after ``knot`` up to s, closer where the joints move fast."""
    made: list[_Knot] = []
    step = s - knot.s
    while knot.s < s:
        step = min(step, s - knot.s)
        target = s if step >= (s - knot.s) * (1 - 1e-9) else knot.s + step
        rate, push_rate = tracker.slope(knot.s, knot.q, knot.push)
        guess = knot.q + rate * step
        found = None
        if np.all(np.isfinite(guess)) and np.abs(rate * step).max() <= STEP:
            found = tracker.correct(target, guess, knot.push + push_rate * step)
        if found is not None and np.abs(found[0] - guess).max() <= 0.25 * STEP:
            knot = _Knot(target, *found)
            made.append(knot)
            continue
        step /= 2
        if step < 1e-4:
            raise _stopped(tracker, knot, None)
    return made


def _stopped(tracker: _Tracker, knot: _Knot, reason: str | None) -> ReachError:
    chain, line = tracker.chain, tracker.line
    least = tracker.least_singular_value(knot.q)
    margins = chain.margins(knot.q)
    stops = tuple(name for name, margin in zip(chain.joints, margins, strict=True) if margin <= 0)
    at_m = knot.s * line.length_m
    if reason is None:
        if least < 0.01:
            reason = f"a direction of motion is lost (smallest singular value {least:.4f}{_with(tracker)})"
        elif stops:
            reason = f"past the end of travel of {', '.join(stops)}"
        else:
            reason = "the way of the spare joint folds back there; pin a joint or start from another branch"
    return ReachError(
        "the end of the straight line", f"stopped {at_m:.3f} m along it: {reason}",
        short_m=line.length_m - at_m, short_rad=(1 - knot.s) * line.turn_rad, stopped_by=stops, at_m=at_m,
    )


def _with(tracker: _Tracker) -> str:
    names = ", ".join(tracker.chain.joints[pin] for pin in tracker.pins)
    return f" with {names} pinned" if names else ""


# -- proving -------------------------------------------------------------------------------------------


def _spline(tracker: _Tracker, knots: list[_Knot]) -> tuple[Path, Array]:
    """Return the path through knots and its proven deviation (K, 2), m and rad, on each piece."""
    breaks = np.array([knot.s for knot in knots])
    values = np.array([knot.q for knot in knots])
    slopes = [tracker.slope(knot.s, knot.q, knot.push)[0] for knot in (knots[0], knots[-1])]
    if not np.all(np.isfinite(slopes)):
        raise _stopped(tracker, knots[-1] if np.all(np.isfinite(slopes[0])) else knots[0], None)
    curve = Motion(tracker.chain.joints, breaks, clamped_spline(breaks, values, *slopes))
    worst = deviation(tracker.chain, curve, tracker.line, tracker.tool)
    line, (metres, radians) = tracker.line, worst.max(axis=0)
    return Path(
        curve, tracker.chain, tracker.tool, line.length_m, line.turn_rad, float(metres), float(radians)
    ), worst


def deviation(chain: Chain, curve: Motion, line: Line, tool: Array | None = None, cells: int = 24) -> Array:
    """Bound how far the tool leaves a line at equal s: (K, 2), m and rad, on each piece of the curve.

    The offset e(s) of the tool point has e'' = p'', so on a cell of length h it is at most that at the
    cell's ends plus h^2/8 max|p''|. The angle grows at most by the relative angular rate, itself bounded
    from its value at the middle of the cell and the bound of the angular acceleration.
    """
    pieces = len(curve.breaks_s) - 1
    share = (np.arange(cells) + 0.5) / cells
    length = np.diff(curve.breaks_s)
    halves = np.repeat(length / cells / 2, cells)
    middles = (curve.breaks_s[:-1, None] + length[:, None] * share).ravel()
    q, rate, most_rate, most_acceleration = taylor(curve, middles, halves)
    linear, angular = tool_acceleration(chain, chain.levers(tool), most_rate, most_acceleration)
    pose, columns = pose_and_jacobian(chain, q, tool)
    error = pose_error(pose, line.at(middles))
    spin = np.linalg.norm(np.einsum("nri,ni->nr", columns[:, 3:], rate) - line.turn, axis=1)
    angle = np.linalg.norm(error[:, 3:], axis=1) + halves * (spin + halves * angular)
    edges = np.unique(np.concatenate([middles - halves, middles + halves]).round(15))
    ends = np.linalg.norm((chain.forward(curve.at(edges), tool) - line.at(edges))[:, :3, 3], axis=1)
    near = np.searchsorted(edges, (middles - halves).round(15))
    offset = np.maximum(ends[near], ends[np.minimum(near + 1, len(ends) - 1)]) + (2 * halves) ** 2 / 8 * linear
    return np.stack([offset.reshape(pieces, cells).max(axis=1), angle.reshape(pieces, cells).max(axis=1)], axis=1)


def _within_travel(tracker: _Tracker, path: Path) -> None:
    """Raise ReachError at the first place where a joint leaves its travel."""
    chain = tracker.chain
    low, high = path.curve.extremes()
    out = (low < chain.limits[:, 0] - 1e-9) | (high > chain.limits[:, 1] + 1e-9)
    if not out.any():
        return
    s = np.linspace(0.0, 1.0, 4001)
    outside = (chain.margins(path.at(s)) < 0).any(axis=1)
    where = float(s[np.argmax(outside)]) if outside.any() else 1.0
    names = [name for name, bad in zip(chain.joints, out, strict=True) if bad]
    at_m = where * tracker.line.length_m
    raise ReachError(
        "the end of the straight line", f"stopped {at_m:.3f} m along it by the end of travel of {', '.join(names)}",
        short_m=tracker.line.length_m - at_m, short_rad=(1 - where) * tracker.line.turn_rad,
        stopped_by=names, at_m=at_m,
    )
