"""In which order one person may do the steps of a day, and the ways between them."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

from armcarry.scheduling.choices import DayChoices
from armcarry.scheduling.problem import Order, Wait
from armcarry.scheduling.state import Place


def order_of(day: DayChoices, who: str, waits: Sequence[Wait]) -> Order:
    """Return the orders a person may work in: as written, but for what may move, with the ways that this takes."""
    return _Orders(day, who, waits).order()


class _Orders:
    def __init__(self, day: DayChoices, who: str, waits: Sequence[Wait]) -> None:
        self.day, self.who = day, who
        self.names = [name for name in day.tasks if who in day.candidates(day.plan.step(name))]
        self.number = {name: k for k, name in enumerate(self.names)}
        self.fixed = [name for name in self.names if self._written(name) and not self._moves(name)]
        self.after = _reach(waits, self.names, day)
        self.glued = self._glued()

    def _moves(self, name: str) -> bool:
        group = self.day.group_of.get(name)
        return group is not None and group.may_move

    def _written(self, name: str) -> bool:
        return self.who in self.day.plan.step(name).actors

    def _skippable(self, name: str) -> bool:
        group = self.day.group_of.get(name)
        return name in self.day.optional or (group is not None and bool(group.either))

    def _glued(self) -> dict[str, str]:
        """Return what directly follows what: steps of one group, and what one written step became."""
        found: dict[str, str] = {}
        for group in self.day.groups:
            own = [name for name in group.steps if name in self.number]
            found |= dict(itertools.pairwise(own))
        meant: dict[str, list[str]] = {}
        for name in self.names:
            at = self.day.scene.loaded.written_at("step", name)
            if at.endswith(")"):
                meant.setdefault(at, []).append(name)
        for steps in meant.values():
            if not self.day.broken_off(steps):
                for one, other in itertools.pairwise(steps):
                    found.setdefault(one, other)
        return found

    def order(self) -> Order:
        changes: dict[tuple[str, str], float] = {}
        longer: dict[tuple[str, str], float] = {}
        first: dict[str, float] = {}
        into = set(self.glued.values())
        start, mine = self.day.begins[self.who], [name for name in self.names if self._written(name)]
        for name in self.names:
            if name not in into and self._may_be_first(name):
                self._add(start, "", name, first, longer, written=mine[:1] == [name])
        for one in self.names:
            for other in self.names:
                if one == other or not self._may_follow(one, other, into):
                    continue
                left = self.day.found[one].left_by(self.who)
                own: dict[str, float] = {}
                self._add(left, one, other, own, longer, written=self._neighbours(one, other))
                if other in own:
                    changes[one, other] = own[other]
        return Order(self.who, changes, first, longer, self.day.ends_s(self.who))

    def _before(self, name: str) -> list[str]:
        """Return the fixed steps written before a step that are always done."""
        return [one for one in self.fixed if self.number[one] < self.number[name] and not self._skippable(one)]

    def _may_be_first(self, name: str) -> bool:
        if self.after.get(name, set()) & {one for one in self.names if not self._skippable(one)}:
            return False
        return name not in self.fixed or not self._before(name)

    def _may_follow(self, one: str, other: str, into: set[str]) -> bool:
        if one in self.glued or other in into:
            return self.glued.get(one) == other
        if other in self.after.get(one, set()):  # it has to come before
            return False
        if one in self.fixed and other in self.fixed:
            between = self.fixed[self.fixed.index(one) + 1 : self.fixed.index(other)] if self.number[one] < self.number[
                other] else None  # fmt: skip
            return between is not None and all(self._skippable(name) for name in between)
        return True

    def _neighbours(self, one: str, other: str) -> bool:
        """Tell whether one follows the other as written."""
        own = [name for name in self.names if self._written(name)]
        return one in own and other in own and own.index(other) == own.index(one) + 1

    def _add(
        self, left: Place, one: str, other: str, changes: dict[str, float], longer: dict[tuple[str, str], float],
        *, written: bool,
    ) -> None:
        """Add that a step follows from a place, where it can, with the way there."""
        found = self.day.found[other]
        step = found.step
        if step.translate is not None:
            if not left.known or any(place.rides for place in found.needs.values()):
                if written:  # as it is written it can, from wherever that is
                    changes[other] = 0.0
                    longer[one, other] = max(self.day.tasks[other].duration.likely_s - self.day.takes_s(other), 0.0)
                return
            begins = step.translate.start or left.name
            way_s = self.day.travel.between_s(self.who, begins, step.translate.to)
            before_s = 0.0 if begins == left.name else self.day.travel.between_s(self.who, left.name, begins)
            if way_s is None and written:
                way_s = self.day.tasks[other].duration.likely_s
            if way_s is not None and before_s is not None:
                changes[other] = before_s if not written else 0.0
                longer[one, other] = max(way_s - self.day.takes_s(other), 0.0)
            return
        needed = found.needed_by(self.who)
        if written or needed is None or needed == left or (left.rides and needed.rides and self.day.anywhere(other)):
            changes[other] = 0.0
        elif needed.known and left.known:
            way_s = self.day.travel.between_s(self.who, left.name, needed.name)
            if way_s is not None:
                changes[other] = way_s


def _reach(waits: Sequence[Wait], names: Sequence[str], day: DayChoices) -> Mapping[str, set[str]]:
    """Return for each step those that have to have ended before it begins, by links and custody."""
    before: dict[str, set[str]] = {name: set() for name in day.tasks}
    direct: dict[str, list[str]] = {name: [] for name in day.tasks}
    for wait in waits:
        if not wait.together:
            direct[wait.then].append(wait.first)
    for name in day.tasks:  # in an order in which every wait points forward
        for first in direct[name]:
            before[name] |= {first, *before[first]}
    return before
