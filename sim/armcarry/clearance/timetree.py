"""The tree of time cells: instants with all frames placed, intervals with bounds on how the joints move.

Over a cell the joints are compared with the straight joint line q_a + l (q_b - q_a), where l(t) in [0, 1]
is one common parameter, any function of time: here the lever-weighted projection of the motion on that
line. ``stray`` bounds |q - line| of each joint by the Bernstein hull of the difference; joints that move in
step do not stray at all, however uneven their timing.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.book import (
    ADD_CELL,
    ADD_NODE,
    BALL,
    BERN,
    BERNSTEIN,
    BREAKS,
    CELLS,
    CHILD,
    ENDS,
    FRAME,
    FULL,
    HANG,
    LEVER,
    MAX_ROOTS,
    NODE_Q,
    NODE_T,
    NODES,
    PARENT,
    PIECES,
    PLANT,
    POLY,
    SCALE,
    SLIDES,
    STEP,
    STRAY,
    TALLY,
    TRAVEL,
    VARIES,
    call_whole,
    real1,
    real2,
    real3,
    whole1,
    whole2,
)
from armcarry.clearance.jit import by_address, inlined, kernel, source_digest

#: what split returns for a cell that no instant lies inside of
UNCUT = -2
#: rounding of a shifted polynomial, relative to the sum of the sizes of its terms
_ROUNDING = 1e-14


@inlined
def _value(poly, p, f, u):
    value = 0.0
    for k in range(poly.shape[2] - 1, -1, -1):
        value = value * u + poly[p, f, k]
    return value


@kernel
def _add_node(book, p, t):
    """Place all frames at time t, piece p; return the node, or -1 where the pool is full."""
    tally, node_t, node_q = whole1(book, TALLY), real1(book, NODE_T), real2(book, NODE_Q)
    poly, varies = real3(book, POLY), whole2(book, VARIES)
    n = tally[NODES]
    if n >= node_t.shape[0]:
        tally[FULL] = 1
        return -1
    tally[NODES] = n + 1
    node_t[n] = t
    u = t - real1(book, BREAKS)[p]
    for f in range(node_q.shape[1]):
        q = _value(poly, p, f, u) if varies[p, f] else poly[p, f, 0]
        node_q[n, f] = q
        _place(book, n, f, q)
    return n


@inlined
def _place(book, n, f, q):
    """Set the world pose of frame f at node n: parent, hang, then the joint along or about z."""
    h, r, up = real2(book, HANG), real3(book, FRAME), whole1(book, PARENT)[f]
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
    if whole1(book, SLIDES)[f]:
        for i in range(3):
            r[n, f, 9 + i] += q * r[n, f, 6 + i]
    else:
        cos, sin = math.cos(q), math.sin(q)
        for i in range(3):
            x, y = r[n, f, i], r[n, f, 3 + i]
            r[n, f, i], r[n, f, 3 + i] = cos * x + sin * y, cos * y - sin * x


@kernel
def _to_bernstein(book, p, f, low, high):
    """Write the Bernstein coefficients of joint f of piece p on local times [low, high] to row f of BERN."""
    poly, bern, matrix = real3(book, POLY), real2(book, BERN), real2(book, BERNSTEIN)
    count, top = poly.shape[2], bern.shape[0] - 1
    for k in range(count):
        bern[top, k] = poly[p, f, k]
    for start in range(count - 1):  # Taylor shift
        for k in range(count - 2, start - 1, -1):
            bern[top, k] += low * bern[top, k + 1]
    scale = 1.0
    for k in range(count):
        bern[top, k] *= scale
        scale *= high - low
    for i in range(count):
        total = 0.0
        for k in range(i + 1):
            total += matrix[i, k] * bern[top, k]
        bern[f, i] = total


@kernel
def _add_cell(book, a, b, pa, pb):
    """Bound the joints' motion between nodes a and b over pieces pa..pb; return the cell (children -1)."""
    tally, node_t, node_q = whole1(book, TALLY), real1(book, NODE_T), real2(book, NODE_Q)
    step, stray, lever, breaks = real2(book, STEP), real2(book, STRAY), real1(book, LEVER), real1(book, BREAKS)
    ends, pieces = whole2(book, ENDS), whole2(book, PIECES)
    c = tally[CELLS]
    tally[CELLS] = c + 1
    ends[c, 0], ends[c, 1] = a, b
    pieces[c, 0], pieces[c, 1] = pa, pb
    whole1(book, CHILD)[c] = -1
    frames = node_q.shape[1]
    weight = 0.0
    for f in range(frames):
        d = node_q[b, f] - node_q[a, f]
        step[c, f], stray[c, f] = d, 0.0
        weight += (lever[f] * d) ** 2
    over = 0.0
    for p in range(pa, pb + 1):
        low = max(node_t[a] - breaks[p], 0.0)
        high = min(node_t[b], breaks[p + 1]) - breaks[p]
        over = max(over, _stray_in_piece(book, c, p, low, high, weight))
    if over > 0.0:  # where the common parameter leaves [0, 1] it is held at the end
        for f in range(frames):
            stray[c, f] += over * abs(step[c, f])
    return c


@kernel
def _stray_in_piece(book, c, p, low, high, weight):
    """Widen STRAY of cell c by piece p on local times [low, high]; return how far l leaves [0, 1]."""
    poly, varies, scale, bern = real3(book, POLY), whole2(book, VARIES), real2(book, SCALE), real2(book, BERN)
    node_q, step, stray = real2(book, NODE_Q), real2(book, STEP), real2(book, STRAY)
    count, frames = poly.shape[2], node_q.shape[1]
    a = whole2(book, ENDS)[c, 0]
    for f in range(frames):
        if varies[p, f]:
            _to_bernstein(book, p, f, low, high)
    over = _parameter(book, c, p, low, high, weight)
    for f in range(frames):
        moves = varies[p, f] != 0
        if not moves and step[c, f] == 0.0 and poly[p, f, 0] == node_q[a, f]:
            continue
        worst = 0.0
        for i in range(count):
            value = bern[f, i] if moves else poly[p, f, 0]
            worst = max(worst, abs(value - node_q[a, f] - bern[frames, i] * step[c, f]))
        stray[c, f] = max(stray[c, f], worst + _ROUNDING * (scale[p, f] + abs(step[c, f])))
    return over


@kernel
def _parameter(book, c, p, low, high, weight):
    """Write the Bernstein coefficients of l on piece p to the last row of BERN; return how far it leaves [0, 1]."""
    poly, varies, bern, lever = real3(book, POLY), whole2(book, VARIES), real2(book, BERN), real1(book, LEVER)
    node_t, node_q, step = real1(book, NODE_T), real2(book, NODE_Q), real2(book, STEP)
    count, frames = poly.shape[2], node_q.shape[1]
    ends = whole2(book, ENDS)
    a, b = ends[c, 0], ends[c, 1]
    if weight > 1e-200:
        for i in range(count):
            bern[frames, i] = 0.0
        for f in range(frames):
            if step[c, f] != 0.0:
                w = lever[f] ** 2 * step[c, f] / weight
                for i in range(count):
                    value = bern[f, i] if varies[p, f] else poly[p, f, 0]
                    bern[frames, i] += w * (value - node_q[a, f])
    else:  # back where it began: plain time
        start = real1(book, BREAKS)[p] - node_t[a]
        for i in range(count):
            bern[frames, i] = (start + low + (high - low) * i / max(count - 1, 1)) / (node_t[b] - node_t[a])
    over = 0.0
    for i in range(count):
        over = max(over, -bern[frames, i], bern[frames, i] - 1.0)
    return over


def _make(digest):
    @by_address("int64", 1, 1)
    def add_node(book, p, t):
        """Stand for _add_node."""
        return _add_node(book, p, t) if digest else 0

    @by_address("int64", 4, 0)
    def add_cell(book, a, b, pa, pb):
        """Stand for _add_cell."""
        return _add_cell(book, a, b, pa, pb) if digest else 0

    return add_node, add_cell


add_node, add_cell = _make(source_digest())


@kernel
def _travel(book, p, low, high):
    """Estimate the travel in piece p between absolute times low and high."""
    breaks = real1(book, BREAKS)
    share = (min(high, breaks[p + 1]) - max(low, breaks[p])) / (breaks[p + 1] - breaks[p])
    return real1(book, TRAVEL)[p] * share


@kernel
def split(book, c):
    """Give cell c two children; return the first, -1 where the pool is full, UNCUT where no instant lies inside.

    A cell over several pieces is split at the break that best halves its travel, so that a hold becomes
    a child of its own and costs nothing more; a cell within one piece is split in the middle.
    """
    child, node_t, breaks = whole1(book, CHILD), real1(book, NODE_T), real1(book, BREAKS)
    if child[c] >= 0:
        return child[c]
    ends = whole2(book, ENDS)
    a, b = ends[c, 0], ends[c, 1]
    pieces = whole2(book, PIECES)
    pa, pb = pieces[c, 0], pieces[c, 1]
    ta, tb = node_t[a], node_t[b]
    t, left, right = 0.5 * (ta + tb), pa, pa
    if pb > pa:
        total = 0.0
        for p in range(pa, pb + 1):
            total += _travel(book, p, ta, tb)
        done, best = 0.0, math.inf
        for p in range(pa, pb):
            done += _travel(book, p, ta, tb)
            if abs(total - 2.0 * done) < best:
                best = abs(total - 2.0 * done)
                t, left, right = breaks[p + 1], p, p + 1
    if not ta < t < tb:
        return UNCUT
    n = call_whole(book, ADD_NODE, (right,), (t,))
    if n < 0:
        return -1
    first = call_whole(book, ADD_CELL, (a, n, pa, left), ())
    call_whole(book, ADD_CELL, (n, b, right, pb), ())
    child[c] = first
    return first


@kernel
def piece_of(breaks, t):
    """Return the piece that holds time t, the later one at a break."""
    low, high = 0, breaks.shape[0] - 2
    while low < high:
        middle = (low + high + 1) // 2
        if breaks[middle] <= t:
            low = middle
        else:
            high = middle - 1
    return low


@kernel
def _plant(book, start, end, root_travel):
    """Stand behind plant."""
    tally, breaks = whole1(book, TALLY), real1(book, BREAKS)
    tally[NODES] = tally[CELLS] = tally[FULL] = 0
    p0, p1 = piece_of(breaks, start), piece_of(breaks, end)
    if p1 > p0 and breaks[p1] >= end:
        p1 -= 1
    total = 0.0
    for p in range(p0, p1 + 1):
        total += _travel(book, p, start, end)
    size = total / min(max(math.ceil(total / root_travel), 1.0), MAX_ROOTS)
    call_whole(book, ADD_NODE, (p0,), (start,))
    held, since = 0.0, p0
    room = real1(book, BALL).shape[0] - 2  # never reached with sane travels, and never passed
    for p in range(p0, p1 + 1):
        low, high = max(start, breaks[p]), min(end, breaks[p + 1])
        travel = _travel(book, p, start, end)
        if travel > size * 1.0000001:
            if held > 0.0 and tally[CELLS] < room:
                _root(book, low, p, since, p - 1)
                since = p
            parts = max(min(math.ceil(travel / size), room - tally[CELLS]), 1)
            for k in range(1, parts):
                _root(book, low + (high - low) * k / parts, p, since, p)
                since = p
            held = travel / parts
        else:
            held += travel
        if p == p1:
            _root(book, end, p, since, p)
        elif held > 0.0 and held >= size * 0.9999999 and tally[CELLS] < room:
            _root(book, high, p + 1, since, p)
            held, since = 0.0, p + 1
    return -1 if tally[FULL] else tally[CELLS]


@kernel
def plant_at(book, times, first, last):
    """Make root cells between times[first:last + 1]; return their number, or -1 where the pool is full."""
    tally, breaks = whole1(book, TALLY), real1(book, BREAKS)
    tally[NODES] = tally[CELLS] = tally[FULL] = 0
    since = piece_of(breaks, times[first])
    call_whole(book, ADD_NODE, (since,), (times[first],))
    for k in range(first + 1, last + 1):
        after = piece_of(breaks, times[k])
        before = after - 1 if after > since and breaks[after] >= times[k] else after
        _root(book, times[k], after, since, before)
        since = after
    return -1 if tally[FULL] else tally[CELLS]


@kernel
def _root(book, t, piece, first, last):
    n = call_whole(book, ADD_NODE, (piece,), (t,))
    if n > 0:
        call_whole(book, ADD_CELL, (n - 1, n, first, last), ())


def _make_plant(digest):
    @by_address("int64", 0, 3)
    def plant_by_address(book, start, end, root_travel):
        """Stand behind plant."""
        return _plant(book, start, end, root_travel) if digest else -1

    return plant_by_address


plant_by_address = _make_plant(source_digest())


@inlined
def plant(book, start, end, root_travel):
    """Cut [start, end] into root cells of like travel; return their number, or -1 where the pool is full.

    Root r runs from node r to node r + 1.
    """
    return call_whole(book, PLANT, (), (start, end, root_travel))
