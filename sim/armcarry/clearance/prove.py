"""Kernel entry: bounds of the least distance of every pair over one motion."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.book import (
    BASE,
    EPOCH,
    FRAME,
    FULL,
    GJKS,
    LOOSE,
    NODE_T,
    OUT,
    PLANE,
    SERIAL,
    TALLY,
    real1,
    real2,
    real3,
    whole1,
)
from armcarry.clearance.contact import first_contact
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.planes import guess_plane
from armcarry.clearance.search import gather_roots, measure_node, search
from armcarry.clearance.timetree import plant

#: metres of lever-weighted joint travel in one root cell
ROOT_TRAVEL_M = 4.0
#: contact times are told to this, s
CONTACT_RESOLUTION_S = 1e-3
#: metres; how sharply the distance at the least instant is measured at the end
SHARP_M = 1e-7


@kernel
def _to_world(book, base, n, x, y, z, row, at):
    """Write a point seen from a base frame at node n to row[at:at + 3] in the world frame."""
    if base < 0:
        row[at], row[at + 1], row[at + 2] = x, y, z
        return
    r = real3(book, FRAME)
    for i in range(3):
        row[at + i] = r[n, base, i] * x + r[n, base, 3 + i] * y + r[n, base, 6 + i] * z + r[n, base, 9 + i]


@kernel
def write_witness(book, ma, mb, n, row):
    """Measure node n sharply; write upper bound, time and nearest points in the world to row[1:9]."""
    plane, out, base = real2(book, PLANE), real1(book, OUT), whole1(book, BASE)[ma]
    guess_plane(book, ma, mb, n, plane[n, 1], plane[n, 2], plane[n, 3])
    row[1] = measure_node(book, ma, mb, n, SHARP_M, math.inf)
    row[2] = real1(book, NODE_T)[n]
    _to_world(book, base, n, out[3], out[4], out[5], row, np.int64(3))
    _to_world(book, base, n, out[6], out[7], out[8], row, np.int64(6))


def _make(digest):
    @entry
    def prove(book, pairs, start, end, tolerance, report, table):
        """Fill table (P, 11): lower, upper, time, point a, point b, contact start, end; 0 if the pool is full."""
        tally = whole1(book, TALLY)
        tally[EPOCH] += 1
        tally[GJKS] = tally[LOOSE] = 0
        roots = plant(book, start, end, ROOT_TRAVEL_M)
        if roots < 0 or digest == 0:
            return 0
        gather_roots(book, roots)
        for i in range(pairs.shape[0]):
            ma, mb, row = pairs[i, 0], pairs[i, 1], table[i]
            for c in range(11):
                row[c] = math.nan
            tally[SERIAL] += 1
            lower, upper, seat = search(book, ma, mb, 0, roots, math.inf, tolerance, report[i])
            row[0], row[1] = lower, upper
            if seat >= 0:
                write_witness(book, ma, mb, seat, row)
            if upper <= CONTACT_M:
                row[9], row[10] = first_contact(book, ma, mb, roots, CONTACT_RESOLUTION_S)
            if tally[FULL]:
                return 0
        return 1

    return prove


prove = _make(source_digest())
