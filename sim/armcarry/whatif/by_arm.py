"""How long an arm that still works takes to bring its rider to a handrail, on or back along its own way."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.whatif.stranding import Stranding

#: moves during which the arm stands
_STANDS = ("hold", "attach", "detach")
#: gaps below this are none, m
_NOTHING_M = 1e-6


def within_reach_s(record: Record, item: Stranding) -> Array:
    """Return the least time (T,) in which the arm brings a rider to where a handrail is in reach; inf for never.

    The arm goes on along the way it is flown, or back along it at the same pace: a way that is proven. It does so
    only within a stretch in which nothing is taken, put down or let go of; standing takes no time. Instants are those
    of the stranding, so this is as fine as they lie, and no bound.
    """
    # how long the arm has moved by each instant: ways on and back are differences of it
    moved = np.zeros(len(item.time_s))
    for move in record.moves:
        if move.kind not in _STANDS:
            moved += np.clip(item.time_s - move.start_s, 0.0, max(move.end_s - move.start_s, 0.0))
    cuts = [event.time_s for event in record.events]
    stretch = np.searchsorted(np.sort(cuts), item.time_s, side="right")
    reached = item.gap_m <= _NOTHING_M
    takes = np.full(len(item.time_s), np.inf)
    for number in np.unique(stretch):
        own = stretch == number
        there = np.unique(moved[own & reached])
        if len(there):
            after = np.clip(np.searchsorted(there, moved[own]), 0, len(there) - 1)
            ends = there[np.stack([after, np.maximum(after - 1, 0)])]
            takes[own] = np.abs(ends - moved[own]).min(axis=0)
    return takes
