"""Where two runs differ in clearance: pair by pair from the proven bounds, and over time from the curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.comparing.laid import Laid
from armcarry.record.record import Curve, PairRow, Record

#: least distances that may be as near as this are the same, m
SAME_M = 1e-3


@dataclass(frozen=True)
class PairDifference:
    """One pair of bodies: proven bounds of its least distance in both runs, and its least margin in each.

    ``nearer_m`` is by how much the second is certainly nearer; below 0, by how much it is certainly farther.
    Bounds of a run that does not measure the pair are infinite, and ``only_in`` says which run does: ``first``,
    ``second``, or empty for both.
    """

    body_a: str
    body_b: str
    first_lower_m: float
    first_upper_m: float
    first_time_s: float
    first_margin_m: float
    second_lower_m: float
    second_upper_m: float
    second_time_s: float
    second_margin_m: float
    nearer_m: float
    only_in: str = ""

    @property
    def newly_fails(self) -> bool:
        """Whether only the second run lacks clearance."""
        return self.second_margin_m < 0 <= self.first_margin_m


@dataclass(frozen=True)
class GroupDifference:
    """Stretches of time, first run's clock, in each cell of which a group is certainly nearer in the second run.

    ``nearer_m`` is the most by which it certainly is, in the cell from ``time_s``; ``lasting_s`` how long in all.
    """

    group: str
    nearer_m: float
    time_s: float
    lasting_s: float
    stretches_s: tuple[tuple[float, float], ...]


@dataclass
class _Least:
    lower_m: float = np.inf
    upper_m: float = np.inf
    time_s: float = 0.0
    margin_m: float = np.inf

    @property
    def counts(self) -> bool:
        """Whether it was measured, and something is required of it: else one run alone says nothing worth a row."""
        return bool((np.isfinite(self.upper_m) and np.isfinite(self.margin_m)) or self.margin_m == -np.inf)


def pair_differences(first: Record, second: Record) -> tuple[PairDifference, ...]:
    """Return the pairs that certainly differ by more than a millimetre, newly fail, or are measured in one run alone.

    Worst first: those that newly fail by their margin, then what is nearer in the second or only there, by its margin,
    then what is farther or no longer there.
    """
    ours, theirs = _least(first.pairs), _least(second.pairs)
    found = []
    for key in sorted({*ours, *theirs}):
        a, b = ours.get(key, _Least()), theirs.get(key, _Least())
        only_in = "second" if key not in ours else "first" if key not in theirs else ""
        nearer = 0.0
        if only_in:  # a run that does not measure a pair says nothing of it
            if not (a if only_in == "first" else b).counts:
                continue
        elif b.upper_m < a.lower_m:
            nearer = a.lower_m - b.upper_m
        elif a.upper_m < b.lower_m:
            nearer = a.upper_m - b.lower_m
        pair = PairDifference(
            *key, a.lower_m, a.upper_m, a.time_s, a.margin_m, b.lower_m, b.upper_m, b.time_s, b.margin_m, nearer,
            only_in,
        )
        if only_in or abs(nearer) > SAME_M or pair.newly_fails:
            found.append(pair)
    return tuple(sorted(found, key=_worst_first))


def _worst_first(pair: PairDifference) -> tuple[int, float, float]:
    if pair.newly_fails:
        return 0, pair.second_margin_m, -pair.nearer_m
    if pair.only_in == "second" or pair.nearer_m > 0:
        return 1, pair.second_margin_m, -pair.nearer_m
    return 2, pair.first_margin_m, -pair.nearer_m


def _least(rows: Sequence[PairRow]) -> dict[tuple[str, str], _Least]:
    found: dict[tuple[str, str], _Least] = {}
    for row in rows:
        if row.status == "intended":
            continue
        key = (row.body_a, row.body_b) if row.body_a < row.body_b else (row.body_b, row.body_a)
        least = found.setdefault(key, _Least())
        if row.upper_m < least.upper_m:
            least.upper_m, least.time_s = row.upper_m, row.time_s
        least.lower_m = min(least.lower_m, row.lower_m)
        least.margin_m = min(least.margin_m, row.margin_m)
    return found


def group_differences(first: Record, second: Record, laid: Laid) -> tuple[GroupDifference, ...]:
    """Return the groups that are certainly nearer somewhere in the second run, the most so first."""
    theirs = {curve.group: curve for curve in second.curves}
    found = [
        item
        for curve in first.curves
        if curve.group in theirs and (item := _nearer(curve, theirs[curve.group], laid)) is not None
    ]
    return tuple(sorted(found, key=lambda item: -item.nearer_m))


def _nearer(ours: Curve, theirs: Curve, laid: Laid) -> GroupDifference | None:
    """Compare cell by cell of the second run's curve.

    Its upper bound holds for the least distance at some instant of the cell; at that instant the first run keeps
    at least the least lower bound of its own cells there.
    """
    times = laid.to_first(theirs.times_s)
    inside = (times[:-1] >= ours.times_s[0]) & (times[1:] <= ours.times_s[-1])
    first = np.clip(np.searchsorted(ours.times_s, times[:-1], side="right") - 1, 0, len(ours.lower_m) - 1)
    last = np.clip(np.searchsorted(ours.times_s, times[1:], side="left"), first + 1, len(ours.lower_m))
    kept = np.array([ours.lower_m[a:b].min() for a, b in zip(first, last, strict=True)])
    known = inside & np.isfinite(kept) & np.isfinite(theirs.upper_m)
    by = np.where(known, np.where(known, kept, 0.0) - np.where(known, theirs.upper_m, 0.0), 0.0)
    nearer = by > SAME_M
    if not nearer.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[0], nearer.astype(int), [0]])))
    stretches = tuple((float(times[a]), float(times[b])) for a, b in edges.reshape(-1, 2).tolist())
    most = int(np.argmax(by))
    return GroupDifference(
        ours.group, float(by[most]), float(times[most]), float(sum(b - a for a, b in stretches)), stretches
    )
