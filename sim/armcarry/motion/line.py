"""Straight lines of a chosen point: joint positions that follow them within a proven tolerance.

A spare joint is no freedom left to chance. Either a named joint is pinned, or the joints stay as near a
reference as the line allows, nearness being measured so that it grows towards the ends of travel. The
reference is the start (or runs from the start to a given end), so a closed path ends where it began.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError, ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.inverse import solutions
from armcarry.motion.path import NEAR_START, Path, clamped_spline
from armcarry.motion.sweep import joint_vectors
from armcarry.motion.tracker import ANY, AXES, Line, Tracker, deviation, line_between

__all__ = ["Line", "deviation", "straight_line"]

TOLERANCES = (5e-3, np.deg2rad(0.1))  # m, rad that a line is left by at most, if nothing else is asked
STEP = 0.35  # rad or m: a joint that moves more than this between two knots gets a knot in between


def straight_line(
    chain: Chain,
    start: ArrayLike,
    goal: ArrayLike,
    *,
    tool: Array | None = None,
    pinned: tuple[str, ...] = (),
    free: str = "",
    end: ArrayLike | None = None,
    near: ArrayLike | None = None,
    fallback: bool = True,
    tolerance_m: float = TOLERANCES[0],
    tolerance_rad: float = TOLERANCES[1],
) -> Path:
    """Lead a point of the tool along a straight line.

    Args:
        chain: the joints.
        start: joint positions (n,) at the start of the line.
        goal: T_base_tool (4, 4) at its end: orientation turns evenly about one axis (slerp); or a
            position (3,) in the base frame: orientation is held.
        tool: T_tip_tool (4, 4); its origin is the point that runs straight.
        pinned: joints that keep their place (or run evenly to their place in ``end``).
        free: axis of the tool (x, y, z) about which it may turn as it likes, ``any`` for all turning; an arm of
            fewer than six joints cannot hold all of it but by chance, or in the plane of its motion.
        end: joint positions (n,) wanted at the end of the line, if one of its solutions is.
        near: joint positions (n,) a spare joint keeps near, ``start`` when left out (running evenly to
            ``end`` if that is given). Lines that share one ``near`` close: a loop of them ends at the joint
            positions where it began, when the first line starts at ``near``.
        fallback: where the line is not followed, try again with one joint pinned (those first that leave
            the arm farthest from a singularity at the start), then look for what lies beyond.
        tolerance_m, tolerance_rad: how far the tool may leave the line, at every s.

    Returns:
        A C2 path over s in [0, 1] with proven deviations; equal steps of s are equal steps of the line.

    Raises:
        ReachError: the line cannot be followed to its end; says where it stops and why.
        MotionError: the line has no length, or the start is not as near ``near`` as its pose allows.
        FrameError: a pinned joint is not in the chain.
    """
    q = joint_vectors(start, chain.size)
    line = line_between(chain, q, np.asarray(goal, dtype=float), tool, free)
    last = None if end is None else joint_vectors(end, chain.size)
    reference = q if near is None else joint_vectors(near, chain.size)
    change = np.zeros(chain.size) if last is None or near is not None else last - q
    pins = tuple(chain.column(name) for name in pinned)
    first = Tracker(chain, tool, line, reference, change, pins)
    try:
        path = _follow(first, q, last, tolerance_m, tolerance_rad)
        return replace(path, spare=_spare(first, near is not None))
    except ReachError as error:
        if not fallback:
            raise
        # nearness may lead into a fold where one pinned joint still passes
        spare = not pinned and near is None and chain.size > first.asked
        trackers = [Tracker(chain, tool, line, reference, change, (joint,)) for joint in range(chain.size) if spare]
        trackers.sort(key=lambda tracker: -tracker.least_singular_value(q))
        for tracker in trackers[:3]:
            with contextlib.suppress(ReachError):
                return replace(_follow(tracker, q, last, tolerance_m, tolerance_rad), spare=_spare(tracker, False))
        hint = _freed(first, q) if first.over else _farther(error, chain, line, tool)
        raise ReachError(
            error.what, f"{error.reason}{hint}", short_m=error.short_m, short_rad=error.short_rad,
            stopped_by=error.stopped_by, at_m=error.at_m,
        ) from error


def _spare(tracker: Tracker, shared: bool) -> str:
    """Say what became of the freedom that the line leaves the joints."""
    chain, pins = tracker.chain, tracker.pins
    if pins:
        return f"{', '.join(chain.joints[pin] for pin in pins)} {'runs evenly' if np.any(tracker.change) else 'held'}"
    if tracker.asked >= chain.size:
        return ""
    return "kept near where the lines that close began" if shared else NEAR_START


def _freed(tracker: Tracker, q: Array) -> str:
    """Say which turning has to be free for joints too few to follow the line from q (n,)."""
    line, found = tracker.line, []
    for free in (*AXES, ANY) if not line.free else (ANY,):
        other = replace(line, free=free, turn=np.zeros(3) if free == ANY else line.turn)
        looser = Tracker(tracker.chain, tracker.tool, other, tracker.first, tracker.change, tracker.pins)
        with contextlib.suppress(ReachError):
            _follow(looser, q, None, *TOLERANCES)
            found.append(f"free: {free}")
    return f"; it can be flown with {' or '.join(found)}" if found else "; freeing its turning does not help"


def _farther(error: ReachError, chain: Chain, line: Line, tool: Array | None) -> str:
    """Say whether the pose a little farther (5 % of the line) can be taken at all."""
    if line.free:
        return ""
    left = error.short_m / line.length_m if line.length_m > 0 else error.short_rad / line.turn_rad
    beyond = line.at(min(1.0, 1.0 - left + 0.05))
    try:
        solutions(chain, beyond, tool=tool)
        return "; a pose a little farther can be taken only from another branch"
    except ReachError as farther:
        return f"; a pose a little farther is {farther.reason}"


@dataclass
class _Knot:
    s: float
    q: Array
    push: Array


def _follow(
    tracker: Tracker, start: Array, end: Array | None, tolerance_m: float, tolerance_rad: float
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


def _advance(tracker: Tracker, knot: _Knot, s: float) -> list[_Knot]:
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
        if step < 5e-4:
            raise _stopped(tracker, knot, None)
    return made


def _stopped(tracker: Tracker, knot: _Knot, reason: str | None) -> ReachError:
    chain, line = tracker.chain, tracker.line
    least = tracker.least_singular_value(knot.q, knot.s)
    margins = chain.margins(knot.q)
    stops = tuple(name for name, margin in zip(chain.joints, margins, strict=True) if margin <= 0)
    at_m = knot.s * line.length_m
    if reason is None:
        if tracker.over:
            joints = chain.size - len(tracker.pins)
            held = f"all its turning but that about {line.free}" if line.free else "all its turning"
            reason = f"its {joints} joints{_with(tracker)} cannot move the point so and hold {held}"
            reason = "no joint can move the point so" if line.free == ANY else reason
        elif least < 0.01:
            reason = f"a direction of motion is lost (smallest singular value {least:.4f}{_with(tracker)})"
        elif stops:
            reason = f"past the end of travel of {', '.join(stops)}"
        else:
            reason = "the way of the spare joint folds back there; pin a joint or start from another branch"
    return ReachError(
        "the end of the straight line", f"stopped {at_m:.3f} m along it: {reason}",
        short_m=line.length_m - at_m, short_rad=(1 - knot.s) * line.turn_rad, stopped_by=stops, at_m=at_m,
    )


def _with(tracker: Tracker) -> str:
    names = ", ".join(tracker.chain.joints[pin] for pin in tracker.pins)
    return f" with {names} pinned" if names else ""


# -- proving -------------------------------------------------------------------------------------------


def _spline(tracker: Tracker, knots: list[_Knot]) -> tuple[Path, Array]:
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


def _within_travel(tracker: Tracker, path: Path) -> None:
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
