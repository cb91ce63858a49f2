"""Steps that must begin together and ask for one actor: nobody can do both, and a run ends before them."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

from armcarry.files.documents.steps import Step
from armcarry.timeline.conflicts import Conflict
from armcarry.timeline.schedule import Schedule


def asked_twice(steps: Mapping[str, Step], schedule: Schedule) -> list[Conflict]:
    """Return each carry and the step that begins with it and asks for one of its actors too.

    Told from the links, not from the clock: where the run ends before the two, its carries have no time that overlaps.
    """
    found = []
    done = schedule.tasks_done()
    for members in schedule.network.members:
        names = [name for k in members if (name := schedule.network.tasks[k].name) in done]
        for first, second in combinations(names, 2):
            if steps[first].carry is None and steps[second].carry is None:
                continue
            slot = schedule.slot(second)
            for actor in steps[second].actors:
                if actor in steps[first].actors:
                    message = f"{actor} is asked by {first} and by {second}, which begin together"
                    remedy = f"take {actor} off one of them, or let {second} come after {first}"
                    span = slot.start_s, slot.end_s
                    found.append(Conflict("asked_twice", second, actor, message, remedy, *span, first))
    return found
