"""Kernel entries: many short arcs of a few joints, each with slack in every joint, against all pairs.

A *tube* is every joint vector within ``slack`` of an arc, joint by joint. A point of a mover is then within

    pad = sum_k slack_k L_k

of where it is on the arc, L_k being the largest distance of any point of the mover from axis k over the tube.
So the distance of two movers over the tube is at least that over the arc less both pads. Movers are placed
and padded on first use: an arc that few pairs matter to costs little.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.bend import bend_of, row_of
from armcarry.clearance.book import (
    ARM,
    BALL,
    BODY,
    BREAKS,
    CENTRE,
    CORE,
    ENDS,
    EPOCH,
    FIRST,
    FRAME,
    FULL,
    LAST,
    LEVER,
    LINKS,
    NODE_T,
    ON,
    PLANE,
    POLY,
    POSE,
    ROOT_BEND,
    SCALE,
    SERIAL,
    SIZE,
    SLIDES,
    SLOT,
    STACK,
    STEP,
    STRAY,
    TALLY,
    TRAVEL,
    VARIES,
    real1,
    real2,
    real3,
    whole1,
    whole2,
)
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.jit import entry, kernel, source_digest
from armcarry.clearance.planes import guess_plane, known, measured
from armcarry.clearance.search import ball_pass, cell_bound, measure_node, search
from armcarry.clearance.timetree import plant, split

#: of a mover that stands, the arc up to which it is ready
ALWAYS = np.int64(2**62)
#: metres of lever-weighted joint travel in one root cell
ROOT_TRAVEL_M = 2.0


@kernel
def set_arc(book, base, moving, breaks, poly):
    """Enter one arc: joints (F,) at rest but for those of frames ``moving`` (A,), polynomials (K, A, D+1)."""
    pages, table, varies = real1(book, BREAKS), real3(book, POLY), whole2(book, VARIES)
    scale, travel, lever = real2(book, SCALE), real1(book, TRAVEL), real1(book, LEVER)
    pages[0] = breaks[0]
    for p in range(table.shape[0]):
        pages[p + 1] = breaks[p + 1]
        for f in range(table.shape[1]):
            table[p, f, 0] = base[f]
            varies[p, f] = 0
            scale[p, f] = abs(base[f])
            for k in range(1, table.shape[2]):
                table[p, f, k] = 0.0
        travel[p] = 0.0
        for i in range(moving.shape[0]):
            f, span, power = moving[i], breaks[p + 1] - breaks[p], 1.0
            scale[p, f] = 0.0
            for k in range(table.shape[2]):
                value = poly[p, i, k]
                table[p, f, k] = value
                size = abs(value) * power
                scale[p, f] += size
                power *= span
                if k > 0:
                    travel[p] += lever[f] * size
                    if value != 0.0:
                        varies[p, f] = 1


@kernel
def _levers(book, m, n):
    """Raise ARM[0] to the distance of the centre of mover m from each of its axes at node n."""
    r, core, on, links = real3(book, FRAME), real2(book, CORE), whole1(book, ON)[m], whole1(book, LINKS)
    arm, begin, end = real2(book, ARM), whole1(book, FIRST)[m], whole1(book, LAST)[m]
    cx = r[n, on, 9] + r[n, on, 0] * core[m, 9] + r[n, on, 3] * core[m, 10] + r[n, on, 6] * core[m, 11]
    cy = r[n, on, 10] + r[n, on, 1] * core[m, 9] + r[n, on, 4] * core[m, 10] + r[n, on, 7] * core[m, 11]
    cz = r[n, on, 11] + r[n, on, 2] * core[m, 9] + r[n, on, 5] * core[m, 10] + r[n, on, 8] * core[m, 11]
    for i in range(begin, end):
        f, k = links[i], i - begin
        x, y, z = cx - r[n, f, 9], cy - r[n, f, 10], cz - r[n, f, 11]
        u, v, w = r[n, f, 6], r[n, f, 7], r[n, f, 8]
        x, y, z = v * z - w * y, w * x - u * z, u * y - v * x
        arm[0, k] = max(arm[0, k], math.sqrt(x * x + y * y + z * z))


@kernel
def _pad(book, m, roots, slack, extra):
    """Return how far any point of mover m can be from where it is on the arc, metres.

    Besides the slack, any one joint may be off by up to its ``extra``. Moved off one after another from the base
    outwards, each joint turns the body while the joints beyond it are still on the arc: its lever is that of the arc.
    """
    links, slides, ends, arm = whole1(book, LINKS), whole1(book, SLIDES), whole2(book, ENDS), real2(book, ARM)
    step, stray = real2(book, STEP), real2(book, STRAY)
    begin, end = whole1(book, FIRST)[m], whole1(book, LAST)[m]
    some = False
    for i in range(begin, end):
        some |= slack[links[i]] != 0.0 or extra[links[i]] != 0.0
    if not some:
        return 0.0
    radius, worst = real2(book, SIZE)[whole1(book, BODY)[m], 4], 0.0
    for c in range(roots):
        for i in range(begin, end):
            arm[0, i - begin] = 0.0
        _levers(book, m, ends[c, 0])
        _levers(book, m, ends[c, 1])
        spread, pad, one = 0.0, 0.0, 0.0
        for i in range(end - 1, begin - 1, -1):  # from the body to the base
            f = links[i]
            lever = 1.0 if slides[f] else arm[0, i - begin] + spread
            spread += (0.5 * abs(step[c, f]) + stray[c, f] + slack[f]) * lever
            reach = lever if slides[f] else lever + radius
            pad += slack[f] * reach
            one = max(one, extra[f] * reach)
        worst = max(worst, pad + one)
    return worst * (1.0 + 1e-12)


@kernel
def _make_ready(book, m, roots, slack, extra, scratch):
    """Line up mover m at the root cells, work out its pad and its box, and note until which arc that holds."""
    pads, ready, boxes = scratch
    slot = whole1(book, SLOT)[m]
    ready[m] = whole1(book, TALLY)[EPOCH] if slot >= 0 else ALWAYS
    if slot >= 0:
        gather_mover(book, m, slot, roots)
        pads[m] = _pad(book, m, roots, slack, extra)
    _boxed(book, m, slot, roots, boxes)


@kernel
def _boxed(book, m, slot, roots, boxes):
    """Fill the row of mover m with the box, low ends then high ends, that it keeps within over the whole arc."""
    centre, core, bend = real3(book, CENTRE), real2(book, CORE), real2(book, ROOT_BEND)
    radius = real2(book, SIZE)[whole1(book, BODY)[m], 4]
    if slot >= 0:
        most = 0.0
        for c in range(roots):
            most = max(most, bend[slot, c])
        radius += most
    for i in range(3):
        low = high = centre[slot, i, 0] if slot >= 0 else core[m, 9 + i]
        if slot >= 0:
            for n in range(1, roots + 1):
                low, high = min(low, centre[slot, i, n]), max(high, centre[slot, i, n])
        boxes[m, i], boxes[m, 3 + i] = low - radius, high + radius


@kernel
def _boxes_apart(boxes, a, b, level):
    """Tell whether the boxes of two movers keep them ``level`` apart over the whole arc."""
    gap = -math.inf
    for i in range(3):
        gap = max(gap, boxes[a, i] - boxes[b, 3 + i], boxes[b, i] - boxes[a, 3 + i])
    return gap >= level


@kernel
def gather_mover(book, m, slot, roots):
    """Line up the centres and bends of one mover at the root cells, for ball_pass; see search.gather_roots."""
    pose, centre, bend = real2(book, POSE), real3(book, CENTRE), real2(book, ROOT_BEND)
    for n in range(roots + 1):
        row = row_of(book, m, n)
        centre[slot, 0, n], centre[slot, 1, n], centre[slot, 2, n] = pose[row, 9], pose[row, 10], pose[row, 11]
        if n < roots:
            bend[slot, n] = bend_of(book, m, n)


@kernel
def _start(book, n, base, moving, breaks, poly, until):
    """Enter arc n and cut it into root cells; return their number or -1."""
    set_arc(book, base[n], moving, breaks[n], poly[n])
    whole1(book, TALLY)[EPOCH] += 1
    return plant(book, breaks[n, 0], until[n], ROOT_TRAVEL_M)


@kernel
def _least(book, pairs, asked, some, roots, slack, extra, scratch, first, tolerance, enough, give_up, row):
    """Fill row: proven margin of the tube, margin on the arc, its pair, instant and pad; return 0 if full.

    Once a margin on the arc is below ``give_up`` no other pair is looked at, and nothing is proven.
    """
    pads, ready, boxes = scratch
    epoch = whole1(book, TALLY)[EPOCH]
    best, low = enough, enough
    row[0], row[1], row[2], row[3], row[4] = enough, math.inf, -1.0, math.nan, 0.0
    for k in range(-1, some.shape[0]):  # the pair that was worst before goes first
        i = first if k < 0 else some[k]
        if i < 0 or (k >= 0 and i == first) or math.isnan(asked[i]):
            continue
        ma, mb = pairs[i, 0], pairs[i, 1]
        if ready[ma] < epoch:
            _make_ready(book, ma, roots, slack, extra, scratch)
        if ready[mb] < epoch:
            _make_ready(book, mb, roots, slack, extra, scratch)
        pad = pads[ma] + pads[mb]
        shift = asked[i] + pad
        if best + shift <= CONTACT_M:  # not even contact would be worse
            continue
        if _boxes_apart(boxes, ma, mb, best + shift):
            continue
        whole1(book, TALLY)[SERIAL] += 1
        lower, upper, seat = search(book, ma, mb, 0, roots, best + shift, tolerance, enough + shift)
        if whole1(book, TALLY)[FULL]:
            return 0
        low = min(low, max(lower, 0.0) - shift)
        if seat >= 0 and upper - shift < best:
            upper = max(upper, 0.0)
            best = upper - shift
            row[1], row[2], row[3], row[4] = upper - asked[i], i, real1(book, NODE_T)[seat], pad
            if row[1] < give_up:
                low = -math.inf
                break
    row[0] = low
    return 1


@kernel
def _near(book, pairs, asked, roots, slack, extra, scratch, enough, found):
    """Tell in found (P,) which pairs are not proven, quickly, to have enough to spare; return how many."""
    pads, ready, boxes = scratch
    epoch = whole1(book, TALLY)[EPOCH]
    ball, count, ends = real1(book, BALL), 0, whole2(book, ENDS)
    for i in range(pairs.shape[0]):
        found[i] = 0
        if math.isnan(asked[i]):
            continue
        ma, mb = pairs[i, 0], pairs[i, 1]
        if ready[ma] < epoch:
            _make_ready(book, ma, roots, slack, extra, scratch)
        if ready[mb] < epoch:
            _make_ready(book, mb, roots, slack, extra, scratch)
        level = enough + asked[i] + pads[ma] + pads[mb]
        if _boxes_apart(boxes, ma, mb, level):
            continue
        lead = ball_pass(book, ma, mb, np.int64(0), roots)
        if ball[lead] >= level:
            continue
        whole1(book, TALLY)[SERIAL] += 1
        far = True
        for c in range(roots):
            if ball[c] < level:
                a, b = ends[c, 0], ends[c, 1]
                for n in (a, b):
                    if not known(book, n):
                        guess_plane(book, ma, mb, n, 0.0, 0.0, 0.0)
                        measure_node(book, ma, mb, n, 0.05 * level, math.inf)
                far &= cell_bound(book, ma, mb, c, level) >= level
        if not far:
            found[i] = 1
            count += 1
    return count


@kernel
def _free_until(book, ma, mb, roots, level, limit, resolution):
    """Return up to where two movers are proven to keep ``level`` (at most ``limit``), to a resolution."""
    stack, ends, plane, node_t = whole1(book, STACK), whole2(book, ENDS), real2(book, PLANE), real1(book, NODE_T)
    ball = real1(book, BALL)
    ball_pass(book, ma, mb, np.int64(0), roots)
    for root in range(roots):
        if ball[root] >= level:
            continue
        stack[0], top = root, 1
        while top > 0:
            top -= 1
            c = stack[top]
            a, b = ends[c, 0], ends[c, 1]
            if node_t[a] >= limit:
                return limit
            if not known(book, a):
                guess_plane(book, ma, mb, a, 0.0, 0.0, 0.0)
            if not known(book, b):
                guess_plane(book, ma, mb, b, plane[a, 1], plane[a, 2], plane[a, 3])
            if cell_bound(book, ma, mb, c, level) >= level:
                continue
            if not measured(book, a):
                measure_node(book, ma, mb, a, 0.02 * level, math.inf)
            if plane[a, 0] < level:
                return node_t[a]
            if not measured(book, b):
                measure_node(book, ma, mb, b, 0.02 * level, math.inf)
            if cell_bound(book, ma, mb, c, level) >= level:
                continue
            if node_t[b] - node_t[a] <= resolution:
                return node_t[a]
            child = split(book, c)
            if child < 0 or top + 2 > stack.shape[0]:
                return node_t[a]
            stack[top], stack[top + 1] = child + 1, child
            top += 2
    return limit


def _make(digest):
    @entry
    def near_pairs(book, pairs, asked, base, moving, breaks, poly, until, slack, extra, enough, scratch, found):
        """Tell in found (N, P) which pairs matter to each arc; return 0 if the pool is full."""
        for n in range(base.shape[0]):
            roots = _start(book, n, base, moving, breaks, poly, until)
            if roots < 0 or digest == 0:
                return 0
            _near(book, pairs, asked, roots, slack[n], extra[n], scratch, enough, found[n])
            if whole1(book, TALLY)[FULL]:
                return 0
        return 1

    @entry
    def least_margins(
        book, pairs, asked, base, moving, breaks, poly, until, slack, some, offsets, lists, tolerance, enough, give_up,
        scratch, table,
    ):
        """Fill table (N, 5), see _least, from pairs some[offsets[l]:offsets[l+1]] of list l; 0 if the pool is full."""
        worst, extra = np.int64(-1), np.zeros(base.shape[1])
        for n in range(base.shape[0]):
            roots = _start(book, n, base, moving, breaks, poly, until)
            if roots < 0 or digest == 0:
                return 0
            mine = some[offsets[lists[n]] : offsets[lists[n] + 1]]
            if not _least(
                book, pairs, asked, mine, roots, slack[n], extra, scratch, worst, tolerance, enough, give_up, table[n],
            ):
                return 0
            worst = np.int64(table[n, 2])
            if n + 1 < base.shape[0] and lists[n + 1] != lists[n]:
                worst = np.int64(-1)
        return 1

    @entry
    def free_until(
        book, pairs, asked, base, moving, breaks, poly, until, slack, some, offsets, lists, resolution, limit, scratch,
        table,
    ):
        """Fill table (N, 2): up to where each tube keeps what is asked, and the pair that ends it, or -1."""
        extra = np.zeros(base.shape[1])
        pads, ready, boxes = scratch
        for n in range(base.shape[0]):
            roots = _start(book, n, base, moving, breaks, poly, until)
            if roots < 0 or digest == 0:
                return 0
            table[n, 0], table[n, 1] = min(until[n], limit[n]), -1.0
            epoch = whole1(book, TALLY)[EPOCH]
            for k in range(offsets[lists[n]], offsets[lists[n] + 1]):
                i = some[k]
                if math.isnan(asked[i]):
                    continue
                ma, mb = pairs[i, 0], pairs[i, 1]
                if ready[ma] < epoch:
                    _make_ready(book, ma, roots, slack[n], extra, scratch)
                if ready[mb] < epoch:
                    _make_ready(book, mb, roots, slack[n], extra, scratch)
                level = max(asked[i] + pads[ma] + pads[mb], 10.0 * CONTACT_M)
                if _boxes_apart(boxes, ma, mb, level):
                    continue
                whole1(book, TALLY)[SERIAL] += 1
                free = _free_until(book, ma, mb, roots, level, table[n, 0], resolution)
                if whole1(book, TALLY)[FULL]:
                    return 0
                if free < table[n, 0]:
                    table[n, 0], table[n, 1] = free, i
        return 1

    return near_pairs, least_margins, free_until


near_pairs, least_margins, free_until = _make(source_digest())
