"""Ways past via points: what they cost, in seconds and in lost margin, piece by piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from armcarry.clearance.many import Margins
from armcarry.geometry.poses import Array
from armcarry.motion.path import rounded_pieces

#: margins beyond this are all the same to a route, m
WANTED_M = 0.3
#: margins below that cost time: a piece without any margin counts as this many times longer
TIGHT = 8.0
#: seconds that a metre of the least margin is worth
WORTH_S = 600.0
#: a way without what is required costs this much and more
UNSAFE_S = 1e5
#: postures this near to one another are one, rad or m
THERE = 1e-3
#: seconds that a via point is worth, so that none is there for nothing
VIA_S = 0.5
#: longest piece, in travel of the joint that travels most: what is tight near one end is told apart from the rest
PIECE = 0.2
#: how much margin may be asked more per unit of travel away from an end that has little, m
OPENING_M = 1.5


class Space(Protocol):
    """Where ways are sought."""

    limits: Array

    def margins(self, arcs: Array, *, give_up_m: float = -np.inf) -> Margins:
        """Bound the least margin over quadratics (N, 3, A) of a parameter from 0 to 1."""

    def seconds(self, arcs: Array) -> Array:
        """Return about how long each takes."""


@dataclass(frozen=True, eq=False)
class Way:
    """Points (W, A) from start to goal; the arm rounds those between without stopping.

    Attributes:
        points: start, via points, goal.
        least_m: proven least margin over the whole way; -inf where it was not looked at further.
        cost: seconds, and more for margin that is lost.
        blocked_by: row of the pair at the tightest piece, -1 for none.
        at: (A,) where it lacks most of the margin that is wanted there.
        nearest: number of the via point (1 to W-2) nearest to that, 0 for none.
    """

    points: Array
    least_m: float
    cost: float
    blocked_by: int
    at: Array
    nearest: int

    @property
    def plain(self) -> bool:
        """Whether it leads straight to its goal with all the margin that is wanted."""
        return len(self.points) == 2 and self.least_m >= WANTED_M

    @property
    def free(self) -> bool:
        """Whether all of it keeps what is required."""
        return self.least_m >= 0.0


class Appraiser:
    """Costs of ways between two ends of known margin; pieces already proven are remembered.

    Args:
        space: what is proven there.
    """

    def __init__(self, space: Space) -> None:
        self.space = space
        self._known: dict[bytes, tuple[float, int, float]] = {}

    def ends(self, points: Array) -> Array:
        """Return the margins (N,) of standing at points (N, A)."""
        return self.space.margins(standing(points)).lower_m

    def appraise(self, points: Array, ends_m: Array, *, least_m: float = -np.inf, below: float = np.inf) -> Way:
        """Return the way past points (W, A).

        Args:
            points: start, via points, goal.
            ends_m: margins at start and goal (2,).
            least_m: a way that does not keep this is not looked at further.
            below: neither is one that costs this or more.
        """
        arcs, travel = arcs_of(points)
        seconds = self.space.seconds(arcs)
        # what a goal itself lacks tells goals apart
        fixed = VIA_S * (len(points) - 2) + WORTH_S * max(0.0, WANTED_M - float(ends_m[1]))
        spare = below - float(seconds.sum()) - fixed
        if spare <= 0.0:
            return _refused(points)
        # no more can be asked near an end than the end itself has
        away = np.cumsum(travel) - travel / 2
        asked = np.minimum(ends_m[0] + OPENING_M * away, ends_m[1] + OPENING_M * (travel.sum() - away))
        asked = np.minimum(WANTED_M, asked)
        self._prove(arcs, max(least_m, float(asked.min()) - spare / WORTH_S))
        way = self._way(points, arcs, asked, seconds, fixed)
        return way if way.least_m >= least_m else _refused(points)

    def _prove(self, arcs: Array, least_m: float) -> None:
        """Bound the margins of those that are not known, until one of them does not keep the least."""
        new = {arc.tobytes(): arc for arc in arcs}
        for key in list(new):
            if self._known.get(key, (-np.inf,))[0] > -np.inf:
                del new[key]
        if new:
            found = self.space.margins(np.stack(list(new.values())), give_up_m=least_m)
            rows = zip(found.lower_m.tolist(), found.pair.tolist(), np.nan_to_num(found.at).tolist(), strict=True)
            self._known.update(zip(new, rows, strict=True))

    def _way(self, points: Array, arcs: Array, asked: Array, seconds: Array, fixed: float) -> Way:
        known = [self._known[arc.tobytes()] for arc in arcs]
        margin = np.array([row[0] for row in known])
        least = float(margin.min())
        if least == -np.inf:
            return _refused(points)
        lost = np.maximum(0.0, 1.0 - np.maximum(margin, 0.0) / WANTED_M)
        short = np.maximum(0.0, asked - margin)
        cost = float((seconds * (1.0 + TIGHT * lost**2)).sum()) + fixed
        cost += WORTH_S * float(short.max())
        if least < 0.0:
            cost += UNSAFE_S * (1.0 - least)
        tightest, worst = int(np.argmin(margin)), int(np.argmax(short))
        at = known[worst][2]
        return Way(
            points, least, cost, known[tightest][1], np.array([1.0, at, at * at]) @ arcs[worst],
            _nearest(points, arcs[worst].sum(axis=0)) if short[worst] > 0 else 0,
        )


def _refused(points: Array) -> Way:
    return Way(points, -np.inf, np.inf, -1, points[0], 0)


def _nearest(points: Array, to: Array) -> int:
    """Return the number of the via point nearest to a position, 0 where there is none."""
    if len(points) < 3:
        return 0
    return 1 + int(np.argmin(np.abs(points[1:-1] - to).max(axis=1)))


def standing(points: Array) -> Array:
    """Return arcs (N, 3, A) that stay at points (N, A)."""
    return np.stack([points, np.zeros_like(points), np.zeros_like(points)], axis=1)


def arcs_of(points: Array) -> tuple[Array, Array]:
    """Cut the rounded way past points (W, A) into quadratics (M, 3, A) over 0 to 1, with the travel of each (M,)."""
    table, length = rounded_pieces(points)
    parts = np.maximum(1, np.ceil(length / PIECE)).astype(int)
    row = np.repeat(np.arange(len(table)), parts)
    number = np.concatenate([np.arange(count) for count in parts])
    step = (length / parts)[row]
    first = (number * step)[:, None]
    c0, c1, c2 = np.moveaxis(table[row], 1, 0)
    arcs = np.stack([c0 + c1 * first + c2 * first**2, (c1 + 2 * c2 * first) * step[:, None], c2 * step[:, None] ** 2])
    return np.ascontiguousarray(np.moveaxis(arcs, 0, 1)), step
