"""What is over, under way and to come at an instant of a day, and where everybody and everything is by then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from armcarry.files.documents.steps import AIRLOCK
from armcarry.scheduling.day import DayProblem
from armcarry.scheduling.state import Found, Place, begins_at, found_by
from armcarry.scheduling.turn import NOTHING_WRONG, Turn
from armcarry.timeline.drawn import Span
from armcarry.timeline.task import Limit as DayLimit
from armcarry.timeline.task import Task


@dataclass(frozen=True, eq=False)
class ToCome(DayProblem):
    """A day from an instant on.

    Attributes:
        turn: what is known by now; instants of the problem count from then.
        only: the steps that it is about; None for all.
    """

    turn: Turn = NOTHING_WRONG
    only: frozenset[str] | None = None

    @cached_property
    def ends_late_s(self) -> Mapping[str, float]:
        """Step that was begun -> when it ends."""
        slots = self.plan.schedule.slots
        return {slot.name: slot.end_s + self.turn.late_s.get(slot.name, 0.0) for slot in slots
                if slot.start_s <= self.turn.at_s}  # fmt: skip

    @cached_property
    def over(self) -> frozenset[str]:
        """Steps that have ended by now."""
        return frozenset(name for name, end_s in self.ends_late_s.items() if end_s <= self.turn.at_s)

    @cached_property
    def under_way(self) -> tuple[str, ...]:
        """Steps that were begun and have not ended."""
        return tuple(name for name in self.ends_late_s if name not in self.over)

    @cached_property
    def instead(self) -> Mapping[str, str]:
        """Fallback -> step that fails, which it follows."""
        found: dict[str, str] = {}
        for name in self.turn.failed:
            fallback = self.plan.step(name).fallback
            if fallback is not None:
                found[fallback] = name
        return found

    @cached_property
    def tasks(self) -> dict[str, Task]:
        """The steps that have not ended, and those that may come in."""
        wanted = (self.plan.schedule.tasks_done() | set(self.instead) | self._permitted) - self.over
        wanted = wanted if self.only is None else wanted & self.only
        return {name: task for name, task in self._ordered.items() if name in wanted}

    @cached_property
    def coming(self) -> tuple[str, ...]:
        """The steps that have not ended, in order, those too that this problem is not about."""
        wanted = (self.plan.schedule.tasks_done() | set(self.tasks)) - self.over
        return tuple(name for name in self._ordered if name in wanted)

    @cached_property
    def _ordered(self) -> dict[str, Task]:
        network = self.plan.schedule.network
        names = [network.tasks[k].name for node in network.order for k in network.members[node]]
        by_name = {task.name: task for task in self.plan.tasks}
        return {name: by_name[name] for name in names}

    @cached_property
    def _permitted(self) -> frozenset[str]:
        """Steps that time did not permit and may permit now."""
        return frozenset(step.name for step in self.plan.day.steps if step.as_time_permits is not None
                         and step.name not in self.plan.day.left_out)  # fmt: skip

    @cached_property
    def broken(self) -> frozenset[str]:
        """Things that a step failed at for which there is no fallback: they are left as they are then."""
        things = {thing for failed in self.turn.failed for thing in self.found_all[failed].touches
                  if self.plan.step(failed).fallback is None}  # fmt: skip
        return frozenset(things & set(self.plan.ledger.start.states))

    @cached_property
    def found_all(self) -> dict[str, Found]:
        """What each step of the day finds and leaves, those that have ended too."""
        done = self.over | set(self.tasks)
        steps = [self.plan.step(name) for name in self._ordered if name in done]
        return {found.step.name: found for found in found_by(self.scene, steps)}

    @cached_property
    def found(self) -> dict[str, Found]:
        """What each step to come finds and leaves as the day is written."""
        found = {name: self.found_all[name] for name in self.tasks}
        if self.only is None:
            return found
        return {name: _from_the_hatch(one) if one.step.hatch is not None else one for name, one in found.items()}

    @cached_property
    def begins(self) -> Mapping[str, Place]:
        """Where everybody is by now."""
        places = dict(begins_at(self.scene))
        for name in self._ordered:
            if name in self.over:
                places |= self.found_all[name].leaves
        return places

    @cached_property
    def homes(self) -> Mapping[str, Place]:
        """Where the day as written leaves everybody."""
        places = dict(begins_at(self.scene))
        for name in self._ordered:
            if name in self.plan.schedule.tasks_done():
                places |= self.found_all[name].leaves if name in self.found_all else {}
        return places

    def takes_s(self, name: str) -> float:
        """Return what a step takes from now on."""
        if name in self.under_way:
            return self.ends_late_s[name] - self.turn.at_s
        return super().takes_s(name) + self.turn.late_s.get(name, 0.0)

    @property
    def before(self) -> tuple[str, ...]:
        """The steps that have ended, in order."""
        return tuple(name for name in self._ordered if name in self.over)

    def used_s(self, limit: DayLimit) -> float:
        """Return what is used of a tank by the instant."""
        return 0.0 if limit.drawn is None else limit.drawn.used_s(self.so_far(limit.drawn.who), self.turn.at_s)

    def so_far(self, who: str) -> list[Span]:
        """Return what somebody has done by the instant."""
        at_s = self.turn.at_s
        return [(slot.name, slot.start_s, min(self.ends_late_s[slot.name], at_s))
                for slot in self.plan.schedule.slots if who in slot.actors and slot.start_s <= at_s]  # fmt: skip


def _from_the_hatch(found: Found) -> Found:
    """Return a step at the hatch, to which all come whoever else was to bring them there."""
    return replace(found, needs=dict.fromkeys(found.needs, Place(AIRLOCK)))
