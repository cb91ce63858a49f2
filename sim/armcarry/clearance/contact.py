"""The first interval of contact of one pair, found in the order of time."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.book import (
    ANSWER,
    CONTACT,
    ENDS,
    FULL,
    NODE_T,
    PLANE,
    SERIAL,
    STACK,
    TALLY,
    call_real,
    real1,
    real2,
    whole1,
    whole2,
)
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import by_address, inlined, kernel, source_digest
from armcarry.clearance.planes import guess_plane, known, measured
from armcarry.clearance.search import cell_bound, measure_node
from armcarry.clearance.timetree import split


@kernel
def _apart(book, ma, mb, n, x, y, z):
    """Tell whether a plane parts the movers at node n by more than contact; measure it on first use."""
    plane = real2(book, PLANE)
    if not known(book, n):
        guess_plane(book, ma, mb, n, x, y, z)
    if plane[n, 0] <= CONTACT_M and not measured(book, n):
        measure_node(book, ma, mb, n, 0.1 * CONTACT_M, math.inf)
    return plane[n, 0] > CONTACT_M


@kernel
def _first_contact(book, ma, mb, roots, resolution):
    """Stand behind first_contact."""
    stack, ends, plane, node_t = whole1(book, STACK), whole2(book, ENDS), real2(book, PLANE), real1(book, NODE_T)
    whole1(book, TALLY)[SERIAL] += 1
    start = math.nan
    for root in range(roots):
        stack[0], top = root, 1
        while top > 0:
            top -= 1
            c = stack[top]
            a, b = ends[c, 0], ends[c, 1]
            short = node_t[b] - node_t[a] <= resolution
            free_a = _apart(book, ma, mb, a, 0.0, 0.0, 0.0)
            free_b = _apart(book, ma, mb, b, plane[a, 1], plane[a, 2], plane[a, 3])
            if math.isnan(start):
                if not free_a:
                    start = node_t[a]
                elif free_b and cell_bound(book, ma, mb, c, CONTACT_M) > CONTACT_M:
                    continue
                elif short:
                    start = node_t[a]
            if not math.isnan(start):
                if not free_b:
                    continue
                if short:
                    return start, node_t[b]
            child = split(book, c)
            if whole1(book, TALLY)[FULL]:
                return start, math.nan
            if child < 0 or top + 2 > stack.shape[0]:  # time cannot be cut finer: as if it were short
                start = node_t[a] if math.isnan(start) else start
                if free_b:
                    return start, node_t[b]
                continue
            stack[top], stack[top + 1] = child + 1, child
            top += 2
    return start, node_t[roots] if not math.isnan(start) else math.nan


def _make(digest):
    @by_address("float64", 3, 1)
    def contact_by_address(book, ma, mb, roots, resolution):
        """Stand behind first_contact."""
        start, end = _first_contact(book, ma, mb, roots, resolution)
        real1(book, ANSWER)[0] = end
        return start if digest else math.nan

    return contact_by_address


contact_by_address = _make(source_digest())


@inlined
def first_contact(book, ma, mb, roots, resolution):
    """Return the start and end of the first contact, s; nan, nan for none.

    Before the start no contact is possible (proven; a cell shorter than ``resolution`` that cannot be proven
    free counts as contact). The end is the first instant seen parted after it, to the same resolution.
    """
    start = call_real(book, CONTACT, (ma, mb, roots), (resolution,))
    return start, real1(book, ANSWER)[0]
