"""The tanks of the suits of a day: a limit each, and the curve of what is left of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.files.documents.day import Day
from armcarry.files.documents.suits import EFFORTS
from armcarry.files.loaded import LoadedScenario
from armcarry.geometry.poses import Array
from armcarry.timeline.drawn import Drawn, Span
from armcarry.timeline.slots import Schedule
from armcarry.timeline.task import Limit

#: whoever goes home by hand works as hard as at a step of this kind
_HOMEWARD = "translate"


@dataclass(frozen=True, eq=False)
class Curve:
    """What is left of a tank over the day, the reserve taken off, in seconds of light effort.

    Attributes:
        time_s, left_s: (N,) instants in order, and what is left then; straight between them.
    """

    limit: Limit
    drawn: Drawn
    time_s: Array
    left_s: Array

    def at(self, time_s: Array) -> Array:
        """Return what is left at instants; after the last of the curve as at its end."""
        return np.asarray(np.interp(time_s, self.time_s, self.left_s))

    def left_with(self, time_s: Array, return_s: Array) -> Array:
        """Return what would be left at the hatch of whoever goes home by hand at instants, in so many seconds each."""
        return np.asarray(self.at(time_s) - self.drawn.homeward * return_s)


def tanks_of(loaded: LoadedScenario, day: Day) -> tuple[Limit, ...]:
    """Return each tank of each suit that somebody wears as a limit."""
    rules, found = loaded.rules, list[Limit]()
    for who, member in loaded.scenario.crew.items():
        suit = rules.suits.get(member.suit or "")
        for name, tank in suit.tanks.items() if suit is not None else ():
            rates = {effort: tank.light / tank.lasts_s(effort) for effort in EFFORTS}
            by_step = {step.name: rates[step.effort or rules.effort_of(step.kind)] for step in day.steps}
            drawn = Drawn(name, who, tank.keep, rates["rest"], rates[rules.effort_of(_HOMEWARD)], by_step)
            holds_s = tank.light * member.filled.get(name, 1.0)
            found.append(Limit(f"{name} of {who}", holds_s - tank.keep, (who,), drawn=drawn))
    return tuple(found)


def spans_of(limit: Limit, planned: Schedule) -> list[Span]:
    """Return what those whom a limit counts for do in a day."""
    return [(slot.name, slot.start_s, slot.end_s) for slot in planned.slots if set(limit.actors) & set(slot.actors)]


def curves_of(limits: Sequence[Limit], planned: Schedule) -> tuple[Curve, ...]:
    """Return the curve of every tank among limits, from the start of a day to the end of its wearer's last step."""
    found = []
    for limit in limits:
        if limit.drawn is not None:
            time_s, used_s = limit.drawn.over(spans_of(limit, planned))
            found.append(Curve(limit, limit.drawn, time_s, limit.lasts_s - used_s))
    return tuple(found)
