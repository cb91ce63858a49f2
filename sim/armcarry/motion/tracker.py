"""The joint positions on a straight line at one place of it, and how they change along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.bounds import taylor, tool_acceleration
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.jacobian import hessian_of, jacobian, pose_and_jacobian
from armcarry.motion.redundancy import pose_error

AXES, ANY = "xyz", "any"


@dataclass(frozen=True, eq=False)
class Line:
    """A straight line of a frame: start pose, displacement (3,) in m, rotation vector (3,) in base axes.

    ``free`` is the axis of the frame (x, y, z) about which it may turn as it likes on the way, ``any`` for all
    turning, empty where all turning is held.
    """

    start: Array
    shift_m: Array
    turn: Array
    free: str = ""

    def at(self, s: ArrayLike) -> Array:
        """Return poses (..., 4, 4) at s (...)."""
        share = np.asarray(s, dtype=float)
        angle = float(np.linalg.norm(self.turn))
        axis = self.turn / angle if angle > 0 else np.array([0.0, 0.0, 1.0])
        result = poses.rotation_about(axis, share * angle) @ self.start
        result[..., :3, 3] = self.start[:3, 3] + share[..., None] * self.shift_m
        return result

    def error(self, s: ArrayLike, pose: Array) -> Array:
        """Return what is left (..., 6) from poses (..., 4, 4) to the line at s (...), 0 in turning that is free."""
        goal = self.at(s)
        error = pose_error(pose, goal)
        if self.free == ANY:
            error[..., 3:] = 0.0
        elif self.free:
            column = AXES.index(self.free)
            error[..., 3:] = np.cross(pose[..., :3, column], goal[..., :3, column])
        return error

    def held(self, s: float) -> Array:
        """Return the directions (r, 6) of a twist in base axes that the line holds at s."""
        rows = np.eye(6)
        if self.free == ANY:
            return rows[:3]
        if self.free:
            across = np.delete(self.at(s)[:3, :3], AXES.index(self.free), axis=1)
            rows = rows[:5]
            rows[3:, 3:] = across.T
        return rows

    @property
    def length_m(self) -> float:
        """Length in metres."""
        return float(np.linalg.norm(self.shift_m))

    @property
    def turn_rad(self) -> float:
        """Angle turned."""
        return float(np.linalg.norm(self.turn))


def line_between(chain: Chain, q: Array, goal: Array, tool: Array | None, free: str = "") -> Line:
    """Return the line from where the tool is at q (n,) to a pose (4, 4), or a position (3,) with orientation held.

    ``free`` is what may turn, as in ``Line``.

    Raises:
        MotionError: there is neither length nor turn.
    """
    first = chain.forward(q, tool)
    if goal.shape == (3,):
        position, goal = goal, first.copy()
        goal[:3, 3] = position
    error = pose_error(first, goal)
    line = Line(first, error[:3], np.zeros(3) if free == ANY else error[3:], free)
    if line.length_m < 1e-9 and line.turn_rad < 1e-9:
        raise MotionError("the straight line has no length and no turn")
    return line


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
    relative = np.einsum("nri,ni->nr", columns[:, 3:], rate) - line.turn
    angle = _most_angle(line, middles, halves, pose, relative, angular)
    edges = np.unique(np.concatenate([middles - halves, middles + halves]).round(15))
    ends = np.linalg.norm((chain.forward(curve.at(edges), tool) - line.at(edges))[:, :3, 3], axis=1)
    near = np.searchsorted(edges, (middles - halves).round(15))
    offset = np.maximum(ends[near], ends[np.minimum(near + 1, len(ends) - 1)]) + (2 * halves) ** 2 / 8 * linear
    return np.stack([offset.reshape(pieces, cells).max(axis=1), angle.reshape(pieces, cells).max(axis=1)], axis=1)


def _most_angle(line: Line, middles: Array, halves: Array, pose: Array, relative: Array, angular: Array) -> Array:
    """Bound the angle (N,) to the line on cells, from the pose and the relative rate (N, 3) at their middles.

    About a free axis a it is the angle between a and where the line has it, which changes by v = relative x a; and
    |v'| is at most the angular acceleration plus the relative rate times the rate.
    """
    if line.free == ANY:
        return np.zeros(len(middles))
    error = line.error(middles, pose)
    if not line.free:
        spin = np.linalg.norm(relative, axis=1)
        return np.asarray(np.linalg.norm(error[:, 3:], axis=1) + halves * (spin + halves * angular))
    column = AXES.index(line.free)
    axis, wanted = pose[:, :3, column], line.at(middles)[:, :3, column]
    angle = np.arctan2(np.linalg.norm(error[:, 3:], axis=1), np.einsum("nr,nr->n", axis, wanted))
    most = np.linalg.norm(relative, axis=1) + halves * angular
    change = angular + most * (np.linalg.norm(relative + line.turn, axis=1) + halves * angular)
    return np.asarray(angle + halves * (np.linalg.norm(np.cross(relative, axis), axis=1) + halves * change))


class Tracker:
    """Finds the joint positions on a line at any s, near those at a smaller s."""

    def __init__(
        self, chain: Chain, tool: Array | None, line: Line, first: Array, change: Array, pins: tuple[int, ...]
    ) -> None:
        self.chain, self.tool, self.line = chain, tool, line
        self.first, self.change, self.pins = first, change, pins
        self.scale = np.array([1.0 / chain.reach_m] * 3 + [1.0] * 3)
        self.twist = np.concatenate([line.shift_m, line.turn]) * self.scale
        self.asked = len(line.held(0.0)) + len(pins)
        self.half = np.where(chain.bounded, chain.half, np.where(chain.revolute, np.pi, 1.0))

    @property
    def over(self) -> bool:
        """Whether more is held than the joints can hold, save where motion is flat; or as much, where it is flat."""
        return self.asked > self.chain.size or (bool(self.line.free) and self.asked == self.chain.size)

    def _cost(self, q: Array) -> tuple[Array, Array]:
        """First and second derivative (n,) of u^2/2 + 2u^4, u in half travels from the middle."""
        u = (q - self.chain.middle) / self.half
        return (u + 8 * u**3) / self.half, (1 + 24 * u**2) / self.half**2

    def _system(self, s: float, q: Array, push: Array) -> tuple[Array, Array, Array]:
        """Return matrix, residual and s-derivative of: as near the reference as pose and pins allow.

        Unknowns are q (n,) and the multipliers ``push`` of what the line holds (6,) or fewer, and the pins. Nearness
        is the Bregman distance of the cost from the reference: zero there, steep towards the ends of travel.
        """
        n, rows, held = self.chain.size, self.asked, self.line.held(s)
        pins, line = list(self.pins), len(held)
        pose, columns = pose_and_jacobian(self.chain, q, self.tool)
        error = held @ (self.line.error(s, pose) * self.scale)
        reference = self.first + s * self.change
        slope, bend = self._cost(q)
        slope_there, bend_there = self._cost(reference)
        constraint = np.zeros((rows, n))
        constraint[:line] = held @ (columns * self.scale[:, None])
        constraint[np.arange(line, rows), pins] = 1.0
        curved = np.einsum("r,rij->ij", (push[:line] @ held) * self.scale, hessian_of(columns))
        matrix = np.zeros((n + rows, n + rows))
        matrix[:n, :n] = np.diag(bend) - curved
        matrix[:n, n:] = -constraint.T
        matrix[n:, :n] = constraint
        residual = np.concatenate([slope_there - slope + constraint.T @ push, error, (reference - q)[pins]])
        change = np.concatenate([bend_there * self.change, held @ self.twist, self.change[pins]])
        return matrix, residual, change

    def slope(self, s: float, q: Array, push: Array) -> tuple[Array, Array]:
        """Return the derivatives by s of q (n,) and of the multipliers."""
        matrix, _, change = self._system(s, q, push)
        solved = self._solve(matrix, change)
        return solved[: len(q)], solved[len(q) :]

    def multipliers(self, q: Array) -> Array:
        """Return the multipliers at the start. Raises MotionError when q (n,) is not nearest the reference."""
        matrix, residual, _ = self._system(0.0, q, np.zeros(self.asked))
        n = len(q)
        push = np.asarray(np.linalg.lstsq(-matrix[:n, n:], -residual[:n], rcond=1e-9)[0], dtype=float)
        _, residual, _ = self._system(0.0, q, push)
        if np.abs(residual[:n]).max() > 1e-6:
            raise MotionError("the start is not as near the reference as its pose allows; leave out 'near'")
        return push

    def least_singular_value(self, q: Array, s: float = 0.0) -> float:
        """Return the smallest singular value at q (n,), s of what is held, joints not pinned and rows scaled."""
        columns = self.line.held(s) @ (jacobian(self.chain, q, self.tool) * self.scale[:, None])
        return float(np.linalg.svd(np.delete(columns, list(self.pins), axis=1), compute_uv=False)[-1])

    def correct(self, s: float, q: Array, push: Array) -> tuple[Array, Array] | None:
        """Return q and multipliers that meet the line at s, by Newton from a guess, or None."""
        n = len(q)
        for _ in range(12):
            matrix, residual, _ = self._system(s, q, push)
            step = self._solve(matrix, residual)
            if not np.all(np.isfinite(step)) or np.abs(step[:n]).max() > 1.0:
                return None
            q, push = q + step[:n], push + step[n:]
            if np.abs(step[:n]).max() < 1e-11:
                break
        if np.abs(step[:n]).max() >= 1e-8:
            return None
        # joints too few come as near as they can, which need not be on the line
        met = not self.over or np.abs(self._system(s, q, push)[1][n:]).max() < 1e-8
        return (q, push) if met else None

    def _solve(self, matrix: Array, right: Array) -> Array:
        try:
            if self.over:
                return np.asarray(np.linalg.lstsq(matrix, right, rcond=1e-10)[0], dtype=float)
            return np.asarray(np.linalg.solve(matrix, right), dtype=float)
        except np.linalg.LinAlgError:
            return np.full(len(right), np.nan)
