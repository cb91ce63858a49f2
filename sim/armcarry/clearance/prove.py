"""Kernel entry: bounds of the least distance of every pair over one motion."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.contact import first_contact
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.pool import EPOCH, FULL, GJKS, LOOSE
from armcarry.clearance.search import CONTACT_M, guess_plane, measure_node, search
from armcarry.clearance.timetree import plant

#: metres of lever-weighted joint travel in one root cell
ROOT_TRAVEL_M = 4.0
#: contact times are told to this, s
CONTACT_RESOLUTION_S = 1e-3
#: metres; how sharply the distance at the least instant is measured at the end
SHARP_M = 1e-7


@kernel
def to_world(W, base, n, x, y, z, row, at):
    """Write a point seen from a base frame at node n to row[at:at + 3] in the world frame."""
    r = W.frame
    for i in range(3):
        if base < 0:
            row[at + i] = x if i == 0 else (y if i == 1 else z)
        else:
            row[at + i] = r[n, base, i] * x + r[n, base, 3 + i] * y + r[n, base, 6 + i] * z + r[n, base, 9 + i]


@kernel
def write_witness(S, V, W, ma, mb, n, row):
    """Measure node n sharply; write upper bound, time and nearest points in the world to row[1:9]."""
    guess_plane(S, V, W, ma, mb, n, W.plane[n, 1], W.plane[n, 2], W.plane[n, 3])
    high = measure_node(S, V, W, ma, mb, n, SHARP_M, math.inf)
    row[1], row[2] = high, W.node_t[n]
    o, base = W.out, V.base[ma]
    to_world(W, base, n, o[3], o[4], o[5], row, 3)
    to_world(W, base, n, o[6], o[7], o[8], row, 6)


def _make(digest):
    @entry
    def prove(S, F, V, M, W, pairs, start, end, tolerance, report, table):
        """Fill table (P, 11): lower, upper, time, point a, point b, contact start and end; 0 if W is full."""
        W.tally[EPOCH] += 1
        W.tally[GJKS] = W.tally[LOOSE] = 0
        roots = plant(F, M, W, start, end, ROOT_TRAVEL_M)
        if roots < 0 or digest == 0:
            return 0
        for i in range(pairs.shape[0]):
            ma, mb, row = pairs[i, 0], pairs[i, 1], table[i]
            row[:] = np.nan
            lower, upper, seat = search(S, F, V, M, W, ma, mb, 0, roots, math.inf, tolerance, report)
            row[0], row[1] = lower, upper
            if seat >= 0:
                write_witness(S, V, W, ma, mb, seat, row)
            if upper <= CONTACT_M:
                row[9], row[10] = first_contact(S, F, V, M, W, ma, mb, roots, CONTACT_RESOLUTION_S)
            if W.tally[FULL]:
                return 0
        return 1

    return prove


prove = _make(source_digest())
