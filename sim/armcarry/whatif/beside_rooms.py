"""Stretches in which rooms of the platform ask something of what the arm moves, for questions of what if."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from armcarry.asked.rooms import arm_rooms
from armcarry.proving.rooms import on_spans
from armcarry.record.record import Record
from armcarry.whatif.faults import Side, Window


def room_windows(record: Record) -> Iterator[Window]:
    """Give every stretch in which rooms of the platform ask something of what the arm moves.

    What must be left of it is what a fault must leave of anything, but no more than the room asks for.
    """
    rooms = list(record.scene.loaded.platform.document.rooms.values())
    spans = [on_spans(record, room.while_on) for room in rooms]
    remainder = record.scene.loaded.rules.stop_remainder
    for phase in record.phases if rooms else ():
        asked = arm_rooms(record.scene, phase.tree)
        inner = {time for one in spans for span in one for time in span if phase.start_s < time < phase.end_s}
        for start_s, end_s in pairwise(sorted({phase.start_s, phase.end_s, *inner})):
            on = np.array([any(a <= start_s and b >= end_s for a, b in one) for one in spans])
            rows = np.flatnonzero(on[asked.room])
            if not len(rows):
                continue
            side = Side(record, phase, asked.pairs[rows], rooms=True)
            yield Window(side, asked.asked(start_s, end_s, rows, remainder))
