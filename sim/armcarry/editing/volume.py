"""A volume to fly in: where a waypoint may be so that the move to it and the one behind it keep what is asked.

Positions are tried one by one, the nearest first, each rehearsed as if it were the change: reach, joint margins and
clearances from the beginning of the move that leads to the waypoint to the end of the one behind it. What comes later
is not looked at; the change itself answers that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from armcarry.editing.rehearsed import Rehearsed
from armcarry.errors import ArmcarryError, InputError
from armcarry.geometry.poses import Array

if TYPE_CHECKING:
    from armcarry.editing.moves import Moves
    from armcarry.editing.rehearsed import Rehearsal

#: how far around the waypoint is looked, and between two positions that are tried, m
RADIUS_M, STEP_M = 0.3, 0.15
#: positions that are tried at most
MOST = 2000
#: moves that a position is tried on: the one that leads there, and the one behind it
_MOVES = 2
#: margins that differ by less are alike, and the nearer position is the better one, m
_ALIKE_M = 1e-3

Verdict = str
PASSES, NO_REACH, TOO_NEAR, NO_JOINT_MARGIN = "passes", "reach", "clearance", "joint margin"


@dataclass(frozen=True, eq=False)
class FreeVolume:
    """Positions of a waypoint that were tried, N of them.

    Attributes:
        at: carry and move in the script, from 0.
        frame: in which the positions are.
        step_m: between neighbours.
        points_m: (N, 3) where the waypoint would be.
        verdicts: (N,) ``passes``, or what fails first: ``reach``, ``clearance``, ``joint margin``.
        margin_m: (N,) the least clearance beyond what is required, at most as far as is looked; -inf without a way.
    """

    at: tuple[int, int]
    frame: str
    step_m: float
    points_m: Array
    verdicts: tuple[Verdict, ...]
    margin_m: Array

    @property
    def passes(self) -> np.ndarray:
        """Which positions (N,) pass."""
        return np.array([verdict == PASSES for verdict in self.verdicts], dtype=bool)

    @property
    def best(self) -> int | None:
        """Number of the position with the most margin, of those alike the nearest one; None where none passes."""
        left = np.where(self.passes, np.floor(self.margin_m / _ALIKE_M), -np.inf)
        return int(np.argmax(left)) if self.passes.any() else None

    def __str__(self) -> str:
        """Return how many pass, the best one, and what the others fail by."""
        count, best = len(self.verdicts), self.best
        fails = [f"{sum(one == why for one in self.verdicts)} by {why}"
                 for why in (NO_REACH, TOO_NEAR, NO_JOINT_MARGIN) if why in self.verdicts]  # fmt: skip
        words = f"{int(self.passes.sum())} of {count} positions pass" + (f"; {', '.join(fails)} not" if fails else "")
        if best is None:
            return words
        where = ", ".join(f"{value:g} m" for value in np.round(self.points_m[best], 3) + 0.0)
        return f"{words}; best at {where} with {self.margin_m[best]:.3f} m to spare"


def sampled(
    session: Moves, rehearsal: Rehearsal, at: tuple[int, int], radius_m: float = RADIUS_M, step_m: float = STEP_M
) -> Iterator[FreeVolume]:
    """Give the volume around a waypoint as it grows, position by position; the last one is whole.

    Args:
        session: whose script it is.
        rehearsal: of that script, which remembers what the positions share.
        at: the move that leads to the waypoint.
        radius_m, step_m: a ball around the waypoint, on a lattice along the axes of its frame.

    Raises:
        InputError: the move leads nowhere or is not flown, or too many positions are asked for.
    """
    here, frame = session.waypoint(at)[:3, 3], session.frame(at)
    places = [here + offset for offset in _ball(radius_m, step_m)]
    tried: list[tuple[Array, Verdict, float]] = []
    session.placed(at, here)  # where it leads nowhere it is refused, whatever is found
    for place in places:
        tried.append((place, *_tried(session, rehearsal, at, place)))
        points, verdicts, margins = zip(*tried, strict=True)
        yield FreeVolume(at, frame, step_m, np.array(points), tuple(verdicts), np.array(margins))


def _ball(radius_m: float, step_m: float) -> Array:
    """Return the offsets (N, 3) of a lattice within a ball, the nearest first."""
    if not (np.isfinite(radius_m) and np.isfinite(step_m) and radius_m >= 0.0 and step_m > 0.0):
        raise InputError("not a volume to look in", found=f"radius {radius_m:g} m, step {step_m:g} m",
                         accepted="a radius and a step greater than zero")  # fmt: skip
    count = int(radius_m / step_m + 1e-9)
    if (2 * count + 1) ** 3 > 2 * MOST:
        raise InputError("too many positions to try", found=f"radius {radius_m:g} m, step {step_m:g} m",
                         accepted=f"about {MOST} positions at most")  # fmt: skip
    offsets = step_m * np.array(list(product(range(-count, count + 1), repeat=3)), dtype=float)
    far = np.linalg.norm(offsets, axis=1)
    order = np.argsort(far, kind="stable")
    return np.asarray(offsets[order][far[order] <= radius_m + 1e-9])


def _tried(session: Moves, rehearsal: Rehearsal, at: tuple[int, int], place: Array) -> tuple[Verdict, float]:
    try:
        known = rehearsal.of(session.script.tried(session.placed(at, place)), _MOVES)
    except ArmcarryError:
        return NO_REACH, -np.inf
    return _judged(known, at)


def _judged(known: Rehearsed, at: tuple[int, int]) -> tuple[Verdict, float]:
    """Return what the move to a waypoint and the one behind it fail by, and their least margin."""
    record = known.record
    numbers = [k for k, one in enumerate(record.moves) if known.written.get((one.carry, one.number)) == at]
    short = {(one.carry, one.number) for one in record.shortfalls}
    after = numbers[-1] + 1 if numbers else 0
    if not numbers or (short and len(record.moves) <= after):
        return NO_REACH, -np.inf
    first, last = record.moves[numbers[0]], record.moves[min(after, len(record.moves) - 1)]
    if last.end_s - first.start_s <= 0.0:
        return PASSES, np.inf
    inside = [one.least_m for one in known.pieces if first.start_s - 1e-6 <= one.start_s < last.end_s - 1e-6]
    margin = float(min(inside, default=np.inf))
    if margin < 0.0:
        return TOO_NEAR, margin
    low, high = record.motion.between(first.start_s, last.end_s).extremes()
    scene, rules = record.scene, record.scene.loaded.rules.margins
    limits, columns = scene.tree.joint_limits[scene.arm_columns], scene.arm_columns
    asked = np.where(scene.tree.revolute[columns], rules.joint_position, rules.joint_travel)
    left = np.minimum(low[columns] - limits[:, 0], limits[:, 1] - high[columns])
    return (NO_JOINT_MARGIN if np.any(left < asked) else PASSES), margin
