"""Kernel entry: a field of distance from all that moving bodies sweep, on a regular grid."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.bend import bend_of, row_of
from armcarry.clearance.book import BODY, ENDS, EPOCH, FORM, POSE, SIZE, SLOT, TALLY, real2, whole1, whole2
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.measure import measure_rows
from armcarry.clearance.timetree import plant_at

#: cells of time handled at a time
CHUNK = 256


@kernel
def _slack(book, m, c):
    """Return how far any point of mover m gets from the nearer of its two end positions over cell c, metres."""
    ends, pose, size, b = whole2(book, ENDS), real2(book, POSE), real2(book, SIZE), whole1(book, BODY)[m]
    p, q = row_of(book, m, ends[c, 0]), row_of(book, m, ends[c, 1])
    worst = 0.0
    for corner in range(8):
        x = size[b, 0] if corner & 1 else -size[b, 0]
        y = size[b, 1] if corner & 2 else -size[b, 1]
        z = size[b, 2] if corner & 4 else -size[b, 2]
        far = 0.0
        for i in range(3):
            u = (pose[q, i] - pose[p, i]) * x + (pose[q, 3 + i] - pose[p, 3 + i]) * y
            u += (pose[q, 6 + i] - pose[p, 6 + i]) * z + pose[q, 9 + i] - pose[p, 9 + i]
            far += u * u
        worst = max(worst, far)
    return 0.5 * math.sqrt(worst) + bend_of(book, m, c)


@kernel
def _outside(kind, size, b, x, y, z):
    """Return the distance of a point in the body's frame from the body, 0 inside; not for clouds."""
    if kind == 0:
        return max(math.sqrt(x * x + y * y + z * z) - size[b, 3], 0.0)
    w = max(abs(z) - size[b, 2], 0.0)
    if kind == 1:
        return max(math.sqrt(x * x + y * y + w * w) - size[b, 3], 0.0)
    if kind == 3:
        u = max(math.sqrt(x * x + y * y) - size[b, 0], 0.0)
        return math.sqrt(u * u + w * w)
    u, v = max(abs(x) - size[b, 0], 0.0), max(abs(y) - size[b, 1], 0.0)
    return math.sqrt(u * u + v * v + w * w)


@kernel
def _span(pose, row, size, b, i, origin, h, count, half):
    """Return first and last + 1 of the grid planes across axis i within half of the body's box."""
    reach = abs(pose[row, i]) * size[b, 0] + abs(pose[row, 3 + i]) * size[b, 1] + abs(pose[row, 6 + i]) * size[b, 2]
    low = (pose[row, 9 + i] - reach - half - origin[i]) / h
    high = (pose[row, 9 + i] + reach + half - origin[i]) / h
    return max(np.int64(math.floor(low)), 0), min(np.int64(math.ceil(high)) + 1, count)


@kernel
def _paint_body(book, b, row, point, probe, origin, h, level, slack, field):
    """Lower the field to distance less slack near the body; ``point`` is a point body and ``probe`` its row."""
    pose, size, kind = real2(book, POSE), real2(book, SIZE), whole2(book, FORM)[b, 0]
    half = level + slack + size[b, 3]
    i0, i1 = _span(pose, row, size, b, 0, origin, h, field.shape[0], half)
    j0, j1 = _span(pose, row, size, b, 1, origin, h, field.shape[1], half)
    k0, k1 = _span(pose, row, size, b, 2, origin, h, field.shape[2], half)
    for i in range(i0, i1):
        x = origin[0] + i * h - pose[row, 9]
        for j in range(j0, j1):
            y = origin[1] + j * h - pose[row, 10]
            for k in range(k0, k1):
                if field[i, j, k] <= 0.0:
                    continue
                z = origin[2] + k * h - pose[row, 11]
                if kind == 4:
                    pose[probe, 9], pose[probe, 10], pose[probe, 11] = (
                        x + pose[row, 9], y + pose[row, 10], z + pose[row, 11],
                    )  # fmt: skip
                    far, _ = measure_rows(book, b, point, row, probe, x, y, z + 1e-9, 1e-3, math.inf)
                    far = max(far, 0.0)
                else:
                    far = _outside(
                        kind, size, b,
                        x * pose[row, 0] + y * pose[row, 1] + z * pose[row, 2],
                        x * pose[row, 3] + y * pose[row, 4] + z * pose[row, 5],
                        x * pose[row, 6] + y * pose[row, 7] + z * pose[row, 8],
                    )  # fmt: skip
                if far - slack < field[i, j, k]:
                    field[i, j, k] = far - slack


def _make(digest):
    @entry
    def paint(book, probe, times, origin, h, level, field):
        """Paint all movers at times (N,) into field; return the largest slack, or -1 if the pool is full.

        ``probe`` is the mover of a point body fixed to the world.
        """
        tally, slot, bodies = whole1(book, TALLY), whole1(book, SLOT), whole1(book, BODY)
        worst = 0.0
        for shift in range(0, times.shape[0] - 1 if digest else 0, CHUNK):
            tally[EPOCH] += 1
            cells = plant_at(book, times, shift, min(shift + CHUNK, times.shape[0] - 1))
            if cells < 0:
                return -1.0
            for m in range(slot.shape[0]):
                if m == probe:
                    continue
                before = 0.0
                for n in range(cells + 1 if slot[m] >= 0 else 1):
                    after = _slack(book, m, n) if n < cells and slot[m] >= 0 else 0.0
                    slack = max(before, after)
                    before, worst = after, max(worst, slack)
                    row = row_of(book, m, n)
                    _paint_body(book, bodies[m], row, bodies[probe], probe, origin, h, level, slack, field)
        return worst

    return paint


paint = _make(source_digest())
