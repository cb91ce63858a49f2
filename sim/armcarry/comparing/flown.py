"""Flown against planned: the time of each step beside the plan's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from armcarry.comparing.steps import parts_of
from armcarry.errors import RecordError
from armcarry.files.actual import Actual
from armcarry.record.record import Record


@dataclass(frozen=True)
class Flown:
    """One step as it was planned, and as it was flown; None where nobody says when.

    ``remark`` is what was written beside it.
    """

    name: str
    title: str
    actors: tuple[str, ...]
    planned_s: tuple[float, float]
    start_s: float | None
    end_s: float | None
    remark: str = ""

    @property
    def late_s(self) -> float | None:
        """How much later it began; below 0, how much earlier."""
        return None if self.start_s is None else self.start_s - self.planned_s[0]

    @property
    def longer_s(self) -> float | None:
        """How much longer it took; below 0, how much less."""
        if self.start_s is None or self.end_s is None:
            return None
        return (self.end_s - self.start_s) - (self.planned_s[1] - self.planned_s[0])


def step_names(record: Record) -> tuple[str, ...]:
    """Return the names by which steps of a run are called in a table of times."""
    return tuple(part.name for part in parts_of(record))


def against_plan(record: Record, actual: Mapping[str, Actual]) -> tuple[Flown, ...]:
    """Return every step of a run beside the times at which it was flown."""
    found = []
    for part in parts_of(record):
        made = actual.get(part.name)
        found.append(Flown(
            part.name, part.title, part.actors, (part.start_s, part.end_s),
            None if made is None else made.start_s, None if made is None else made.end_s,
            "" if made is None else made.remark,
        ))
    return tuple(found)


def times_of_log(record: Record, flown: Record) -> dict[str, Actual]:
    """Return when each move was flown, from the replay of a log that marks them; of a day, when its carries were.

    Raises:
        RecordError: the second is no replay, or marks no move of the first.
    """
    if flown.logged is None:
        raise RecordError("this run replays no log; rehearse the scenario with --motion LOG, or give a table of times")
    spans: dict[str, tuple[float, float]] = {}
    if record.plan is None:
        known = {part.name for part in parts_of(record)}
        spans = {part.name: (part.start_s, part.end_s) for part in parts_of(flown) if part.name in known}
    else:
        carries = {step.carry: step.name for step in record.plan.day.steps if step.carry is not None}
        for move in flown.moves:
            if move.carry in carries:
                first, last = spans.get(carries[move.carry], (move.start_s, move.end_s))
                spans[carries[move.carry]] = (min(first, move.start_s), max(last, move.end_s))
    if not spans:
        raise RecordError("the log marks no move of this run, so it does not say when its steps were flown; "
                          "name them in its column 'move'")  # fmt: skip
    return {name: Actual(start_s, end_s) for name, (start_s, end_s) in spans.items()}
