"""Stations, branches and gathered postures of a day chosen together: the cheapest way through a layered graph.

A layer is a stop of the arm, its nodes the ways of taking it (a place of the base and a posture); an edge is the free
motion between two of them, by way of a gathered posture where the base rolls. What a node lacks and whether an edge is
free is found out only once the cheapest way through all layers wants to use it, as a lazy roadmap does; until then it
counts as little as it could. So what is proven is the way that is chosen, and what was cheaper before it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armcarry.asked.tightness import Tightness
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.path import joint_segment
from armcarry.planning.gathered import gathered
from armcarry.planning.space import TOLERANCE_M, Spaces, space_between, uncertain_m
from armcarry.planning.stops import Piece, Stop
from armcarry.planning.taking import Taken, Taking
from armcarry.planning.trial import Base
from armcarry.planning.ways import THERE, arcs_of
from armcarry.scene.limits import joint_rates

#: seconds that count for a roll of the base and for each metre of it, of two places as good the nearer
ROLL_S, ROLLED_S = 600.0, 5.0
#: seconds for what lacks anything that another branch or place need not lack, for each metre of it, and for a motion
#: without a way
FAILS_S, LACKING_S, NO_WAY_S = 1500.0, 4000.0, 20000.0
#: what a roll counts where the base may not roll, s
NEVER_S = 1e7
#: seconds that each metre of margin below ROOMY_M counts
TIGHT_S, ROOMY_M = 400.0, 0.15
#: what is not looked at yet counts this much for each reach of the arm that it is off this share of one, s
AWAY_S, WELL_AWAY = 200.0, 0.55
#: where the straight motion is not free a way must be sought: it takes this much longer, and counts this much, s,
#: and more for each metre that the straight one is short
WINDING, SOUGHT_S, SHORT_S = 1.5, 200.0, 500.0
#: a way all of which is known is taken once no other can be this much cheaper, s
NEAR_S = 300.0
#: straight motions this much short of what their ends have are free; no more is told than the second, m
SAME_M, MOST_SHORT_M = 0.005, 1.0


@dataclass(frozen=True, eq=False)
class Leg:
    """A free motion of the arm between two postures: points (W, A), and by how much it is short, 0 where it is free."""

    points: Array
    short_m: float


@dataclass(frozen=True, eq=False)
class Step:
    """How the day goes on to a stop: legs of the arm, with the posture in which the base rolls between, if it does."""

    taken: Taken
    legs: tuple[Leg, ...] = ()


@dataclass(frozen=True, eq=False)
class Together:
    """What was chosen.

    Attributes:
        steps: one for each stop.
        cost_s: of all.
        others: for each stop the cost of the best way through another place of the base less ``cost_s``, by place.
    """

    steps: tuple[Step, ...]
    cost_s: float
    others: tuple[dict[Base, float], ...]


class Search:
    """The cheapest way through all stops.

    Args:
        taking: takes stops from places of the base.
        stops: in order.
        bases: for each stop the places of the base that it may be taken from.
        gathers: whether the base rolls with the arm gathered before a stop; else it rolls as it is.
        rolls: whether the base may roll before a stop at all.
        tell: told what is being done.
    """

    def __init__(
        self,
        taking: Taking,
        stops: Sequence[Stop],
        bases: Sequence[Sequence[Base]],
        gathers: Sequence[bool],
        rolls: Sequence[bool],
        tell: Callable[[str], None],
    ) -> None:
        self.taking, self.stops, self.gathers, self.rolls, self.tell = taking, stops, gathers, rolls, tell
        self.layers = [[Taken(base, None, None, 0.0, 1.0, 1.0) for base in some] for some in bases]
        self._edges: dict[tuple[Taken, Taken], tuple[float, tuple[Leg, ...]]] = {}
        self._tightness = Tightness(taking.scene, more_m=uncertain_m, exact_m=TOLERANCE_M)
        self._spaces = Spaces(taking.scene)
        self._gathered: dict[tuple[int, Base, Base], tuple[Array, float]] = {}
        self._ways: dict[tuple[int, Base, bytes], Leg] = {}
        self._known_rates: dict[int, Array] = {}
        self._away: dict[tuple[int, Base], float] = {}

    def best(self) -> Together:
        """Return what is chosen."""
        while True:
            path, cost = self._cheapest()
            proven, sure_s = self._cheapest(sure=True)
            if sure_s <= cost + NEAR_S:
                return self._together(proven, sure_s)
            unknown = [k for k, one in enumerate(path) if one.q is None and not one.why]
            unsure = [k for k in range(1, len(path)) if not self._sure(path[k - 1], path[k])]
            if not unknown and not unsure:
                return self._together(path, cost)
            for layer in unknown:
                self._expand(layer, path[layer])
            for layer in unsure:
                self.tell(f"the day as far as it is known: {cost:.0f} s; {self._title(layer)} is proven")
                self._look(layer, path[layer - 1], path[layer])

    def _together(self, path: Sequence[Taken], cost_s: float) -> Together:
        none: tuple[float, tuple[Leg, ...]] = (0.0, ())
        steps = [Step(one, self._edges.get((before, one), none)[1]) for before, one in pairwise(path)]
        return Together((Step(path[0]), *steps), cost_s, self._others(cost_s))

    # -- nodes ----------------------------------------------------------------------------------------------------

    def _expand(self, layer: int, node: Taken) -> None:
        """Put the ways of taking a stop in the place of what stood for them."""
        self.tell(f"looking at {self._title(layer)} from {node.base.title}")
        found = self.taking.taken(layer, self.stops[layer], node.base)
        rest = [one for one in self.layers[layer] if one is not node]
        # a stop that no posture reaches stays a node, so that there is a way through all layers
        self.layers[layer] = [*rest, *(found or (Taken(node.base, None, None, 10.0, -10.0, 0.0, why="out of reach"),))]

    def _title(self, layer: int) -> str:
        return self.stops[layer].carry or "the start"

    def _nodes_s(self, layer: int, sure: bool = False) -> Array:
        """Return what the nodes of a layer cost; what load and rider lack on every branch alike costs nothing."""
        nodes = self.layers[layer]
        cost = np.array([_lost_s(one.lacking_m, one.spare_m) for one in nodes])
        seen = np.array([one.q is not None or bool(one.why) for one in nodes])
        away = np.array([self._away_s(layer, one.base) for one in nodes])
        return np.where(seen, cost, np.inf if sure else away)

    def _away_s(self, layer: int, base: Base) -> float:
        """Return what a place counts before it is looked at: the arm is best neither folded nor stretched there."""
        key = (layer, base)
        if key not in self._away:
            far = self.taking.far(self.stops[layer], base) / self.taking.reach_m
            self._away[key] = AWAY_S * abs(far - WELL_AWAY) if np.isfinite(far) else 0.0
        return self._away[key]

    # -- the cheapest way -----------------------------------------------------------------------------------------

    def _cheapest(self, *, sure: bool = False) -> tuple[list[Taken], float]:
        """Return the nodes of the cheapest way by what is known, and its cost; of ``sure`` ones all is known."""
        costs, back = [self._nodes_s(0, sure)], list[np.ndarray]()
        for layer in range(1, len(self.layers)):
            steps = costs[-1][:, None] + self._between(layer, sure)
            back.append(np.argmin(steps, axis=0))
            costs.append(steps.min(axis=0) + self._nodes_s(layer, sure))
        row = int(np.argmin(costs[-1]))
        cost, rows = float(costs[-1][row]), [row]
        for before in reversed(back):
            rows.append(int(before[rows[-1]]))
        return [self.layers[k][row] for k, row in enumerate(reversed(rows))], cost

    def _between(self, layer: int, sure: bool = False) -> Array:
        """Return what the edges to a layer cost as far as that is known (U, V), s."""
        before, after = self.layers[layer - 1], self.layers[layer]
        rates = self._rates(layer)
        size = len(rates)
        ends = np.array([np.full(size, np.nan) if one.end is None else one.end for one in before])
        starts = np.array([np.full(size, np.nan) if one.q is None else one.q for one in after])
        seconds = np.nan_to_num((np.abs(ends[:, None] - starts[None]) / rates).max(axis=2))
        place = {base: k for k, base in enumerate(dict.fromkeys(one.base for one in (*before, *after)))}
        rolls = np.array([place[one.base] for one in before])[:, None] != [place[one.base] for one in after]
        roll_s = (ROLL_S if self.gathers[layer] else 0.0) if self.rolls[layer] or not self.gathers[layer] else NEVER_S
        far_m = np.abs(_stations(before)[:, None] - _stations(after))
        seconds = np.where(rolls, roll_s + ROLLED_S * far_m, seconds)
        for u, one in enumerate(before):
            for v, other in enumerate(after):
                known = self._edges.get((one, other))
                if known is not None:
                    seconds[u, v] = known[0]
                if sure and not self._sure(one, other):
                    seconds[u, v] = np.inf
        return np.asarray(seconds)

    def _rates(self, layer: int) -> Array:
        if layer not in self._known_rates:
            scene = self.taking.scene
            load = scene.load(self.stops[layer].piece.tree)[1]
            self._known_rates[layer] = joint_rates(scene.loaded.arm.document, load)
        return self._known_rates[layer]

    # -- edges ----------------------------------------------------------------------------------------------------

    def _sure(self, before: Taken, node: Taken) -> bool:
        return before.end is None or node.q is None or (before, node) in self._edges

    def alike(self, layer: int, node: Taken) -> Array:
        """Return postures (G, A) that take a stop from the same place as a node and lack no more, its own first."""
        others = [one.q for one in self.layers[layer] if one is not node and one.base == node.base and one.q is not None
                  and one.lacking_m <= node.lacking_m + SAME_M]  # fmt: skip
        return np.array([node.q, *others])

    def block(self, before: Taken, node: Taken) -> None:
        """Count a motion as one without a way, because none was found where it was sought in earnest."""
        seconds, legs = self._edges[before, node]
        self._edges[before, node] = (seconds + NO_WAY_S, legs)

    def _look(self, layer: int, before: Taken, node: Taken) -> None:
        """Find out what a motion between two postures takes, straight or by way of a gathered posture."""
        if before.end is None or node.q is None:
            return
        piece, seconds = self.stops[layer].piece, 0.0
        legs = [(before.end, node.q, node.base)]
        if before.base != node.base and self.gathers[layer]:
            posture, lacking = self._gather(layer, before.base, node.base, before.end)
            seconds = ROLL_S + ROLLED_S * abs(before.base.along_m - node.base.along_m) + LACKING_S * lacking
            legs = [(before.end, posture, before.base), (posture, node.q, node.base)]
        elif before.base != node.base:
            seconds = LACKING_S * self._rolling_m(layer, before.end, before.base, node.base)
        found = tuple(self._leg(piece, base, here, there) for here, there, base in legs)
        self._edges[before, node] = (seconds + sum(self._leg_s(layer, leg) for leg in found), found)

    def _leg_s(self, layer: int, leg: Leg) -> float:
        straight = float(np.abs(np.diff(leg.points, axis=0) / self._rates(layer)).max(axis=1).sum())
        return straight if leg.short_m <= 0.0 else straight * WINDING + SOUGHT_S + SHORT_S * leg.short_m

    def _leg(self, piece: Piece, base: Base, here: Array, there: Array) -> Leg:
        """Return the straight motion between two postures, and by how much it is short."""
        points = np.stack([here, there])
        key = (id(piece), base, points.tobytes())
        if np.abs(there - here).max() < THERE:
            return Leg(points, 0.0)
        if key not in self._ways:
            tree, position = self.taking.at(piece, base, here)
            space = space_between(self.taking.scene, tree, position, points, spaces=self._spaces, as_ends=True)
            least = float(space.margins(arcs_of(points)[0], give_up_m=-MOST_SHORT_M).lower_m.min())
            self._ways[key] = Leg(points, min(max(0.0, -least), MOST_SHORT_M))
        return self._ways[key]

    # -- rolling --------------------------------------------------------------------------------------------------

    def _gather(self, layer: int, here: Base, there: Base, end: Array) -> tuple[Array, float]:
        """Return the posture in which the base rolls before a stop, and what it lacks on the way, m."""
        key = (layer, here, there)
        if key not in self._gathered:
            piece = self.stops[layer].piece
            tried = []
            for posture in gathered(self.taking, piece, here, there):
                lacking = self._rolling_m(layer, posture, here, there)
                tried.append((lacking, posture))
                if lacking <= 0.0:
                    break
            lacking, posture = min(tried, key=lambda one: one[0])
            self._gathered[key] = (posture, lacking)
        return self._gathered[key]

    def _rolling_m(self, layer: int, posture: Array, here: Base, there: Base) -> float:
        """Return what is lacking while the base rolls with the arm in a posture, m; 0 between two mounts."""
        piece, taking = self.stops[layer].piece, self.taking
        tree, start = taking.at(piece, here, posture)
        _, end = taking.at(piece, there, posture)
        if here.mount != there.mount or np.array_equal(start, end):
            return 0.0
        motion: Motion = joint_segment(taking.scene.tree.joints, start, end).curve
        return self._tightness.lacking_m(tree, motion)

    # -- what else there was -----------------------------------------------------------------------------------------

    def _others(self, cost_s: float) -> tuple[dict[Base, float], ...]:
        """Return for each stop what the day costs more by way of other places of the base, as far as is known."""
        forward = [self._nodes_s(0)]
        steps = [self._between(layer) for layer in range(1, len(self.layers))]
        own = [self._nodes_s(layer) for layer in range(len(self.layers))]
        for k, step in enumerate(steps, start=1):
            forward.append((forward[-1][:, None] + step).min(axis=0) + own[k])
        behind = [np.zeros(len(self.layers[-1]))]
        for k in range(len(steps) - 1, -1, -1):
            behind.insert(0, (steps[k] + own[k + 1] + behind[0]).min(axis=1))
        found = []
        for layer, one, two in zip(self.layers, forward, behind, strict=True):
            more: dict[Base, float] = {}
            for node, through in zip(layer, one + two - cost_s, strict=True):
                if node.q is None:
                    continue
                more[node.base] = min(more.get(node.base, np.inf), float(through))
            found.append(more)
        return tuple(found)


def _stations(nodes: Sequence[Taken]) -> Array:
    return np.array([one.base.along_m for one in nodes])


def _lost_s(lacking_m: float, spare_m: float) -> float:
    """Return what a posture counts that lacks something that another need not, or has little to spare, s."""
    fails = FAILS_S if lacking_m > 0.0 else 0.0
    return fails + LACKING_S * lacking_m + TIGHT_S * max(0.0, ROOMY_M - max(spare_m, 0.0))
