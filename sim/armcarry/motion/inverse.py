"""Inverse kinematics: every way an arm takes a pose, or as many as are found, and which of the two it is.

In closed form where the arm allows it, a spare joint swept (``spare.py``); arms without one are brought to the pose
from many starts (``attempts.py``), which may miss ways. Ways of an arm with a spare joint are then moved within the
null space, away from the ends of travel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.attempts import Attempts, Tolerance, solve
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import characteristic_length_m
from armcarry.motion.redundancy import centre, margin_share, pin, pose_error, unwind
from armcarry.motion.spare import curve_of, every_way
from armcarry.motion.sweep import joint_vectors

__all__ = ["Attempts", "Tolerance", "Ways", "nearest", "pose_error", "solutions", "solve", "unwind", "ways"]


@dataclass(frozen=True, eq=False)
class Ways:
    """The distinct ways an arm takes a pose.

    Attributes:
        q: joint positions (k, n), k >= 1, distinct by more than 0.02 rad or m, widest joint margin first. Whole turns
            are taken out.
        complete: no way is missing; with a spare joint, none of the curves that the ways form. False where they were
            sought from seeds, for arms that have no closed form.
    """

    q: Array
    complete: bool


# -- the questions asked ---------------------------------------------------------------------------------


def solutions(
    chain: Chain,
    T_base_tool: Array,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    seeds: int = 96,
    seed: int = 0,
    what: str = "the pose",
) -> Array:
    """Find the distinct ways the arm can take a pose: ``ways(...).q``, whether they are all or not."""
    return ways(
        chain, T_base_tool, tool=tool, pinned=pinned, tolerance=tolerance, seeds=seeds, seed=seed, what=what
    ).q


def ways(
    chain: Chain,
    T_base_tool: Array,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    seeds: int = 96,
    seed: int = 0,
    what: str = "the pose",
) -> Ways:
    """Find the distinct ways the arm can take a pose, and tell whether they are all.

    Args:
        chain: the joints.
        T_base_tool: the pose wanted (4, 4).
        tool: T_tip_tool (4, 4).
        pinned: joints held at a value, by name. Without it an arm with a spare joint is brought, on each
            of its branches, to a local optimum of joint margin; where the curve is known, the way with the
            widest margin of all is among them.
        tolerance: how exactly the pose is met, 1e-9 m and 1e-9 rad when left out.
        seeds: how many joint vectors to start from, for an arm without a closed form.
        seed: of the generator they are drawn with; the same seed gives the same answer bit for bit.
        what: the pose in words, for the error.

    Raises:
        ReachError: no solution; says how far short the best attempt is and what stops it.
    """
    found = _all(chain, T_base_tool, tool, pinned, tolerance)
    if found is not None and len(found):
        return Ways(_distinct(chain, found), True)
    starts = _seeds(chain, seeds, seed)
    attempts = solve(chain, T_base_tool, starts, tool=tool, pinned=pinned, tolerance=tolerance)
    if not attempts.met.any():
        raise _unreached(chain, T_base_tool, attempts, starts, tool, pinned, what, found is not None)
    met = attempts.q[attempts.met]
    shifted = unwind(chain, met)
    for name in pinned or {}:
        shifted[:, chain.column(name)] = met[:, chain.column(name)]
    return Ways(_distinct(chain, _widened(chain, T_base_tool, tool, pinned, tolerance, shifted)), False)


def _all(
    chain: Chain, goal: Array, tool: Array | None, pinned: Mapping[str, float] | None, tolerance: Tolerance | None
) -> Array | None:
    """Return every way (k, n); None for an arm without a closed form."""
    vectors = np.zeros((1, chain.size))
    free = pin(chain, vectors, pinned)
    exact = partial(solve, chain, goal, tool=tool, pinned=pinned, tolerance=tolerance, rounds=10)
    curve = curve_of(chain, goal, tool, free, vectors[0])
    if curve is None:
        starts = every_way(chain, goal, tool=tool, pinned=pinned)
        if starts is None:
            return None
        met = exact(starts)
        return met.q[met.met]
    starts, widest = curve.roomy()
    met = exact(widest)
    centred = _widened(chain, goal, tool, pinned, tolerance, starts)
    return np.concatenate([centred, met.q[met.met]])


def _widened(
    chain: Chain, goal: Array, tool: Array | None, pinned: Mapping[str, float] | None, tolerance: Tolerance | None,
    starts: Array,
) -> Array:
    """Return ways (k, n) moved to where their joints have most room, exactly on the pose."""
    centred = centre(chain, starts, goal, tool=tool, pinned=pinned)
    polished = solve(chain, goal, centred, tool=tool, pinned=pinned, tolerance=tolerance, rounds=10)
    if polished.met.all():
        return polished.q
    kept = solve(chain, goal, starts, tool=tool, pinned=pinned, tolerance=tolerance, rounds=10)
    result = np.where(polished.met[:, None], polished.q, kept.q)
    return np.asarray(result[polished.met | kept.met])


def nearest(
    chain: Chain,
    T_base_tool: Array,
    reference: ArrayLike,
    *,
    tool: Array | None = None,
    pinned: Mapping[str, float] | None = None,
    tolerance: Tolerance | None = None,
    seed: int = 0,
    what: str = "the pose",
) -> Array:
    """Find the joint vector (n,) that takes a pose and is nearest a reference (n,).

    Starts at the reference; when that fails, or runs off by more than 0.5 rad, every branch is looked at
    too and the nearest by the largest joint difference is returned. Whole turns are chosen to be nearest.

    Raises:
        ReachError: as ``solutions``.
    """
    start = joint_vectors(reference, chain.size)
    first = solve(chain, T_base_tool, start[None], tool=tool, pinned=pinned, tolerance=tolerance)
    near = unwind(chain, first.q[0], start)
    if first.met[0] and np.abs(near - start).max() < 0.5:
        return near
    try:
        others = solutions(
            chain, T_base_tool, tool=tool, pinned=pinned, tolerance=tolerance, seed=seed, what=what
        )
    except ReachError:
        if first.met[0]:
            return near
        raise
    candidates = unwind(chain, others, start)
    if first.met[0]:
        candidates = np.vstack([near, candidates])
    return np.asarray(candidates[np.argmin(np.abs(candidates - start).max(axis=1))])


def _seeds(chain: Chain, count: int, seed: int) -> Array:
    """Draw joint vectors over the travel; joints without limits within half a turn (or a metre)."""
    low = np.where(np.isfinite(chain.limits[:, 0]), chain.limits[:, 0], np.where(chain.revolute, -np.pi, -1.0))
    high = np.where(np.isfinite(chain.limits[:, 1]), chain.limits[:, 1], np.where(chain.revolute, np.pi, 1.0))
    return np.random.default_rng(seed).uniform(low, high, size=(count, chain.size))


def _distinct(chain: Chain, q: Array, apart: float = 0.02) -> Array:
    share = margin_share(chain, q)
    # rounded first, so that equal margins keep one order on every machine
    order = np.lexsort((*np.round(q.T[::-1], 6), -np.round(share, 6)))
    kept: list[Array] = []
    for row in q[order]:
        if not kept or np.abs(np.array(kept) - row).max(axis=1).min() > apart:
            kept.append(row)
    return np.array(kept)


def _unreached(
    chain: Chain, goal: Array, attempts: Attempts, starts: Array, tool: Array | None,
    pinned: Mapping[str, float] | None, what: str, complete: bool,
) -> ReachError:
    """Say how far short the best attempt is, and whether travel or reach stops it."""
    length = characteristic_length_m(chain)
    best = int(np.argmin(np.hypot(attempts.short_m / length, attempts.short_rad)))
    short_m, short_rad = float(attempts.short_m[best]), float(attempts.short_rad[best])
    tight = np.abs(chain.margins(attempts.q[best])) < 1e-6
    stops = [name for name, at in zip(chain.joints, tight, strict=True) if at and name not in (pinned or {})]
    unlimited = solve(chain, goal, starts, tool=tool, pinned=pinned, limited=False)
    if unlimited.met.any():
        names = ", ".join(
            f"{name} at {chain.limits[chain.column(name), side]:.4g}"
            for name in stops
            for side in [int(attempts.q[best, chain.column(name)] > chain.limits[chain.column(name)].mean())]
        )
        reason = f"stopped by the end of travel of {names}" if stops else "stopped by the travel of its joints"
    else:
        reason = _not_by_travel(chain, goal, starts, tool, pinned, attempts.q[best])
    if not complete:
        reason = f"{reason}; sought from {len(starts)} starts, as this arm has no closed form: a way may be missed"
    return ReachError(what, reason, short_m=short_m, short_rad=short_rad, stopped_by=stops, complete=complete)


def _not_by_travel(
    chain: Chain, goal: Array, starts: Array, tool: Array | None, pinned: Mapping[str, float] | None, q: Array
) -> str:
    """Say what keeps the arm from a pose that it cannot take with longer travel either: its length, or the turn."""
    distance, span = float(np.linalg.norm(goal[:3, 3] - chain.hats(q)[0, 0, :, 3])), _span(chain, tool)
    held = f" with {', '.join(pinned)} pinned" if pinned else ""
    if distance > span:
        return f"out of reach: {distance:.3f} m from the first joint, the arm is {span:.3f} m long{held}"
    if solve(chain, goal, starts, tool=tool, pinned=pinned, turned=False).met.any():
        free = chain.size - len(pinned or {})
        why = f"; {free} joints cannot turn it every way" if free < 6 else ""
        return f"within reach, but not turned like that: the point gets there turned otherwise{held}{why}"
    return f"out of reach, though nearer than the arm is long: no joint positions bring the point there{held}"


def _span(chain: Chain, tool: Array | None) -> float:
    return float(chain.levers(tool)[0]) if chain.revolute[0] else chain.reach_m
