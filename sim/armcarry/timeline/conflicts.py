"""Conflicts of a schedule: an actor in two places at once. Who may do what where is the ledger's matter."""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.timeline.schedule import SAME_S, Schedule


@dataclass(frozen=True)
class Conflict:
    """Something in a day that cannot be.

    Attributes:
        kind: two_places, asked_twice or rail.
        other: the step that ``step`` is at odds with, if it is one.
    """

    kind: str
    step: str
    actor: str
    message: str
    remedy: str
    start_s: float
    end_s: float
    other: str = ""


def two_places(schedule: Schedule) -> tuple[Conflict, ...]:
    """Return pairs of steps of one actor that overlap; only steps that begin together can."""
    actors = {actor for slot in schedule.slots for actor in slot.actors}
    found = []
    for actor in sorted(actors):
        own = schedule.of(actor)
        for k, first in enumerate(own):
            for second in own[k + 1 :]:
                start, end = max(first.start_s, second.start_s), min(first.end_s, second.end_s)
                if end - start > SAME_S:
                    found.append(
                        Conflict(
                            "two_places", second.name, actor,
                            f"{actor} does {first.name} and {second.name} at the same time",
                            f"take {actor} off one of them, or let {second.name} come after {first.name}", start, end,
                            first.name,
                        )
                    )
    return tuple(found)
