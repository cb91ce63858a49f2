"""Kernel entry: the least distance of groups of pairs over one motion."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.book import EPOCH, FULL, GJKS, NODE_T, SERIAL, TALLY, real1, whole1
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import entry, source_digest
from armcarry.clearance.search import gather_roots, search
from armcarry.clearance.timetree import plant

#: metres of lever-weighted joint travel in one root cell
ROOT_TRAVEL_M = 4.0


def _make(digest):
    @entry
    def grouped(book, pairs, groups, start, end, tolerance, report, table):
        """Fill table (G, 4): lower, upper, time, row of the pair; 0 if the pool is full."""
        tally, node_t = whole1(book, TALLY), real1(book, NODE_T)
        tally[EPOCH] += 1
        tally[GJKS] = 0
        roots = plant(book, start, end, ROOT_TRAVEL_M)
        if roots < 0 or digest == 0:
            return 0
        gather_roots(book, roots)
        for g in range(table.shape[0]):
            table[g, 0], table[g, 1], table[g, 2], table[g, 3] = math.inf, math.inf, math.nan, -1.0
        for i in range(pairs.shape[0]):
            row = table[groups[i]]
            if row[1] <= CONTACT_M:
                continue
            tally[SERIAL] += 1
            ma, mb = pairs[i, 0], pairs[i, 1]
            low, high, seat = search(book, ma, mb, np.int64(0), roots, row[1], tolerance, report)
            if tally[FULL]:
                return 0
            row[0] = min(row[0], low)
            if seat >= 0 and high < row[1]:
                row[1], row[2], row[3] = high, node_t[seat], i
        return 1

    return grouped


grouped = _make(source_digest())
