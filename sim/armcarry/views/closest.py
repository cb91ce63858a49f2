"""The pair that matters most at chosen instants: what the line in every 3-D view shows, as the closest pair.

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
from armcarry.record.figures import Compared, at_least
from armcarry.record.matters import weight
from armcarry.record.pairs import PairTable
from armcarry.record.record import PairRow, Record

#: pairs measured at once
_BLOCK = 120


@dataclass(frozen=True, eq=False)
class Track:
    """The pair that matters most (see ``record.matters``) at each of T instants.

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


def closest_track(
    record: Record, times_s: ArrayLike, only: Callable[[PairTable], NDArray[np.bool_]] | None = None
) -> Track:
    """Find the pair that matters most (see ``record.matters``) at instants times_s (T,).

    Args:
        record: the run.
        times_s: instants (T,).
        only: which rows (R,) of the table count.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=float))
    count = len(times)
    track = Track(
        times, np.full(count, -1, dtype=np.int64), np.full(count, np.inf), np.full(count, np.inf),
        np.full((count, 3), np.nan), np.full((count, 3), np.nan),
    )
    table = record.table
    rows = np.flatnonzero(table.judged if only is None else table.judged & only(table))
    least = record.weights[rows]
    order = np.argsort(least, kind="stable")
    rows, least, best = rows[order], least[order], np.full(count, np.inf)
    # a pair is nowhere nearer than its proven least: once that is beyond the best found, no later pair counts
    for start in range(0, len(rows), _BLOCK):
        block = rows[start : start + _BLOCK]
        at = np.flatnonzero(best > least[start])
        if not at.size:
            break
        _fill(record, track, best, at, block)
    return track


def judged(row: PairRow) -> bool:
    """Tell whether a row is within the report distance and has a requirement."""
    return row.required_m is not None and row.status not in ("farther", "intended")


def _fill(record: Record, track: Track, best: Array, at: NDArray[np.int64], rows: NDArray[np.int64]) -> None:
    """Measure the pairs of ``rows`` at the instants ``at``, and keep those that matter more than ``best``."""
    table, where = record.table, {body.name: k for k, body in enumerate(record.bodies)}
    body_of = np.array([where[name] for name in table.names], dtype=np.int64)
    pairs = np.stack([body_of[table.body_a[rows]], body_of[table.body_b[rows]]], axis=1)
    used, renumbered = np.unique(pairs, return_inverse=True)
    times = track.times_s[at]
    found = distances(
        [record.bodies[k].shape for k in used], record.body_poses(times)[:, used], renumbered.reshape(-1, 2)
    )
    required, start, end = table.required_m[rows], table.start_s[rows], table.end_s[rows]
    counts = (start <= times[:, None]) & (times[:, None] <= end)
    # at a switch things hang as they do after it, so what holds until then is over
    switches = np.isin(times, [phase.start_s for phase in record.phases[1:]])
    counts &= ~(switches[:, None] & (times[:, None] == end))
    counts &= found.lower_m <= record.scene.loaded.rules.report_distance
    heavy = np.where(counts, weight(found.lower_m, required, record.apart[rows]), np.inf)
    # of several pairs in contact the deepest is unknown: the one that asks most is shown
    pick = np.lexsort((-np.broadcast_to(required, heavy.shape), heavy), axis=1)[:, 0]
    line = np.arange(len(at))
    nearer = counts[line, pick] & (heavy[line, pick] < best[at])
    at, line, pick = at[nearer], line[nearer], pick[nearer]
    best[at] = heavy[line, pick]
    track.row[at] = rows[pick]
    track.lower_m[at], track.upper_m[at] = found.lower_m[line, pick], found.upper_m[line, pick]
    track.point_a[at], track.point_b[at] = found.point_a[line, pick], found.point_b[line, pick]


def compared(row: PairRow, value_m: float) -> Compared:
    """Return a distance of two bodies beside what is required of them, to be told as findings tell it."""
    return at_least(max(value_m, 0.0) if np.isfinite(value_m) else value_m, row.required_m or 0.0, "m")


def kept(row: PairRow, value_m: float) -> bool:
    """Tell whether a distance of two bodies keeps what is required of them."""
    return bool(value_m >= 0.0 and compared(row, value_m).kept)


def said(row: PairRow, value_m: float) -> str:
    """Write a distance as findings do, rounded down."""
    return "contact" if value_m == -np.inf else compared(row, value_m).said


def asked(row: PairRow, value_m: float) -> str:
    """Write what is required of two bodies: ``0.300 m required``; nothing where no rule covers them."""
    return "" if row.required_m is None else f"{compared(row, value_m).asked} required"


def worded(row: PairRow, value_m: float) -> str:
    """Write a distance beside what is required: ``0.214 m (0.300 m required)``."""
    required = asked(row, value_m)
    return f"{said(row, value_m)} ({required})" if required else said(row, value_m)
