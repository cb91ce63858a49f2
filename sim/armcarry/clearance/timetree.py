"""The tree of time cells: instants with all frames placed, intervals with bounds on how the joints move.

Over a cell the joints are compared with the straight joint line q_a + l (q_b - q_a), where l(t) in [0, 1]
is one common parameter, any function of time: here the lever-weighted projection of the motion on that
line. ``stray`` bounds |q - line| of each joint by the Bernstein hull of the difference; joints that move in
step do not stray at all, however uneven their timing.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.jit import inlined, kernel
from armcarry.clearance.pool import CELLS, FULL, MAX_ROOTS, NODES

#: rounding of a shifted polynomial, relative to the sum of the sizes of its terms
_ROUNDING = 1e-14


@inlined
def _value(poly, p, f, u):
    value = 0.0
    for k in range(poly.shape[2] - 1, -1, -1):
        value = value * u + poly[p, f, k]
    return value


@kernel
def add_node(F, M, W, t, p):
    """Place all frames at time t, piece p; return the node, or -1 where the pool is full."""
    n = W.tally[NODES]
    if n >= W.node_t.shape[0]:
        W.tally[FULL] = 1
        return -1
    W.tally[NODES] = n + 1
    W.node_t[n] = t
    u = t - M.breaks[p]
    for f in range(F.parent.shape[0]):
        q = _value(M.poly, p, f, u) if M.varies[p, f] else M.poly[p, f, 0]
        W.node_q[n, f] = q
        _place(F, W, n, f, q)
    return n


@inlined
def _place(F, W, n, f, q):
    """Set the world pose of frame f at node n: parent, hang, then the joint along or about z."""
    h, r = F.hang, W.frame
    up = F.parent[f]
    for i in range(3):
        if up < 0:
            x, y, z, s = h[f, i], h[f, 3 + i], h[f, 6 + i], h[f, 9 + i]
        else:
            a, b, c = r[n, up, i], r[n, up, 3 + i], r[n, up, 6 + i]
            x = a * h[f, 0] + b * h[f, 1] + c * h[f, 2]
            y = a * h[f, 3] + b * h[f, 4] + c * h[f, 5]
            z = a * h[f, 6] + b * h[f, 7] + c * h[f, 8]
            s = a * h[f, 9] + b * h[f, 10] + c * h[f, 11] + r[n, up, 9 + i]
        r[n, f, i], r[n, f, 3 + i], r[n, f, 6 + i], r[n, f, 9 + i] = x, y, z, s
    if F.slides[f]:
        for i in range(3):
            r[n, f, 9 + i] += q * r[n, f, 6 + i]
    else:
        cos, sin = math.cos(q), math.sin(q)
        for i in range(3):
            x, y = r[n, f, i], r[n, f, 3 + i]
            r[n, f, i], r[n, f, 3 + i] = cos * x + sin * y, cos * y - sin * x


@kernel
def _to_bernstein(M, W, p, f, low, high):
    """Write the Bernstein coefficients of joint f of piece p on local times [low, high] to W.bern[f]."""
    count = M.poly.shape[2]
    row, top = W.bern[f], W.bern[W.bern.shape[0] - 1]
    for k in range(count):
        top[k] = M.poly[p, f, k]
    for start in range(count - 1):  # Taylor shift
        for k in range(count - 2, start - 1, -1):
            top[k] += low * top[k + 1]
    scale = 1.0
    for k in range(count):
        top[k] *= scale
        scale *= high - low
    for i in range(count):
        total = 0.0
        for k in range(i + 1):
            total += M.bernstein[i, k] * top[k]
        row[i] = total


@kernel
def add_cell(F, M, W, a, b, pa, pb):
    """Bound the joints' motion between nodes a and b over pieces pa..pb; return the cell (children -1)."""
    c = W.tally[CELLS]
    W.tally[CELLS] = c + 1
    W.nodes[c, 0], W.nodes[c, 1] = a, b
    W.pieces[c, 0], W.pieces[c, 1] = pa, pb
    W.child[c] = -1
    frames = F.parent.shape[0]
    weight = 0.0
    for f in range(frames):
        d = W.node_q[b, f] - W.node_q[a, f]
        W.step[c, f], W.stray[c, f] = d, 0.0
        weight += (F.lever_m[f] * d) ** 2
    ta, tb = W.node_t[a], W.node_t[b]
    over = 0.0
    for p in range(pa, pb + 1):
        low = max(ta - M.breaks[p], 0.0)
        high = min(tb, M.breaks[p + 1]) - M.breaks[p]
        over = max(over, _stray_in_piece(F, M, W, c, p, low, high, weight))
    if over > 0.0:  # where the common parameter leaves [0, 1] it is held at the end
        for f in range(frames):
            W.stray[c, f] += over * abs(W.step[c, f])
    return c


@kernel
def _stray_in_piece(F, M, W, c, p, low, high, weight):
    """Widen W.stray[c] by piece p on local times [low, high]; return how far the parameter leaves [0, 1]."""
    count = M.poly.shape[2]
    frames = F.parent.shape[0]
    a, b = W.nodes[c, 0], W.nodes[c, 1]
    line = W.bern[frames]
    moves = False
    for f in range(frames):
        if M.varies[p, f]:
            _to_bernstein(M, W, p, f, low, high)
            moves = True
    span = W.node_t[b] - W.node_t[a]
    first = (M.breaks[p] + low - W.node_t[a]) / span
    last = (M.breaks[p] + high - W.node_t[a]) / span
    for i in range(count):
        line[i] = 0.0 if weight > 0.0 else first + (last - first) * i / max(count - 1, 1)
    if weight > 0.0:
        for f in range(frames):
            if W.step[c, f] != 0.0:
                w = F.lever_m[f] ** 2 * W.step[c, f] / weight
                for i in range(count):
                    value = W.bern[f, i] if M.varies[p, f] else M.poly[p, f, 0]
                    line[i] += w * (value - W.node_q[a, f])
    over = 0.0
    for i in range(count):
        over = max(over, -line[i], line[i] - 1.0)
    for f in range(frames):
        varies = M.varies[p, f]
        if not varies and W.step[c, f] == 0.0 and M.poly[p, f, 0] == W.node_q[a, f]:
            continue
        worst = 0.0
        for i in range(count):
            value = W.bern[f, i] if varies else M.poly[p, f, 0]
            worst = max(worst, abs(value - W.node_q[a, f] - line[i] * W.step[c, f]))
        W.stray[c, f] = max(W.stray[c, f], worst + _ROUNDING * (M.size[p, f] + abs(W.step[c, f])))
    return over if moves or over > 0.0 else 0.0


@kernel
def _travel(M, p, low, high):
    """Estimate the travel in piece p between absolute times low and high."""
    span = M.breaks[p + 1] - M.breaks[p]
    return M.travel[p] * (min(high, M.breaks[p + 1]) - max(low, M.breaks[p])) / span


@kernel
def split(F, M, W, c):
    """Give cell c two children; return the first, or -1 where the pool is full.

    A cell over several pieces is split at the break that best halves its travel, so that a hold becomes
    a child of its own and costs nothing more; a cell within one piece is split in the middle.
    """
    if W.child[c] >= 0:
        return W.child[c]
    a, b = W.nodes[c, 0], W.nodes[c, 1]
    pa, pb = W.pieces[c, 0], W.pieces[c, 1]
    ta, tb = W.node_t[a], W.node_t[b]
    t, left, right = 0.5 * (ta + tb), pa, pa
    if pb > pa:
        total = 0.0
        for p in range(pa, pb + 1):
            total += _travel(M, p, ta, tb)
        done, best = 0.0, math.inf
        for p in range(pa, pb):
            done += _travel(M, p, ta, tb)
            if abs(total - 2.0 * done) < best:
                best = abs(total - 2.0 * done)
                t, left, right = M.breaks[p + 1], p, p + 1
    n = add_node(F, M, W, t, right)
    if n < 0:
        return -1
    first = add_cell(F, M, W, a, n, pa, left)
    add_cell(F, M, W, n, b, right, pb)
    W.child[c] = first
    return first


@kernel
def piece_of(M, t):
    """Return the piece that holds time t, the later one at a break."""
    low, high = 0, M.breaks.shape[0] - 2
    while low < high:
        middle = (low + high + 1) // 2
        if M.breaks[middle] <= t:
            low = middle
        else:
            high = middle - 1
    return low


@kernel
def plant(F, M, W, start, end, root_travel):
    """Cut [start, end] into root cells of like travel; return their number, or -1 where the pool is full.

    Root r runs from node r to node r + 1.
    """
    W.tally[NODES] = W.tally[CELLS] = W.tally[FULL] = 0
    p0, p1 = piece_of(M, start), piece_of(M, end)
    if p1 > p0 and M.breaks[p1] >= end:
        p1 -= 1
    total = 0.0
    for p in range(p0, p1 + 1):
        total += _travel(M, p, start, end)
    size = total / min(max(math.ceil(total / root_travel), 1.0), MAX_ROOTS)
    add_node(F, M, W, start, p0)
    held, since = 0.0, p0
    for p in range(p0, p1 + 1):
        low, high = max(start, M.breaks[p]), min(end, M.breaks[p + 1])
        travel = _travel(M, p, start, end)
        if travel > size * 1.0000001:
            if held > 0.0:
                _root(F, M, W, low, p, since, p - 1)
                since = p
            parts = math.ceil(travel / size)
            for k in range(1, parts):
                _root(F, M, W, low + (high - low) * k / parts, p, since, p)
                since = p
            held = travel / parts
        else:
            held += travel
        if p == p1:
            _root(F, M, W, end, p, since, p)
        elif held >= size * 0.9999999:
            _root(F, M, W, high, p + 1, since, p)
            held, since = 0.0, p + 1
    return -1 if W.tally[FULL] else W.tally[CELLS]


@kernel
def _root(F, M, W, t, piece, first, last):
    n = add_node(F, M, W, t, piece)
    if n > 0:
        add_cell(F, M, W, n - 1, n, first, last)
