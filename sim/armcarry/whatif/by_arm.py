"""Ways home by an arm that still works: how soon it brings its rider to a handrail, or to where home is soonest.

The arm goes on along the way it is flown, or back along it at the same pace: a way that is proven, and whose rates and
accelerations are kept either way. It does so only within a stretch in which nothing is taken, put down or let go of and
the rider stays aboard; standing takes no time. Instants are those of the stranding, so this is as fine as they lie, and
no bound.
"""

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
    """Return the least time (T,) in which the arm brings a rider to where a handrail is in reach; inf for never."""
    reached = np.where(item.gap_m <= _NOTHING_M, 0.0, np.inf)
    return _soonest(record, item, reached)


def home_s(record: Record, item: Stranding) -> Array:
    """Return the least time until inside (T,): by the own way at once, or by a ride to where that is soonest.

    A ride takes the time of the way that the arm is flown and, where the rules say how long, that in which it is made
    ready before and safe after it, before the rider gets off.
    """
    safe = record.scene.loaded.rules.arm_safe
    around_s = 0.0 if safe is None else safe.make_ready + safe.make_safe
    return np.minimum(item.return_time_s, _soonest(record, item, item.return_time_s) + around_s)


def _soonest(record: Record, item: Stranding, then_s: Array) -> Array:
    """Return the least sum (T,) of the time of a ride to any instant of the stretch and of what it takes from there."""
    # how long the arm has moved by each instant: ways on and back are differences of it
    moved = np.zeros(len(item.time_s))
    for move in record.moves:
        if move.kind not in _STANDS:
            moved += np.clip(item.time_s - move.start_s, 0.0, max(move.end_s - move.start_s, 0.0))
    takes = np.full(len(item.time_s), np.inf)
    stretch = _stretches(record, item)
    for number in np.unique(stretch[stretch >= 0]):
        own = np.flatnonzero(stretch == number)
        on = np.minimum.accumulate((moved[own] + then_s[own])[::-1])[::-1] - moved[own]
        back = np.minimum.accumulate(then_s[own] - moved[own]) + moved[own]
        takes[own] = np.minimum(on, back)
    return takes


def _stretches(record: Record, item: Stranding) -> np.ndarray:
    """Number the stretches (T,) in which the rider stays aboard and nothing changes hands; -1 off the arm."""
    aboard = np.zeros(len(item.time_s), dtype=bool)
    for phase in record.phases:
        if item.crew in record.scene.aboard(phase.tree):
            aboard |= (item.time_s >= phase.start_s) & (item.time_s <= phase.end_s)
    number = np.searchsorted(np.sort([event.time_s for event in record.events]), item.time_s, side="right")
    return np.where(aboard, number, -1)
