"""Branch and bound over time for one pair of movers.

Each instant carries a *plane*: a unit direction n from a to b and the slab width it proves there. Over a
cell with planes n_a, n_b at its ends take m(l) = (1-l) n_a + l n_b, |m| <= 1. For material points x of a and
y of b that keep within A of their chords, m . (y - x) is at least the quadratic in l with Bernstein
coefficients

    slab(n_a, a),  (slab(n_a, b) + slab(n_b, a)) / 2,  slab(n_b, b)

less A, whatever the points: its least value is a lower bound of the distance over the whole cell. No
distance query is needed for it, only four support values; n from a neighbour will do for an instant that
no one has measured.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.bend import bend_of, row_of
from armcarry.clearance.book import (
    ANSWER,
    APART,
    BALL,
    BODY,
    CENTRE,
    CORE,
    ENDS,
    GJKS,
    OUT,
    PLANE,
    POSE,
    ROOT_BEND,
    SEARCH,
    SIZE,
    SLOT,
    STACK,
    TALLY,
    call_whole,
    real1,
    real2,
    real3,
    whole1,
    whole2,
)
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import by_address, inlined, kernel, source_digest
from armcarry.clearance.measure import measure_rows
from armcarry.clearance.planes import gap_at, guess_plane, known, measured, set_plane
from armcarry.clearance.timetree import split

#: GJK is never stopped earlier than this, whatever the wanted gap, metres
COARSEST_M = 1e-3


@kernel
def measure_node(book, ma, mb, n, tolerance, cap):
    """Run GJK at node n from its guessed plane; return the upper bound, points left in OUT.

    Very near bodies are measured to a fiftieth of their distance, however loose the tolerance.
    """
    plane, out, bodies = real2(book, PLANE), real1(book, OUT), whole1(book, BODY)
    a, b, ra, rb = bodies[ma], bodies[mb], row_of(book, ma, n), row_of(book, mb, n)
    exact = np.int64(1)
    tolerance = min(tolerance, COARSEST_M)
    for _ in range(3):
        whole1(book, TALLY)[GJKS] += 1
        low, high = measure_rows(
            book, a, b, ra, rb, plane[n, 1], plane[n, 2], plane[n, 3], tolerance, cap
        )
        if low == -math.inf:
            set_plane(book, n, low, plane[n, 1], plane[n, 2], plane[n, 3], exact)
            break
        set_plane(book, n, low, out[0], out[1], out[2], exact)
        if high <= CONTACT_M or tolerance <= 0.05 * high:
            break
        tolerance = 0.02 * high
    return high


@inlined
def _least_of_quadratic(c0, c1, c2):
    """Return the least value on [0, 1] of the quadratic with Bernstein coefficients c0, c1, c2."""
    d0, d2 = c0 - c1, c2 - c1
    if d0 > 0.0 and d2 > 0.0:  # differences first: the textbook form loses all digits where they are small
        return c1 + d0 * d2 / (d0 + d2)
    return min(c0, c2)


@kernel
def cell_bound(book, ma, mb, c, goal):
    """Bound the distance over cell c from the planes at its ends; -inf once goal is out of reach."""
    ends, plane = whole2(book, ENDS), real2(book, PLANE)
    a, b = ends[c, 0], ends[c, 1]
    ga, gb = plane[a, 0], plane[b, 0]
    bend = bend_of(book, ma, c) + bend_of(book, mb, c)
    if bend == 0.0:  # at rest: what holds at one end holds throughout
        return max(ga, gb)
    if min(ga, gb) - bend < goal:  # no slab at the ends reaches that far
        return -math.inf
    ab = gap_at(book, ma, mb, b, plane[a, 1], plane[a, 2], plane[a, 3])
    ba = gap_at(book, ma, mb, a, plane[b, 1], plane[b, 2], plane[b, 3])
    turned = _least_of_quadratic(ga, 0.5 * (ab + ba), gb)
    return max(turned, min(ga, ab), min(gb, ba)) - bend


@kernel
def gather_roots(book, roots):
    """Line up the centres and bends of all movers that move at the root cells, for ball_pass."""
    slot, pose, centre, bend = whole1(book, SLOT), real2(book, POSE), real3(book, CENTRE), real2(book, ROOT_BEND)
    for m in range(slot.shape[0]):
        s = slot[m]
        if s < 0:
            continue
        for n in range(roots + 1):
            row = row_of(book, m, n)
            centre[s, 0, n], centre[s, 1, n], centre[s, 2, n] = pose[row, 9], pose[row, 10], pose[row, 11]
            if n < roots:
                bend[s, n] = bend_of(book, m, n)


@kernel
def ball_pass(book, ma, mb, first, last):
    """Bound the distance over root cells [0, last) from bounding balls; return the least one's of [first, last).

    A ball's centre keeps within the mover's bend of its chord. Loops begin at a literal 0: only then are they
    turned into vector instructions.
    """
    slot, core, bodies, size = whole1(book, SLOT), real2(book, CORE), whole1(book, BODY), real2(book, SIZE)
    apart, ball, bend, centre = real2(book, APART), real1(book, BALL), real2(book, ROOT_BEND), real3(book, CENTRE)
    sa, sb = slot[ma], slot[mb]
    for i in range(3):
        for n in range(last + 1):
            apart[i, n] = centre[sb, i, n] if sb >= 0 else core[mb, 9 + i]
        for n in range(last + 1):
            apart[i, n] -= centre[sa, i, n] if sa >= 0 else core[ma, 9 + i]
    balls = size[bodies[ma], 4] + size[bodies[mb], 4]
    for c in range(last):
        x, y, z = apart[0, c], apart[1, c], apart[2, c]
        u, v, w = apart[0, c + 1] - x, apart[1, c + 1] - y, apart[2, c + 1] - z
        t = -(x * u + y * v + z * w) / max(u * u + v * v + w * w, 1e-300)
        t = min(1.0, max(0.0, t))
        x, y, z = x + t * u, y + t * v, z + t * w
        ball[c] = math.sqrt(x * x + y * y + z * z) - balls
    if sa >= 0:
        for c in range(last):
            ball[c] -= bend[sa, c]
    if sb >= 0:
        for c in range(last):
            ball[c] -= bend[sb, c]
    lead = first
    for c in range(first + 1, last):
        if ball[c] < ball[lead]:
            lead = c
    return lead


@inlined
def goal_of(best, tolerance, report):
    """Return what a cell must be proven to keep, given the least distance found so far."""
    return min(best - min(tolerance, 0.5 * best), report)


@kernel
def _search(book, ma, mb, first_root, last_root, best, tolerance, report):
    """Stand behind search."""
    stack, ball = whole1(book, STACK), real1(book, BALL)
    seat, lower = np.int64(-1), math.inf
    lead = ball_pass(book, ma, mb, first_root, last_root) if first_root == 0 else first_root
    for k in range(first_root - 1, last_root):  # the most promising root first
        root = lead if k < first_root else k
        if k == lead:
            continue
        if ball[root] >= goal_of(best, tolerance, report):
            lower = min(lower, ball[root])
            continue
        stack[0], top = root, 1
        while top > 0:
            top -= 1
            bound, best, seat = _prove_cell(book, ma, mb, stack[top], best, seat, tolerance, report)
            if best <= CONTACT_M:
                return -math.inf, best, seat
            if bound > -math.inf:
                lower = min(lower, bound)
                continue
            top = push_children(book, ma, mb, stack[top], top)
            if top < 0:  # the pool is full, or time cannot be cut finer: nothing is proven of the pair
                return -math.inf, best, seat
    return lower, best, seat


@kernel
def _prove_cell(book, ma, mb, c, best, seat, tolerance, report):
    """Try to prove cell c from planes, then by measuring its ends; return bound or -inf, best, seat."""
    ends, plane = whole2(book, ENDS), real2(book, PLANE)
    a, b = ends[c, 0], ends[c, 1]
    if not known(book, a):
        if known(book, b):
            guess_plane(book, ma, mb, a, plane[b, 1], plane[b, 2], plane[b, 3])
        else:
            guess_plane(book, ma, mb, a, 0.0, 0.0, 0.0)
    if not known(book, b):
        guess_plane(book, ma, mb, b, plane[a, 1], plane[a, 2], plane[a, 3])
    goal = goal_of(best, tolerance, report)
    for _ in range(3):
        bound = cell_bound(book, ma, mb, c, goal)
        if bound >= goal:
            return bound, best, seat
        if measured(book, a) and measured(book, b):
            break
        first = not measured(book, a) and (measured(book, b) or plane[a, 0] <= plane[b, 0])
        n = a if first else b
        high = measure_node(book, ma, mb, n, 0.02 * tolerance, best)
        if high < best:
            best, seat = high, n
            goal = goal_of(best, tolerance, report)
            if best <= CONTACT_M:
                return -math.inf, best, seat
    return -math.inf, best, seat


@kernel
def push_children(book, ma, mb, c, top):
    """Split cell c and stack its children, the one at the nearer end on top; -1 where it cannot be split."""
    stack, ends, plane = whole1(book, STACK), whole2(book, ENDS), real2(book, PLANE)
    child = split(book, c)
    if child < 0 or top + 2 > stack.shape[0]:
        return -1
    a, b, middle = ends[c, 0], ends[c, 1], ends[child, 1]
    if not known(book, middle):
        guess_plane(
            book, ma, mb, middle, plane[a, 1] + plane[b, 1], plane[a, 2] + plane[b, 2], plane[a, 3] + plane[b, 3]
        )
    left_last = plane[a, 0] <= plane[b, 0]
    stack[top] = child + 1 if left_last else child
    stack[top + 1] = child if left_last else child + 1
    return top + 2


def _make(digest):
    @by_address("int64", 4, 3)
    def search_by_address(book, ma, mb, first_root, last_root, best, tolerance, report):
        """Stand behind search."""
        answer = real1(book, ANSWER)
        lower, upper, seat = _search(book, ma, mb, first_root, last_root, best, tolerance, report)
        answer[0], answer[1] = lower, upper
        return seat if digest else -1

    return search_by_address


search_by_address = _make(source_digest())


@inlined
def search(book, ma, mb, first_root, last_root, best, tolerance, report):
    """Bound the least distance of two movers over root cells [first_root, last_root).

    Args:
        first_root, last_root: all root cells, or one alone (after a ball_pass of the pair).
        best: an upper bound known elsewhere (of a group this pair is part of), inf for none.
        tolerance: wanted gap, metres; at contact distances half the distance.
        report: no cell is refined beyond a proof of this distance.

    The caller numbers the pair in TALLY[SERIAL]; planes of the same pair are kept between calls.

    Returns:
        lower, upper, node of the upper bound (-1 where none beats ``best``); lower is -inf at contact, and where
        nothing is proven because time could not be cut finely enough.
    """
    seat = call_whole(book, SEARCH, (ma, mb, first_root, last_root), (best, tolerance, report))
    answer = real1(book, ANSWER)
    return answer[0], answer[1], seat
