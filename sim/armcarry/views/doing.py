"""What everybody does at an instant of a day, in words: told where the arm alone would leave a run silent."""

from __future__ import annotations

from typing import NamedTuple

from armcarry.record.record import Record
from armcarry.scene.words import plain


class Doing(NamedTuple):
    """A step under way: from when to when, and who does what."""

    start_s: float
    end_s: float
    words: str


def doings(record: Record) -> tuple[Doing, ...]:
    """Return the steps of the day in order of time, empty where the run belongs to no day."""
    if record.plan is None:
        return ()
    plan = record.plan
    found = []
    for slot in plan.schedule.slots:
        step = plan.step(slot.name)
        who = ", ".join(map(plain, slot.actors))
        found.append(Doing(slot.start_s, slot.end_s, f"{who}: {step.title or plain(step.name)}"))
    return tuple(sorted(found))


def doing_at(record: Record, time_s: float) -> str:
    """Return what everybody does at an instant, empty where the run belongs to no day."""
    return " · ".join(each.words for each in record.once(doings) if each.start_s <= time_s < each.end_s)
