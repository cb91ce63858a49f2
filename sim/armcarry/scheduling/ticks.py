"""Whole milliseconds, in which CP-SAT counts: rounded so that no wait is too short, and how many there can be."""

from __future__ import annotations

import math

from armcarry.scheduling.problem import Problem, Wait, Windows

#: ticks a second
TICKS = 1000
#: how many ticks of a time are taken for rounding of doubles, not for a longer time
_NOISE = 1e-3


def ticks(seconds: float) -> int:
    """Return seconds as whole ticks, rounded up."""
    return math.ceil(seconds * TICKS - _NOISE)


def ticks_to(seconds: float, most: int) -> int:
    """Return a latest instant in ticks, rounded down; rounding of doubles does not count. Infinity is ``most``."""
    return most if seconds * TICKS >= most else math.floor(seconds * TICKS + _NOISE)


def horizon_of(problem: Problem) -> int:
    """Return an instant by which every schedule that is pushed as early as it goes has ended."""
    longest = sum(ticks(max(way.duration_s for way in job.ways)) for job in problem.jobs)
    gaps = sum(ticks(max(one.gap_s, 0.0)) for one in problem.statements if isinstance(one, Wait))
    changes = 0
    for order in problem.orders:
        between = [*order.changes_s.values(), *order.first_s.values(), *(order.last_s or {}).values()]
        changes += ticks(max([0.0, *between])) * (len(order.first_s) + len(order.changes_s) + 1)
    changes += sum(longest_of(problem).values())
    opening = [begin for one in problem.statements if isinstance(one, Windows) for begin, _ in one.spans]
    return longest + gaps + changes + ticks(max([0.0, *opening])) + 1


def longest_of(problem: Problem) -> dict[str, int]:
    """Return job -> most ticks that it takes longer for what comes before it; others take no longer."""
    most: dict[str, int] = {}
    for order in problem.orders:
        for (_, name), seconds in order.longer_s.items():
            if seconds > 0.0:
                most[name] = max(most.get(name, 0), ticks(seconds))
    return most
