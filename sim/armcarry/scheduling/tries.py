"""A way on as it is flown: where it fails, once more with what its flight has taught."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from armcarry.errors import ArmcarryError
from armcarry.record.finding import Finding
from armcarry.scheduling.flown import Flown, fly, why_not_flown
from armcarry.scheduling.learning import learned_from
from armcarry.scheduling.meeting import Learned
from armcarry.scheduling.onward import Onward
from armcarry.scheduling.way_on import WayOn
from armcarry.timeline.schedule import Schedule

#: flights of a way on at most: as it was solved for, and with what each has taught the next
FLIGHTS = 3


@dataclass(frozen=True)
class Choice:
    """A way on as it was solved for, and how the day is done otherwise for it; None where there is no such way.

    ``again`` solves for it with what its flight has taught, or without handing anything over; None where that gives
    nothing else.
    """

    way: WayOn
    onward: Onward | None = None
    again: Callable[[Learned], Choice | None] | None = None


def flown_as(
    choice: Choice, known: Sequence[Finding], files: Callable[[Flown], Mapping[str, bytes]] | None
) -> WayOn:
    """Return a way on as it was flown; where it fails, as it was flown with what that taught, if this does not."""
    if choice.onward is None:
        return choice.way
    tries = [Try.of(choice, known)]
    while tries[-1].failing and len(tries) < FLIGHTS:
        other = tries[-1].otherwise()
        if other is None:
            break
        tries.append(Try.of(other, known))
    good = tries[0] if tries[-1].failing else tries[-1]
    before = tries[: tries.index(good)]
    return replace(good.told(files), not_so=tuple(one.failing[0].message for one in before))


@dataclass(frozen=True, eq=False)
class Try:
    """A way on that was flown, or why it could not be."""

    choice: Choice
    flown: Flown | None
    why_not: str = ""

    @classmethod
    def of(cls, choice: Choice, known: Sequence[Finding]) -> Try:
        """Fly a way on."""
        try:
            return cls(choice, None if choice.onward is None else fly(choice.onward, known))
        except ArmcarryError as error:
            return cls(choice, None, why_not_flown(error))

    @cached_property
    def failing(self) -> tuple[Finding, ...]:
        """What fails that might not otherwise: what comes too near, for which nothing else need be judged, else all."""
        if self.flown is None:
            return ()
        return self.flown.near or tuple(one for one in self.flown.new if one.check != "custody")

    def otherwise(self) -> Choice | None:
        """Return the same way on with what this flight has taught."""
        if self.flown is None or self.choice.again is None:
            return None
        return self.choice.again(learned_from(self.flown.record, self.failing, self.flown.onward.change))

    def told(self, files: Callable[[Flown], Mapping[str, bytes]] | None) -> WayOn:
        """Return the way on with what was found of it."""
        way, flown = self.choice.way, self.flown
        if flown is None:
            return replace(way, not_flown=self.why_not)
        way = replace(way, proof=flown.proof)
        if flown.record.plan is not None and not flown.record.shortfalls:
            planned = flown.record.plan.schedule
            done, left = planned.tasks_done(), limits_left(planned)
            gone = tuple(name for name in way.keeps if name not in done)
            way = replace(way, end_s=planned.end_s, margins_s=left, drops=(*way.drops, *gone), slots=planned.slots,
                          keeps=tuple(name for name in way.keeps if name in done))  # fmt: skip
        return way if files is None else replace(way, files=files(flown))


def limits_left(planned: Schedule) -> dict[str, float]:
    """Return limit -> what is left of it at the end of a day as it is planned, s."""
    return {use.limit.name: use.margin_s for use in planned.limits}
