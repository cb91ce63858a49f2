"""Kernel entry: the least distance of groups of pairs against time."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.book import (
    BALL,
    ENDS,
    EPOCH,
    FULL,
    GJKS,
    PLANE,
    SERIAL,
    TALLY,
    real1,
    real2,
    whole1,
    whole2,
)
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.planes import guess_plane
from armcarry.clearance.search import ball_pass, gather_roots, measure_node, search
from armcarry.clearance.timetree import plant_at

#: cells handled at a time
CHUNK = 256


@kernel
def _seed(book, pairs, groups, cells, shift, lower, upper, nearest):
    """Measure the pair whose balls come nearest in every cell and group, to start from a good upper bound."""
    ball, ends, plane = real1(book, BALL), whole2(book, ENDS), real2(book, PLANE)
    for i in range(pairs.shape[0]):
        ball_pass(book, pairs[i, 0], pairs[i, 1], np.int64(0), cells)
        for c in range(cells):
            if ball[c] < lower[groups[i], shift + c]:
                lower[groups[i], shift + c] = ball[c]
                nearest[groups[i], shift + c] = i
    for g in range(lower.shape[0]):
        for c in range(cells):
            i = nearest[g, shift + c]
            lower[g, shift + c] = math.inf
            if i >= 0:
                whole1(book, TALLY)[SERIAL] += 1
                n = ends[c, 0]
                guess_plane(book, pairs[i, 0], pairs[i, 1], n, 0.0, 0.0, 0.0)
                high = measure_node(book, pairs[i, 0], pairs[i, 1], n, 1e-4, math.inf)
                upper[g, shift + c] = max(high, 0.0) if plane[n, 0] > -math.inf else 0.0


def _make(digest):
    @entry
    def along(book, pairs, groups, times, band, report, lower, upper, nearest):
        """Fill lower, upper (G, C) and the row of the nearest pair (G, C), -1 for none; 0 if the pool is full."""
        tally, ball = whole1(book, TALLY), real1(book, BALL)
        tally[GJKS] = 0
        for g in range(lower.shape[0]):
            for c in range(lower.shape[1]):
                lower[g, c], upper[g, c], nearest[g, c] = math.inf, math.inf, -1
        for shift in range(0, times.shape[0] - 1, CHUNK):
            tally[EPOCH] += 1
            cells = plant_at(book, times, shift, min(shift + CHUNK, times.shape[0] - 1))
            if cells < 0 or digest == 0:
                return 0
            gather_roots(book, cells)
            _seed(book, pairs, groups, cells, shift, lower, upper, nearest)
            for i in range(pairs.shape[0]):
                ma, mb, g = pairs[i, 0], pairs[i, 1], groups[i]
                tally[SERIAL] += 1
                ball_pass(book, ma, mb, np.int64(0), cells)
                for c in range(cells):
                    best = upper[g, shift + c]
                    if best <= CONTACT_M or ball[c] >= min(best - band, report):
                        lower[g, shift + c] = min(lower[g, shift + c], max(ball[c], 0.0))
                        continue
                    low, high, seat = search(book, ma, mb, c, c + 1, best, band, report)
                    if tally[FULL]:
                        return 0
                    lower[g, shift + c] = min(lower[g, shift + c], low)
                    if seat >= 0 and high < best:
                        upper[g, shift + c], nearest[g, shift + c] = high, i
        return 1

    return along


along = _make(source_digest())
