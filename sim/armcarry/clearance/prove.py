"""Kernel entry: bounds of the least distance of every pair over one motion."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.book import EPOCH, FULL, GJKS, NODE_T, OUT, PLANE, SERIAL, TALLY, real1, real2, whole1
from armcarry.clearance.contact import first_contact
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.planes import guess_plane
from armcarry.clearance.search import gather_roots, measure_node, search
from armcarry.clearance.timetree import plant

#: metres of lever-weighted joint travel in one root cell
ROOT_TRAVEL_M = 4.0
#: contact times are told to this, s, and to a thousandth of a motion that takes less than a second
CONTACT_RESOLUTION_S = 1e-3
#: metres; how sharply the distance at the least instant is measured at the end
SHARP_M = 1e-7


@kernel
def write_witness(book, ma, mb, n, row):
    """Measure node n sharply; write upper bound, time and nearest points in the pair's base frame to row[1:9]."""
    plane, out = real2(book, PLANE), real1(book, OUT)
    guess_plane(book, ma, mb, n, plane[n, 1], plane[n, 2], plane[n, 3])
    row[1] = measure_node(book, ma, mb, n, SHARP_M, math.inf)
    row[2] = real1(book, NODE_T)[n]
    for i in range(6):
        row[3 + i] = out[3 + i]


def _make(digest):
    @entry
    def prove(book, pairs, start, end, tolerance, report, table):
        """Fill table (P, 11): lower, upper, time, point a, point b, contact start, end; 0 if the pool is full."""
        tally = whole1(book, TALLY)
        tally[EPOCH] += 1
        tally[GJKS] = 0
        roots = plant(book, start, end, ROOT_TRAVEL_M)
        if roots < 0 or digest == 0:
            return 0
        gather_roots(book, roots)
        resolution = CONTACT_RESOLUTION_S * min(1.0, end - start)
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
                row[9], row[10] = first_contact(book, ma, mb, roots, resolution)
            if tally[FULL]:
                return 0
        return 1

    return prove


prove = _make(source_digest())
