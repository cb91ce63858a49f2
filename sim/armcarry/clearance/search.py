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

from armcarry.clearance.bend import bend_of, row_of
from armcarry.clearance.gjk import gjk
from armcarry.clearance.jit import inlined, kernel
from armcarry.clearance.pool import FULL, GJKS, LOOSE, SERIAL
from armcarry.clearance.support import plane_gap
from armcarry.clearance.timetree import split

#: bodies this close or closer are in contact: twice what rounding can hide, metres
CONTACT_M = 2e-6
#: cells shorter than this are not split again, s
SHORTEST_S = 1e-7


@inlined
def _set_plane(W, n, gap, x, y, z, exact):
    W.plane[n, 0], W.plane[n, 1], W.plane[n, 2], W.plane[n, 3] = gap, x, y, z
    W.plane_tag[n] = 2 * W.tally[SERIAL] + exact


@inlined
def _known(W, n):
    return W.plane_tag[n] >= 2 * W.tally[SERIAL]


@inlined
def _measured(W, n):
    return W.plane_tag[n] == 2 * W.tally[SERIAL] + 1


@kernel
def guess_plane(S, V, W, ma, mb, n, x, y, z):
    """Give node n the slab across direction (x, y, z), normalised here; across the centres if that is 0."""
    ra, rb = row_of(V, W, ma, n), row_of(V, W, mb, n)
    length = math.sqrt(x * x + y * y + z * z)
    if length == 0.0:
        x, y, z = W.pose[rb, 9] - W.pose[ra, 9], W.pose[rb, 10] - W.pose[ra, 10], W.pose[rb, 11] - W.pose[ra, 11]
        length = math.sqrt(x * x + y * y + z * z)
        if length == 0.0:
            x, length = 1.0, 1.0
    x, y, z = x / length, y / length, z / length
    gap = plane_gap(S.form, S.size, S.verts, V.body[ma], V.body[mb], W.pose, ra, rb, x, y, z)
    _set_plane(W, n, gap, x, y, z, 0)


@kernel
def measure_node(S, V, W, ma, mb, n, tolerance, cap):
    """Run GJK at node n from its guessed plane; return the upper bound, points left in W.out."""
    ra, rb = row_of(V, W, ma, n), row_of(V, W, mb, n)
    W.tally[GJKS] += 1
    low, high = gjk(
        S.form, S.size, S.verts, V.body[ma], V.body[mb], W.pose, ra, rb,
        W.plane[n, 1], W.plane[n, 2], W.plane[n, 3], tolerance, cap, W.work, W.out,
    )  # fmt: skip
    if low > -math.inf:
        _set_plane(W, n, low, W.out[0], W.out[1], W.out[2], 1)
    else:
        _set_plane(W, n, low, W.plane[n, 1], W.plane[n, 2], W.plane[n, 3], 1)
    return high


@kernel
def ball_bound(S, F, V, W, ma, mb, c):
    """Bound the distance over cell c from the bounding balls, whose centres keep near their chords."""
    a, b = W.nodes[c, 0], W.nodes[c, 1]
    p, q = row_of(V, W, ma, a), row_of(V, W, mb, a)
    x, y, z = W.pose[q, 9] - W.pose[p, 9], W.pose[q, 10] - W.pose[p, 10], W.pose[q, 11] - W.pose[p, 11]
    p, q = row_of(V, W, ma, b), row_of(V, W, mb, b)
    u = W.pose[q, 9] - W.pose[p, 9] - x
    v = W.pose[q, 10] - W.pose[p, 10] - y
    w = W.pose[q, 11] - W.pose[p, 11] - z
    length2 = u * u + v * v + w * w
    if length2 > 0.0:
        t = min(1.0, max(0.0, -(x * u + y * v + z * w) / length2))
        x, y, z = x + t * u, y + t * v, z + t * w
    balls = S.size[V.body[ma], 4] + S.size[V.body[mb], 4]
    return math.sqrt(x * x + y * y + z * z) - balls - bend_of(S, F, V, W, ma, c) - bend_of(S, F, V, W, mb, c)


@inlined
def _least_of_quadratic(c0, c1, c2):
    """Return the least value on [0, 1] of the quadratic with Bernstein coefficients c0, c1, c2."""
    curve = c0 - 2.0 * c1 + c2
    if curve > 0.0 and c1 < c0 and c1 < c2:
        return (c0 * c2 - c1 * c1) / curve
    return min(c0, c2)


@kernel
def cell_bound(S, F, V, W, ma, mb, c, goal):
    """Bound the distance over cell c from the planes at its ends; -inf once goal is out of reach."""
    a, b = W.nodes[c, 0], W.nodes[c, 1]
    ga, gb = W.plane[a, 0], W.plane[b, 0]
    bend = bend_of(S, F, V, W, ma, c) + bend_of(S, F, V, W, mb, c)
    if bend == 0.0:  # at rest: what holds at one end holds throughout
        return max(ga, gb)
    if min(ga, gb) - bend < goal:  # no slab at the ends reaches that far
        return -math.inf
    body_a, body_b = V.body[ma], V.body[mb]
    ab = plane_gap(
        S.form, S.size, S.verts, body_a, body_b, W.pose, row_of(V, W, ma, b), row_of(V, W, mb, b),
        W.plane[a, 1], W.plane[a, 2], W.plane[a, 3],
    )  # fmt: skip
    ba = plane_gap(
        S.form, S.size, S.verts, body_a, body_b, W.pose, row_of(V, W, ma, a), row_of(V, W, mb, a),
        W.plane[b, 1], W.plane[b, 2], W.plane[b, 3],
    )  # fmt: skip
    turned = _least_of_quadratic(ga, 0.5 * (ab + ba), gb)
    return max(turned, min(ga, ab), min(gb, ba)) - bend


@inlined
def goal_of(best, tolerance, report):
    """Return what a cell must be proven to keep, given the least distance found so far."""
    return min(best - min(tolerance, 0.5 * best), report)


@kernel
def search(S, F, V, M, W, ma, mb, first_root, last_root, best, tolerance, report):
    """Bound the least distance of two movers over root cells [first_root, last_root).

    Args:
        best: an upper bound known elsewhere (of a group this pair is part of), inf for none.
        tolerance: wanted gap, metres; at contact distances half the distance.
        report: no cell is refined beyond a proof of this distance.

    Returns:
        lower, upper, node of the upper bound (-1 where none beats ``best``); lower is -inf at contact.
    """
    W.tally[SERIAL] += 1
    seat, lower = -1, math.inf
    nearest, lead = math.inf, first_root
    for c in range(first_root, last_root):
        W.ball[c] = ball_bound(S, F, V, W, ma, mb, c)
        if W.ball[c] < nearest:
            nearest, lead = W.ball[c], c
    for k in range(first_root - 1, last_root):  # the most promising root first
        root = lead if k < first_root else k
        goal = goal_of(best, tolerance, report)
        if k == lead or W.ball[root] >= goal:
            lower = min(lower, W.ball[root]) if k != lead else lower
            continue
        W.stack[0], top = root, 1
        while top > 0:
            top -= 1
            c = W.stack[top]
            bound, best, seat = _prove_cell(S, F, V, W, ma, mb, c, best, seat, tolerance, report)
            if best <= CONTACT_M:
                return -math.inf, best, seat
            if bound > -math.inf:
                lower = min(lower, bound)
                continue
            top = _push_children(S, F, V, M, W, ma, mb, c, top)
            if top < 0:
                return -math.inf, best, seat
    return lower, best, seat


@kernel
def _prove_cell(S, F, V, W, ma, mb, c, best, seat, tolerance, report):
    """Try to prove cell c from planes, then by measuring its ends; return bound or -inf, best, seat."""
    a, b = W.nodes[c, 0], W.nodes[c, 1]
    if not _known(W, a):
        if _known(W, b):
            guess_plane(S, V, W, ma, mb, a, W.plane[b, 1], W.plane[b, 2], W.plane[b, 3])
        else:
            guess_plane(S, V, W, ma, mb, a, 0.0, 0.0, 0.0)
    if not _known(W, b):
        guess_plane(S, V, W, ma, mb, b, W.plane[a, 1], W.plane[a, 2], W.plane[a, 3])
    goal = goal_of(best, tolerance, report)
    for _ in range(3):
        bound = cell_bound(S, F, V, W, ma, mb, c, goal)
        if bound >= goal:
            return bound, best, seat
        if _measured(W, a) and _measured(W, b):
            break
        first = not _measured(W, a) and (_measured(W, b) or W.plane[a, 0] <= W.plane[b, 0])
        n = a if first else b
        high = measure_node(S, V, W, ma, mb, n, 0.02 * tolerance, best)
        if high < best:
            best, seat = high, n
            goal = goal_of(best, tolerance, report)
            if best <= CONTACT_M:
                break
    if W.node_t[b] - W.node_t[a] < SHORTEST_S:
        W.tally[LOOSE] += 1
        return max(cell_bound(S, F, V, W, ma, mb, c, -math.inf), -1e300), best, seat
    return -math.inf, best, seat


@kernel
def _push_children(S, F, V, M, W, ma, mb, c, top):
    """Split cell c and stack its children, the one at the nearer end on top; -1 where the pool is full."""
    child = split(F, M, W, c)
    if child < 0 or top + 2 > W.stack.shape[0]:
        W.tally[FULL] = 1
        return -1
    a, b, middle = W.nodes[c, 0], W.nodes[c, 1], W.nodes[child, 1]
    if not _known(W, middle):
        guess_plane(
            S, V, W, ma, mb, middle, W.plane[a, 1] + W.plane[b, 1], W.plane[a, 2] + W.plane[b, 2],
            W.plane[a, 3] + W.plane[b, 3],
        )  # fmt: skip
    left_last = W.plane[a, 0] <= W.plane[b, 0]
    W.stack[top] = child + 1 if left_last else child
    W.stack[top + 1] = child if left_last else child + 1
    return top + 2
