"""Tethers of a run as thin rods of glTF: from when to when each is hooked, and from where to where."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.ledger.state import Page
from armcarry.record.record import Record
from armcarry.views.hooked import all_tethers, tether_path_m

#: radius of a rod, m; a drawing, no body: nothing is asked of it
RADIUS_M = 0.012
#: a rod comes and goes within this, s
_SWITCH_S = 1e-3
#: ends that move less than this between two instants are taken to stand, m
_STILL_M = 1e-4


@dataclass(frozen=True, eq=False)
class Rod:
    """A tether as a rod of length and radius 1 along z, moved and stretched.

    Attributes:
        name: what is tethered, and to what.
        times_s: (K,) increasing, also as 32-bit floats.
        middle_m: (K, 3); turn_xyzw: (K, 4), signs continuous in time.
        stretch: (K, 3), all 0 while it is not hooked.
    """

    name: str
    times_s: Array
    middle_m: Array
    turn_xyzw: Array
    stretch: Array


def rods(record: Record, times_s: Array) -> tuple[Rod, ...]:
    """Return every tether of a run that has two ends to be drawn between.

    Args:
        times_s: instants (T,) between which groups move straight, so that tethers do nearly.
    """
    found = []
    for pair in all_tethers(record):
        spans = [
            (start, stop) for start, stop, hooked in record.ledger.spans(partial(_hooked, pair=pair), record.duration_s)
            if hooked and stop - start > 4 * _SWITCH_S
        ]  # fmt: skip
        parts = [part for span in spans if (part := _part(record, pair, span, times_s)) is not None]
        if parts:
            found.append(_joined(f"tether {pair[0]} to {pair[1]}", parts, record.duration_s))
    return tuple(found)


def _hooked(page: Page, pair: tuple[str, str]) -> bool:
    return any((what, to) == pair for what, to, _ in page.tethers())


def _part(
    record: Record, pair: tuple[str, str], span: tuple[float, float], times_s: Array
) -> tuple[Array, Array] | None:
    """Return times (K,) and ends (K, 2, 3) of one stretch in which a tether is hooked, what stands left out."""
    start, stop = span[0] + _SWITCH_S, span[1] - _SWITCH_S
    inside = times_s[(times_s > start + _SWITCH_S) & (times_s < stop - _SWITCH_S)]
    times = np.concatenate([[start], inside, [stop]])
    ends = tether_path_m(record, pair, times)
    if not np.isfinite(ends).all():
        return None
    moves = np.abs(np.diff(ends, axis=0)).reshape(len(times) - 1, -1).max(axis=1) > _STILL_M
    kept = np.concatenate([[True], moves]) | np.concatenate([moves, [True]])
    return times[kept], ends[kept]


def _joined(name: str, parts: list[tuple[Array, Array]], end_s: float) -> Rod:
    """Return one rod over the whole run, of no size between the stretches."""
    times, ends, shown = [np.zeros(1)], [parts[0][1][:1]], [np.zeros(1, dtype=bool)]
    for when, where in parts:
        times.append(np.concatenate([[when[0] - _SWITCH_S], when, [when[-1] + _SWITCH_S]]))
        ends.append(np.concatenate([where[:1], where, where[-1:]]))
        shown.append(np.concatenate([[False], np.ones(len(when), dtype=bool), [False]]))
    times.append(np.array([end_s]))
    ends.append(parts[-1][1][-1:])
    shown.append(np.zeros(1, dtype=bool))
    clock, both, visible = np.concatenate(times), np.concatenate(ends), np.concatenate(shown)
    later = np.concatenate([[True], np.diff(clock.astype(np.float32)) > 0])
    clock, both, visible = clock[later], both[later], visible[later]
    along = both[:, 1] - both[:, 0]
    length = np.linalg.norm(along, axis=1)
    stretch = np.stack([np.full(len(length), RADIUS_M), np.full(len(length), RADIUS_M), length], axis=1)
    return Rod(name, clock, both.mean(axis=1), _turns(along, length), stretch * visible[:, None])


def _turns(along: Array, length: Array) -> Array:
    """Return unit quaternions x y z w (K, 4) that bring z to directions (K, 3), the shortest way, signs continuous."""
    turns = np.empty((len(along), 4))
    for k, (way, size) in enumerate(zip(along, length, strict=True)):
        unit = way / size if size > 1e-9 else np.array([0.0, 0.0, 1.0])
        axis, cosine = np.cross([0.0, 0.0, 1.0], unit), float(unit[2])
        if cosine < -1.0 + 1e-9:
            turns[k] = [1.0, 0.0, 0.0, 0.0]
        else:
            turns[k] = [*axis, 1.0 + cosine]
            turns[k] /= np.linalg.norm(turns[k])
    for k in range(1, len(turns)):
        if float(turns[k] @ turns[k - 1]) < 0.0:
            turns[k] *= -1.0
    return turns
