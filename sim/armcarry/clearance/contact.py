"""The first interval of contact of one pair, found in the order of time."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.jit import kernel
from armcarry.clearance.pool import FULL, SERIAL
from armcarry.clearance.search import CONTACT_M, _known, _measured, cell_bound, guess_plane, measure_node
from armcarry.clearance.timetree import split


@kernel
def _apart(S, V, W, ma, mb, n, x, y, z):
    """Tell whether a plane parts the movers at node n by more than contact; measure it on first use."""
    if not _known(W, n):
        guess_plane(S, V, W, ma, mb, n, x, y, z)
    if W.plane[n, 0] <= CONTACT_M and not _measured(W, n):
        measure_node(S, V, W, ma, mb, n, 0.1 * CONTACT_M, math.inf)
    return W.plane[n, 0] > CONTACT_M


@kernel
def first_contact(S, F, V, M, W, ma, mb, roots, resolution):
    """Return the start and end of the first contact, s; nan, nan for none.

    Before the start no contact is possible (proven; a cell shorter than ``resolution`` that cannot be proven
    free counts as contact). The end is the first instant seen parted after it, to the same resolution.
    """
    W.tally[SERIAL] += 1
    start = math.nan
    for root in range(roots):
        W.stack[0], top = root, 1
        while top > 0:
            top -= 1
            c = W.stack[top]
            a, b = W.nodes[c, 0], W.nodes[c, 1]
            short = W.node_t[b] - W.node_t[a] <= resolution
            free_a = _apart(S, V, W, ma, mb, a, 0.0, 0.0, 0.0)
            free_b = _apart(S, V, W, ma, mb, b, W.plane[a, 1], W.plane[a, 2], W.plane[a, 3])
            if math.isnan(start):
                if not free_a:
                    start = W.node_t[a]
                elif free_b and cell_bound(S, F, V, W, ma, mb, c, CONTACT_M) > CONTACT_M:
                    continue
                elif short:
                    start = W.node_t[a]
            if not math.isnan(start):
                if not free_b:
                    continue
                if short:
                    return start, W.node_t[b]
            child = split(F, M, W, c)
            if child < 0 or top + 2 > W.stack.shape[0]:
                W.tally[FULL] = 1
                return start, math.nan
            W.stack[top], W.stack[top + 1] = child + 1, child
            top += 2
    return start, W.node_t[roots] if not math.isnan(start) else math.nan
