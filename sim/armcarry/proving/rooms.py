"""How near everybody of whom a room asks comes to it, proven over every stretch in which it asks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armcarry.asked.rooms import asked_rooms
from armcarry.clearance import prove_clearance
from armcarry.clearance.prover import CONTACT
from armcarry.record.kept import Kept
from armcarry.record.record import Phase, Record

Span = tuple[float, float]


@dataclass(frozen=True)
class RoomRow:
    """One body and one room over a stretch of time in which the room asks.

    Attributes:
        inside: the body touches it, or one of its walls, at some instant.
        lower_m, upper_m: bounds of the least distance; -inf and 0 where it is inside.
        time_s: when it is nearest; where it is inside, from when on that is not ruled out.
    """

    room: str
    body: str
    start_s: float
    end_s: float
    required_m: float
    inside: bool
    lower_m: float
    upper_m: float
    time_s: float


def room_rows(record: Record) -> tuple[RoomRow, ...]:
    """Return how near bodies come to rooms, in the order of time, as it was judged."""
    return record.result(ROOMS)


def on_spans(record: Record, what: str | None) -> list[Span]:
    """Return when something is on: all the run but what the script says it is off; a step that is not done ends none.

    Args:
        what: its name; None for what is always asked.
    """
    whole = (0.0, record.duration_s)
    off = record.scene.loaded.scenario.switched_off.get(what or "")
    if off is None:
        return [whole]
    slots = {} if record.plan is None else {slot.name: slot for slot in record.plan.schedule.slots}
    if any(name is not None and name not in slots for name in (off.after, off.before)):
        return [whole]
    first = 0.0 if off.after is None else slots[off.after].end_s
    last = whole[1] if off.before is None else slots[off.before].start_s
    return [span for span in ((0.0, first), (last, whole[1])) if span[1] > span[0]] if last > first else [whole]


def _all_rows(record: Record) -> tuple[RoomRow, ...]:
    rooms = record.scene.loaded.platform.document.rooms
    spans = [on_spans(record, room.while_on) for room in rooms.values()]
    return tuple(row for phase in record.phases if phase.end_s > phase.start_s and rooms
                 for row in _of_phase(record, phase, spans))  # fmt: skip


ROOMS = Kept("rooms", 1, _all_rows, (RoomRow,))


def _of_phase(record: Record, phase: Phase, spans: list[list[Span]]) -> Iterator[RoomRow]:
    """Prove the pairs of a phase, cut where something is switched on or off."""
    asked, names = asked_rooms(record.scene, phase.tree), list(record.scene.loaded.platform.document.rooms)
    edges = sorted({phase.start_s, phase.end_s, *_within(phase, (t for room in spans for span in room for t in span))})
    for start, end in pairwise(edges):
        on = np.array([any(a <= start and b >= end for a, b in room) for room in spans])
        rows = np.flatnonzero(on[asked.room])
        if not len(rows):
            continue
        found = prove_clearance(
            asked.tree, record.motion, asked.pairs[rows], start_s=start, end_s=end,
            report_distance_m=record.scene.loaded.rules.report_distance,
        )  # fmt: skip
        for k, row in enumerate(rows):
            inside = found.status[k] == CONTACT
            time = found.contact_s[k, 0] if inside else found.time_s[k]
            yield RoomRow(
                names[asked.room[row]], asked.tree.bodies[asked.pairs[row, 0]].name, start, end,
                float(asked.required_m[row]), bool(inside), float(found.lower_m[k]), float(found.upper_m[k]),
                float(start if np.isnan(time) else time),
            )  # fmt: skip


def _within(phase: Phase, times: Iterable[float]) -> Iterator[float]:
    return (time for time in times if phase.start_s < time < phase.end_s)
