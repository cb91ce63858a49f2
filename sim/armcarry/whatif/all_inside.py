"""When everybody could be inside from any instant on: each by the own way home, one after another through the hatch.

Who rides the arm goes home by it first where that is sooner: back or on along the way that it is flown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.whatif.by_arm import home_s
from armcarry.whatif.stranding import Stranding, ways_back

#: an improvement of less is none, s
_WORTH_S = 1.0


@dataclass(frozen=True, eq=False)
class AllInside:
    """Everybody over the run, at T instants in order.

    Attributes:
        time_s: (T,).
        inside_s: (T,) until the last one is inside with the hatch closed, 0 while everybody is.
        last: (T,) who that is; empty while everybody is inside.
    """

    time_s: Array
    inside_s: Array
    last: tuple[str, ...]

    @property
    def worst(self) -> int:
        """The row of the worst instant."""
        return int(np.argmax(self.inside_s))


@dataclass(frozen=True)
class Worst:
    """A worst moment, the step or move it is in, and what the worst would be without that one.

    Attributes:
        during: the step or move without which the worst is least; empty where none holds the worst moment.
        without_s: the worst of all other times.
        then_s: when that is.
    """

    time_s: float
    inside_s: float
    during: str
    without_s: float
    then_s: float


def all_inside(record: Record) -> AllInside:
    """Return when everybody could be inside, from every instant at which somebody's way home was looked at."""
    people = ways_back(record)
    go_in_s = 0.0 if record.scene.loaded.rules.way_home is None else record.scene.loaded.rules.way_home.go_in
    times = np.unique(np.concatenate([item.time_s for item in people])) if people else np.zeros(0)
    arrive = np.stack([_at_hatch_s(record, item, times, go_in_s) for item in people]) if people else np.zeros((0, 0))
    inside, last = np.zeros(len(times)), [""] * len(times)
    for k in range(len(times)):
        for row in np.argsort(arrive[:, k], kind="stable"):
            if np.isfinite(arrive[row, k]):
                inside[k] = max(inside[k], arrive[row, k]) + go_in_s
                last[k] = people[row].crew
    return AllInside(times, inside, tuple(last))


def _at_hatch_s(record: Record, item: Stranding, times: Array, go_in_s: float) -> Array:
    """Return how long somebody takes to the hatch at instants (T,); infinite while inside."""
    outside = np.zeros(len(times), dtype=bool)
    for phase in record.phases:
        if not record.scene.is_inside(phase.tree, item.crew):
            outside |= (times >= phase.start_s) & (times <= phase.end_s)
    return np.where(outside, np.interp(times, item.time_s, home_s(record, item)) - go_in_s, np.inf)


def worst_of(record: Record, found: AllInside) -> Worst | None:
    """Return the worst moment, and the step that would improve it most if it were not; None with nobody outside."""
    if not len(found.time_s):
        return None
    k = found.worst
    when, value = float(found.time_s[k]), float(found.inside_s[k])
    best = Worst(when, value, "", value, when)
    for name, start_s, end_s in _stretches(record):
        if start_s <= when <= end_s:
            rest = np.where((found.time_s >= start_s) & (found.time_s <= end_s), -1.0, found.inside_s)
            row = int(np.argmax(rest))
            if max(float(rest[row]), 0.0) < best.without_s - _WORTH_S:
                best = Worst(when, value, name, max(float(rest[row]), 0.0), float(found.time_s[row]))
    return best


def _stretches(record: Record) -> Sequence[tuple[str, float, float]]:
    if record.plan is not None:
        return [(slot.name, slot.start_s, slot.end_s) for slot in record.plan.schedule.slots]
    return [(move.title, move.start_s, move.end_s) for move in record.moves]
