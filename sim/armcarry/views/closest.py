"""The closest pair at chosen instants: what the line in every 3-D view shows.

The values come from our own distance of bodies at rest, never from what a viewer draws. The proven least
value over a stretch of time stands in the record; this says which pair it is, and where, in between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.quantities import rounded_down
from armcarry.record.record import PairRow, Record

#: pairs measured at once
_BLOCK = 120


@dataclass(frozen=True, eq=False)
class Track:
    """The pair with the least margin at each of T instants.

    Attributes:
        times_s: (T,).
        row: (T,) row into ``record.pairs``; -1 where no pair with a rule is within the report distance.
        lower_m, upper_m: (T,) proven bounds at the instant; -inf and 0 in contact, inf where row is -1.
        point_a, point_b: (T, 3) nearest points in the world.
    """

    times_s: Array
    row: NDArray[np.int64]
    lower_m: Array
    upper_m: Array
    point_a: Array
    point_b: Array


def closest_track(record: Record, times_s: ArrayLike, only: Callable[[PairRow], bool] = lambda row: True) -> Track:
    """Find the pair with the least margin over what is required of it at instants times_s (T,).

    Args:
        record: the run.
        times_s: instants (T,).
        only: which pairs count.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=float))
    count = len(times)
    track = Track(
        times, np.full(count, -1, dtype=np.int64), np.full(count, np.inf), np.full(count, np.inf),
        np.full((count, 3), np.nan), np.full((count, 3), np.nan),
    )
    rows = np.array([k for k, row in enumerate(record.pairs) if judged(row) and only(row)], dtype=np.int64)
    least = np.array([record.pairs[k].margin_m for k in rows])
    rows, best = rows[np.argsort(least)], np.full(count, np.inf)
    # a pair is nowhere nearer than its proven least: once that is beyond the best found, no later pair counts
    for start in range(0, len(rows), _BLOCK):
        block = rows[start : start + _BLOCK]
        at = np.flatnonzero(best > record.pairs[block[0]].margin_m)
        if not at.size:
            break
        _fill(record, track, best, at, block)
    return track


def judged(row: PairRow) -> bool:
    """Tell whether a row is within the report distance and has a requirement."""
    return row.required_m is not None and row.status not in ("farther", "intended")


def _fill(record: Record, track: Track, best: Array, at: NDArray[np.int64], rows: NDArray[np.int64]) -> None:
    """Measure the pairs of ``rows`` at the instants ``at``, and keep those with less margin than ``best``."""
    where = {body.name: k for k, body in enumerate(record.bodies)}
    pairs = np.array([(where[record.pairs[k].body_a], where[record.pairs[k].body_b]) for k in rows])
    used, renumbered = np.unique(pairs, return_inverse=True)
    times = track.times_s[at]
    found = distances(
        [record.bodies[k].shape for k in used], record.body_poses(times)[:, used], renumbered.reshape(-1, 2)
    )
    required = np.array([record.pairs[k].required_m for k in rows], dtype=float)
    windows = np.array([(record.pairs[k].start_s, record.pairs[k].end_s) for k in rows])
    counts = (windows[:, 0] <= times[:, None]) & (times[:, None] <= windows[:, 1])
    # at a switch things hang as they do after it, so what holds until then is over
    switches = np.isin(times, [phase.start_s for phase in record.phases[1:]])
    counts &= ~(switches[:, None] & (times[:, None] == windows[:, 1]))
    counts &= found.lower_m <= record.scene.loaded.rules.report_distance
    margin = np.where(counts, found.lower_m - required, np.inf)
    # of several pairs in contact the deepest is unknown: the one that asks most is shown
    pick = np.lexsort((-np.broadcast_to(required, margin.shape), margin), axis=1)[:, 0]
    line = np.arange(len(at))
    nearer = counts[line, pick] & (margin[line, pick] < best[at])
    at, line, pick = at[nearer], line[nearer], pick[nearer]
    best[at] = margin[line, pick]
    track.row[at] = rows[pick]
    track.lower_m[at], track.upper_m[at] = found.lower_m[line, pick], found.upper_m[line, pick]
    track.point_a[at], track.point_b[at] = found.point_a[line, pick], found.point_b[line, pick]


def worded(row: PairRow, value_m: float) -> str:
    """Write a distance beside what is required: ``0.214 m (0.30 m required)``."""
    shown = "contact" if value_m == -np.inf else f"{rounded_down(max(value_m, 0.0)):.3f} m"
    return shown if row.required_m is None else f"{shown} ({row.required_m:.2f} m required)"
