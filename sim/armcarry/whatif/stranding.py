"""What it takes to get home from anywhere, without the arm: the way to a handrail and along it to the hatch.

Whoever is outside makes fast what is in the hands, gets out of the restraint, turns round as need be, takes hold of a
handrail within a glove's reach of either shoulder (of several the one from which home is soonest; with none in reach
the nearest, across a gap that a tether or a second worker bridges), goes hand over hand to the hatch, hooks the next
safety tether each time the last one ends, and goes in. What all but the handrails takes stands in the rules,
``way_home``; nothing where they do not say. Handrails on parts that move in the same phase are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.files.documents.day import Day
from armcarry.geometry.poses import Array
from armcarry.motion.drift import Drift
from armcarry.motion.forward import forward
from armcarry.motion.refine import greatest
from armcarry.record.kept import Kept
from armcarry.record.record import Phase, Record
from armcarry.scene.build import ARM, PLATFORM
from armcarry.timeline.handrails import Rail, rails_of
from armcarry.timeline.ways_home import WaysHome, ways_home

#: how much a proven bound may be above the worst instant that was looked at, m
TOLERANCE_M = 0.05
#: cells shorter than this are not halved, s
_CLOSE_S = 0.02
#: at least this many instants of a phase are looked at, for the curve
_LEAST_CELLS = 120


@dataclass(frozen=True, eq=False)
class Stranding:
    """One person over some time outside, at T instants in order; a rider over the time aboard.

    Attributes:
        crew: who.
        time_s: (T,).
        way_m: (T,) to the handrail and along handrails to the hatch.
        gap_m: (T,) from the gloves to the nearest handrail, 0 within reach.
        rail_gap_m: (T,) widest gap between handrails on the way that hands cannot bridge, 0 if none.
        return_time_s: (T,) until inside, all counted.
        extra_s: (T,) the part of that which is not going along handrails.
        rail: (T,) name of the handrail taken hold of.
        ways: (T,) the handrails followed, in order.
        most_s, most_gap_m: what return_time_s and gap_m do not pass at any of these times, looked at or not.
        speed_m_s: how fast the person goes along handrails.
    """

    crew: str
    time_s: Array
    way_m: Array
    gap_m: Array
    rail_gap_m: Array
    return_time_s: Array
    extra_s: Array
    rail: tuple[str, ...]
    ways: tuple[tuple[str, ...], ...]
    most_s: float
    most_gap_m: float
    speed_m_s: float


def strandings(record: Record) -> tuple[Stranding, ...]:
    """Return the stranding of every crewmember who ever rides, as it was judged; none without a hatch or handrails."""
    return record.result(STRANDINGS)


def ways_back(record: Record) -> tuple[Stranding, ...]:
    """Return the way home of everybody who is ever outside, all the time they are, aboard or not."""
    return record.result(WAYS_BACK)


def _strandings(record: Record) -> tuple[Stranding, ...]:
    aboard = {
        crew: [leg for leg in legs if crew in record.scene.aboard(leg.phase.tree)]
        for crew, legs in record.once(_legs).items()
    }
    return tuple(_joined(record, crew, legs) for crew, legs in aboard.items() if legs)


def _ways_back(record: Record) -> tuple[Stranding, ...]:
    return tuple(_joined(record, crew, legs) for crew, legs in record.once(_legs).items() if legs)


STRANDINGS = Kept("stranding", 2, _strandings, (Stranding,))
WAYS_BACK = Kept("way_home", 2, _ways_back, (Stranding,))


def _legs(record: Record) -> dict[str, list[_Leg]]:
    """Return everybody's phases outside, looked into; nothing without a hatch or handrails."""
    platform = record.scene.loaded.platform.document
    if platform.airlock is None or not platform.handrails:
        return {}
    known: _Known = {}
    outside = {
        crew: [
            phase for phase in record.phases
            if phase.end_s > phase.start_s and not record.scene.is_inside(phase.tree, crew)
        ]
        for crew in record.scene.loaded.crew
    }
    return {crew: [_Leg(record, phase, crew, known) for phase in phases] for crew, phases in outside.items()}


#: ways home by the places of hatch and handrails, so that they are found once for phases alike
_Known = dict[tuple[bytes, ...], WaysHome]


class _Leg:
    """One person in one phase, looked at until the worst is known to the tolerance at every instant."""

    def __init__(self, record: Record, phase: Phase, crew: str, known: _Known) -> None:
        self.record, self.phase = record, phase
        member = record.scene.loaded.crew[crew]
        self.reach_m = member.size.reach.one_hand
        self.links = [f"{crew}/{link}" for link in member.document.shoulders]
        self.drift = Drift(phase.tree, record.motion, phase.start_s, phase.end_s)
        self.paths = [self.drift.way(link)[0] for link in self.links]
        self.home = self._ways_home(known)
        self.speed_m_s = member.document.translation_speed
        self.always_s, self.cross_s = _besides(record, phase, crew)
        rules = record.scene.loaded.rules
        self.change_s = 0.0 if rules.way_home is None else rules.way_home.tether_change or 0.0
        self.tether_m = rules.tethers.person
        #: time, way, gap, gap between rails, time home, part of it not along handrails, rail and its stop
        self.samples: list[tuple[float, float, float, float, float, float, int, int]] = []
        self.most_s = self.most_gap_m = 0.0
        if self.home is not None:
            self._look(self.home)

    def _ways_home(self, known: _Known) -> WaysHome | None:
        platform = self.record.scene.loaded.platform.document
        position = self.record.motion.at(self.phase.start_s)
        rails = [rail for rail in rails_of(platform, self.phase.tree, position) if self._stays(rail)]
        day = self.record.scene.loaded.scenario.day
        gap, reach = (float(Day.model_fields[key].default) for key in ("rail_gap", "rail_reach"))
        if day is not None:
            gap, reach = day.rail_gap, day.rail_reach
        hatch = self.phase.tree.pose_of(f"{PLATFORM}/{platform.airlock}", position)[:3, 3]
        if not rails:
            return None
        places = (hatch.tobytes(), *(rail.start.tobytes() + rail.end.tobytes() for rail in rails))
        if places not in known:
            known[places] = ways_home(rails, hatch, gap_m=gap, reach_m=reach)
        return known[places]

    def _stays(self, rail: Rail) -> bool:
        ends = self.record.scene.loaded.platform.document.handrails[rail.name]
        islands, tree = self.drift.islands, self.phase.tree
        return all(islands[tree.index(f"{PLATFORM}/{end}")] == 0 for end in (ends.start, ends.end))

    def _look(self, home: WaysHome) -> None:
        """Halve cells of time until neither bound is above the worst seen by more than the tolerance."""
        edges = np.linspace(self.phase.start_s, self.phase.end_s, _LEAST_CELLS + 1)
        tolerance = np.array([TOLERANCE_M / self.speed_m_s, TOLERANCE_M])

        def bounds(starts: Array, ends: Array, *_: Array) -> tuple[Array, Array]:
            taking_s, gap, most_s, most_gap = self._cells(home, (starts + ends) / 2, starts, ends)
            return np.stack([taking_s, gap], axis=1), np.stack([most_s, most_gap], axis=1)

        found = greatest(
            edges[:-1], edges[1:], bounds, so_far=np.zeros((1, 2)), enough=lambda best: best + tolerance,
            shortest_s=_CLOSE_S,
        )
        self.most_s, self.most_gap_m = np.maximum(found.most[0], 0.0).tolist()

    def _cells(self, home: WaysHome, middles: Array, starts: Array, ends: Array) -> tuple[Array, Array, Array, Array]:
        """Return time home and gap (N,) at the middles, then bounds of both over the cells.

        The way over one rail is the shorter of those of the two shoulders. From a point it is the distance to
        the rail and the way along it, at right angles to each other, so a step of d changes their sum by at
        most sqrt(2) d. Which rail is taken is known only as far as the distances are: every rail that may be
        the nearest counts, or the best of those surely in reach.
        """
        shoulders = forward(self.phase.tree, self.record.motion.at(middles), self.links)[:, :, :3, 3]
        left, right = (home.holds(shoulders[:, side]) for side in (0, 1))
        drift = np.max([self.drift.reach(path, middles, starts, ends) for path in self.paths], axis=0)
        apart = np.minimum(left.apart_m, right.apart_m)
        by_left = left.apart_m + left.home_m <= right.apart_m + right.home_m
        length = np.where(by_left, left.apart_m + left.home_m, right.apart_m + right.home_m)
        # over each rail, held without a gap before it
        gaps_s = self.cross_s * np.where(by_left, left.gaps, right.gaps) + self.always_s
        over_s = self._along_s(length) + gaps_s
        over_most_s = self._along_s(length + np.sqrt(2.0) * drift[:, None]) + gaps_s
        line, nearest = np.arange(len(middles)), apart.argmin(axis=1)
        within = np.where(apart <= self.reach_m, over_s, np.inf)
        taken = np.where(np.isfinite(within).any(axis=1), within.argmin(axis=1), nearest)
        way, gap = length[line, taken], np.maximum(apart[line, nearest] - self.reach_m, 0.0)
        taking_s = over_s[line, taken] + self.cross_s * (gap > 0)
        stop = np.where(by_left, left.stop, right.stop)[line, taken]
        rail_gap = np.where(by_left, left.gap_m, right.gap_m)[line, taken]
        columns = (middles, way, gap, rail_gap, taking_s, taking_s - way / self.speed_m_s, taken, stop)
        self.samples.extend(zip(*(column.tolist() for column in columns), strict=True))
        # with the way to the rail a step changes both terms; how many gaps follow may change with it too
        surely = np.where(apart + drift[:, None] <= self.reach_m, over_most_s, np.inf).min(axis=1)
        maybe = apart <= apart.min(axis=1, keepdims=True) + 2 * drift[:, None]
        open_s = self.cross_s * (apart.min(axis=1) + drift > self.reach_m)
        either_s = np.where(maybe, over_most_s, -np.inf).max(axis=1) + open_s
        most_s = np.minimum(surely, either_s)
        most_gap = np.maximum(apart.min(axis=1) + drift - self.reach_m, 0.0)
        return taking_s, gap, most_s, most_gap

    def _along_s(self, way_m: Array) -> Array:
        """Return how long a way along handrails takes, the next tether hooked each time the last one ends."""
        return way_m / self.speed_m_s + self.change_s * tethers_on(way_m, self.tether_m)


def tethers_on(way_m: Array | float, tether_m: float) -> Array:
    """Return how many tethers are hooked on a way after the first, one each time the last one ends."""
    return np.maximum(np.ceil(np.asarray(way_m) / tether_m) - 1.0, 0.0)


def _besides(record: Record, phase: Phase, crew: str) -> tuple[float, float]:
    """Return what somebody's way home takes in any case besides the handrails, and for each gap, s."""
    rules = record.scene.loaded.rules.way_home
    if rules is None:
        return 0.0, 0.0
    holds = any(phase.tree.hangs_from(item, crew) for item in record.scene.loaded.hardware)
    stands = phase.tree.mounting(crew).parent.split("/", 1)[0] in (ARM, *record.scene.loaded.restraints)
    return rules.leave_restraint * stands + rules.go_in + rules.stow_held * holds, rules.cross_gap


def _joined(record: Record, crew: str, legs: list[_Leg]) -> Stranding:
    rows = sorted(
        ((*numbers,), leg.home.rails[rail].name, leg.home.way(rail, stop))
        for leg in legs
        if leg.home is not None
        for *numbers, rail, stop in leg.samples
    )
    time_s, way_m, gap_m, rail_gap_m, taking_s, extra_s = np.array([row[0] for row in rows]).reshape(-1, 6).T
    return Stranding(
        crew, time_s, way_m, gap_m, rail_gap_m, taking_s, extra_s, tuple(row[1] for row in rows),
        tuple(row[2] for row in rows), max(leg.most_s for leg in legs), max(leg.most_gap_m for leg in legs),
        record.scene.loaded.crew[crew].document.translation_speed,
    )
