"""The steps of a day as a table: what everybody does when, not only the arm."""

from __future__ import annotations

from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views.table import Table


def day_table(record: Record) -> Table | None:
    """Return the steps of the day in order of time, None where the run belongs to no day.

    The last column says how much later a step may end before the day ends later.
    """
    plan = record.plan
    if plan is None:
        return None
    rows = []
    for slot in sorted(plan.schedule.slots, key=lambda slot: (slot.start_s, slot.end_s)):
        step = plan.step(slot.name)
        place = "" if step.at is None else plain(step.at)
        spare = "none" if slot.critical else clock(slot.total_slack_s)
        rows.append((
            clock(slot.start_s), clock(slot.end_s), ", ".join(map(plain, slot.actors)),
            step.title or plain(step.name), place, spare,
        ))
    return Table(("from", "to", "who", "step", "where", "to spare"), tuple(rows))
