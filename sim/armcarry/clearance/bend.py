"""Where a mover is at an instant, and how far any of its points leaves its chord over a cell.

With q(t) = q_a + l(t) (q_b - q_a) + s(t), |s_k| <= stray_k, a point p of a body keeps within

    |p(q(t)) - chord(l)| <= max |p''| / 8 + sum_k stray_k L_k

of the straight line between its two end positions, p'' taken along the joint line and L_k the largest
distance of any point of the body from axis k over the cell. |p''| is bounded twice and the lesser taken:
by the triangle inequality, sum_jk |step_j| |step_k| L_max(j,k) (a proximal turn j carries the motion of k),
and by its exact field at the two ends plus half the like bound on p'''.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.book import (
    ARM,
    BASE,
    BEND,
    BEND_EPOCH,
    BODY,
    CORE,
    ENDS,
    EPOCH,
    FIND_BEND,
    FIRST,
    FRAME,
    LAST,
    LINKS,
    NODE_T,
    ON,
    POSE,
    POSE_EPOCH,
    SIZE,
    SLIDES,
    SLOT,
    STEP,
    STRAY,
    TALLY,
    call_real,
    real1,
    real2,
    real3,
    whole1,
    whole2,
)
from armcarry.clearance.jit import by_address, inlined, kernel, source_digest


@inlined
def row_of(book, m, n):
    """Return the row of POSE of mover m at node n, placing it on first use."""
    slot = whole1(book, SLOT)[m]
    if slot < 0:
        return m
    epochs, epoch = whole1(book, POSE_EPOCH), whole1(book, TALLY)[EPOCH]
    # movers that rest come first, one row each
    row = epochs.shape[0] - (whole2(book, BEND_EPOCH).shape[0] - slot) * real1(book, NODE_T).shape[0] + n
    if epochs[row] != epoch:
        epochs[row] = epoch
        _seat(book, m, n, row)
    return row


@kernel
def _seat(book, m, n, row):
    """Write the pose of mover m at node n, seen from its base frame."""
    f, base = whole1(book, ON)[m], whole1(book, BASE)[m]
    r, core, out = real3(book, FRAME), real2(book, CORE), real2(book, POSE)
    for k in range(4):
        x, y, z = core[m, 3 * k], core[m, 3 * k + 1], core[m, 3 * k + 2]
        px = r[n, f, 0] * x + r[n, f, 3] * y + r[n, f, 6] * z
        py = r[n, f, 1] * x + r[n, f, 4] * y + r[n, f, 7] * z
        pz = r[n, f, 2] * x + r[n, f, 5] * y + r[n, f, 8] * z
        if k == 3:
            px += r[n, f, 9]
            py += r[n, f, 10]
            pz += r[n, f, 11]
        if base >= 0:
            if k == 3:
                px -= r[n, base, 9]
                py -= r[n, base, 10]
                pz -= r[n, base, 11]
            x, y, z = px, py, pz
            px = r[n, base, 0] * x + r[n, base, 1] * y + r[n, base, 2] * z
            py = r[n, base, 3] * x + r[n, base, 4] * y + r[n, base, 5] * z
            pz = r[n, base, 6] * x + r[n, base, 7] * y + r[n, base, 8] * z
        out[row, 3 * k], out[row, 3 * k + 1], out[row, 3 * k + 2] = px, py, pz


@inlined
def bend_of(book, m, c):
    """Return how far any point of mover m leaves its chord over cell c, metres; 0 only where it rests."""
    slot = whole1(book, SLOT)[m]
    if slot < 0:
        return 0.0
    bend, epochs, epoch = real2(book, BEND), whole2(book, BEND_EPOCH), whole1(book, TALLY)[EPOCH]
    if epochs[slot, c] != epoch:
        epochs[slot, c] = epoch
        bend[slot, c] = call_real(book, FIND_BEND, (m, c), ())
    return bend[slot, c]


@kernel
def _bend(book, m, c):
    links, slides, ends = whole1(book, LINKS), whole1(book, SLIDES), whole2(book, ENDS)
    step, stray, arm = real2(book, STEP), real2(book, STRAY), real2(book, ARM)
    begin, end = whole1(book, FIRST)[m], whole1(book, LAST)[m]
    moves = False
    for i in range(begin, end):
        f = links[i]
        moves |= step[c, f] != 0.0 or stray[c, f] != 0.0
    if not moves:
        return 0.0
    radius = real2(book, SIZE)[whole1(book, BODY)[m], 4]
    for i in range(begin, end):
        arm[0, i - begin] = 0.0
    second = max(_second(book, m, c, ends[c, 0], radius), _second(book, m, c, ends[c, 1], radius))
    spread, strayed = 0.0, 0.0
    for i in range(end - 1, begin - 1, -1):  # from the body to the base
        f, k = links[i], i - begin
        lever = 1.0 if slides[f] else arm[0, k] + spread
        arm[1, k] = lever if slides[f] else lever + radius
        spread += (0.5 * abs(step[c, f]) + stray[c, f]) * lever
        strayed += stray[c, f] * arm[1, k]
    turned, rough, third = 0.0, 0.0, 0.0
    for i in range(begin, end):
        f, k = links[i], i - begin
        d, lever = abs(step[c, f]), arm[1, k]
        if slides[f]:
            rough += 2.0 * turned * d
            third += 3.0 * turned * turned * d
        else:
            after = turned + d
            rough += lever * d * (2.0 * turned + d)
            third += lever * (after * after * after - turned * turned * turned)
            turned = after
    return 0.125 * min(rough, second + 0.5 * third) * (1.0 + 1e-12) + strayed


@kernel
def _second(book, m, c, n, radius):
    """Bound |p''| of any point of mover m at node n along the joint line of cell c, metres.

    Raises arm[0] to the distance of the centre from each axis on the way. World axes, base frame at rest.
    """
    r, core, on = real3(book, FRAME), real2(book, CORE), whole1(book, ON)[m]
    links, slides, step, arm = whole1(book, LINKS), whole1(book, SLIDES), real2(book, STEP), real2(book, ARM)
    begin, end = whole1(book, FIRST)[m], whole1(book, LAST)[m]
    cx = r[n, on, 9] + r[n, on, 0] * core[m, 9] + r[n, on, 3] * core[m, 10] + r[n, on, 6] * core[m, 11]
    cy = r[n, on, 10] + r[n, on, 1] * core[m, 9] + r[n, on, 4] * core[m, 10] + r[n, on, 7] * core[m, 11]
    cz = r[n, on, 11] + r[n, on, 2] * core[m, 9] + r[n, on, 5] * core[m, 10] + r[n, on, 8] * core[m, 11]
    wx = wy = wz = 0.0  # turn of the frames so far, per unit of the common parameter
    ax = ay = az = 0.0  # p'' of the centre
    bx = by = bz = 0.0  # derivative of the turn
    for i in range(begin, end):
        f = links[i]
        d = step[c, f]
        zx, zy, zz = r[n, f, 6], r[n, f, 7], r[n, f, 8]
        if slides[f]:
            ax += 2.0 * d * (wy * zz - wz * zy)
            ay += 2.0 * d * (wz * zx - wx * zz)
            az += 2.0 * d * (wx * zy - wy * zx)
            continue
        x, y, z = cx - r[n, f, 9], cy - r[n, f, 10], cz - r[n, f, 11]
        vx, vy, vz = zy * z - zz * y, zz * x - zx * z, zx * y - zy * x
        k = i - begin
        arm[0, k] = max(arm[0, k], math.sqrt(vx * vx + vy * vy + vz * vz))
        zx, zy, zz = d * zx, d * zy, d * zz
        ux, uy, uz = 2.0 * wx + zx, 2.0 * wy + zy, 2.0 * wz + zz
        ax += d * (uy * vz - uz * vy)
        ay += d * (uz * vx - ux * vz)
        az += d * (ux * vy - uy * vx)
        bx += wy * zz - wz * zy
        by += wz * zx - wx * zz
        bz += wx * zy - wy * zx
        wx, wy, wz = wx + zx, wy + zy, wz + zz
    centre = math.sqrt(ax * ax + ay * ay + az * az)
    return centre + radius * (math.sqrt(bx * bx + by * by + bz * bz) + wx * wx + wy * wy + wz * wz)


def _make(digest):
    @by_address("float64", 2, 0)
    def find_bend(book, m, c):
        """Stand for _bend."""
        return _bend(book, m, c) if digest else math.inf

    return find_bend


find_bend = _make(source_digest())
