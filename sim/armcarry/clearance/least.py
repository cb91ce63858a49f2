"""The least distance over many pairs of bodies at rest, configuration by configuration.

Made for searches: a configuration is dropped as soon as one pair is too close, and a pair that is surely
farther than matters costs one or two planes.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from armcarry.clearance.gjk import gjk
from armcarry.clearance.jit import entry, source_digest
from armcarry.clearance.solids import PAD_M, pack, pose_rows
from armcarry.clearance.support import plane_gap
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape

_DIGEST = source_digest()


@dataclass(frozen=True)
class Least:
    """The least distance of each configuration, over all pairs.

    Attributes:
        lower_m: (N,) proven lower bound, ``enough_m`` where every pair is proven farther than that, -inf
            where bodies overlap. Where it is below ``too_close_m`` other pairs may be closer still.
        pair: (N,) row of the pair it belongs to, -1 where every pair is farther than ``enough_m``.
    """

    lower_m: Array
    pair: np.ndarray


def _make(digest):
    @entry
    def least(form, size, verts, moving, fixed, pairs, enough, too_close, tolerance, pad):
        """Return the least lower bound (N,) and its pair (N,) at poses (N, M, 12) and (F, 12)."""
        count, movers = moving.shape[0] if digest else 0, moving.shape[1]
        lower = np.empty(count)
        which = np.full(count, -1, dtype=np.int64)
        rows = np.empty((movers + fixed.shape[0], 12))
        rows[movers:] = fixed
        work = np.empty((5, 6))
        out = np.empty(9)
        for n in range(count):
            rows[:movers] = moving[n]
            best = enough[n]
            for p in range(pairs.shape[0]):
                a, b = pairs[p, 0], pairs[p, 1]
                x, y, z = rows[b, 9] - rows[a, 9], rows[b, 10] - rows[a, 10], rows[b, 11] - rows[a, 11]
                span = math.sqrt(x * x + y * y + z * z)
                if span - size[a, 4] - size[b, 4] >= best:
                    continue
                if span > 0.0:
                    gap = plane_gap(form, size, verts, a, b, rows, a, b, x / span, y / span, z / span)
                    if gap >= best:
                        continue
                else:
                    x = 1.0
                low, high = gjk(form, size, verts, a, b, rows, a, b, x, y, z, tolerance, best, work, out)
                low = -math.inf if high <= pad else max(low, 0.0)
                if low < best:
                    best = low
                    which[n] = p
                    if best < too_close:
                        break
            lower[n] = best
        return lower, which

    return least


_least: Any = _make(_DIGEST)


def least_distances(
    shapes: Sequence[Shape],
    moving: Array,
    fixed: Array,
    pairs: np.ndarray,
    enough_m: Array,
    too_close_m: float,
    tolerance_m: float = 1e-5,
) -> Least:
    """Bound the least distance of each configuration from below.

    Args:
        shapes: M shapes that move, then F that do not.
        moving: (N, M, 4, 4) their poses, one configuration a row.
        fixed: (F, 4, 4).
        pairs: (P, 2) rows into shapes; put the pairs most likely to be close first.
        enough_m: (N,) distances beyond this do not matter.
        too_close_m: below this a configuration is given up.
        tolerance_m: how exact a bound must be, besides being a bound.
    """
    solids = pack(shapes)
    count = moving.shape[1]
    enough = np.ascontiguousarray(np.broadcast_to(np.asarray(enough_m, dtype=float), moving.shape[:1]))
    lower, pair = _least(
        solids.form, solids.size, solids.verts,
        np.ascontiguousarray(pose_rows(moving, solids.centre[:count])),
        np.ascontiguousarray(pose_rows(fixed, solids.centre[count:])),
        np.ascontiguousarray(pairs, dtype=np.int64).reshape(-1, 2), enough + PAD_M, too_close_m + PAD_M, tolerance_m,
        PAD_M,
    )
    bound = np.where(np.isinf(lower), lower, np.maximum(lower - PAD_M, 0.0))
    return Least(np.where(pair >= 0, bound, enough), pair)
