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

from armcarry.clearance.jit import inlined, kernel
from armcarry.clearance.pool import EPOCH


@kernel
def row_of(V, W, m, n):
    """Return the row of W.pose of mover m at node n, placing it on first use."""
    slot = V.slot[m]
    if slot < 0:
        return m
    nodes = W.node_t.shape[0]
    row = W.pose.shape[0] - (W.bend.shape[0] - slot) * nodes + n  # movers that rest come first
    if W.pose_epoch[row] != W.tally[EPOCH]:
        W.pose_epoch[row] = W.tally[EPOCH]
        _seat(V, W, m, n, row)
    return row


@inlined
def _seat(V, W, m, n, row):
    """Write the pose of mover m at node n, seen from its base frame."""
    f, base = V.frame[m], V.base[m]
    r, core, out = W.frame, V.core, W.pose
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


@kernel
def bend_of(S, F, V, W, m, c):
    """Return how far any point of mover m leaves its chord over cell c, metres; 0 only where it rests."""
    slot = V.slot[m]
    if slot < 0:
        return 0.0
    if W.bend_epoch[slot, c] != W.tally[EPOCH]:
        W.bend_epoch[slot, c] = W.tally[EPOCH]
        W.bend[slot, c] = _bend(S, F, V, W, m, c)
    return W.bend[slot, c]


@kernel
def _bend(S, F, V, W, m, c):
    moves = False
    for i in range(V.first[m], V.last[m]):
        f = V.links[i]
        moves |= W.step[c, f] != 0.0 or W.stray[c, f] != 0.0
    if not moves:
        return 0.0
    radius = S.size[V.body[m], 4]
    for i in range(V.first[m], V.last[m]):
        W.arm[0, i - V.first[m]] = 0.0
    second = max(_second(F, V, W, m, c, W.nodes[c, 0], radius), _second(F, V, W, m, c, W.nodes[c, 1], radius))
    spread, strayed = 0.0, 0.0
    for i in range(V.last[m] - 1, V.first[m] - 1, -1):  # from the body to the base
        f, k = V.links[i], i - V.first[m]
        lever = 1.0 if F.slides[f] else W.arm[0, k] + spread
        W.arm[1, k] = lever if F.slides[f] else lever + radius
        spread += (0.5 * abs(W.step[c, f]) + W.stray[c, f]) * lever
        strayed += W.stray[c, f] * W.arm[1, k]
    turned, rough, third = 0.0, 0.0, 0.0
    for i in range(V.first[m], V.last[m]):
        f, k = V.links[i], i - V.first[m]
        d, lever = abs(W.step[c, f]), W.arm[1, k]
        if F.slides[f]:
            rough += 2.0 * turned * d
            third += 3.0 * turned * turned * d
        else:
            after = turned + d
            rough += lever * d * (2.0 * turned + d)
            third += lever * (after * after * after - turned * turned * turned)
            turned = after
    return 0.125 * min(rough, second + 0.5 * third) * (1.0 + 1e-12) + strayed


@kernel
def _second(F, V, W, m, c, n, radius):
    """Bound |p''| of any point of mover m at node n along the joint line of cell c, metres.

    Raises W.arm[0] to the distance of the centre from each axis on the way. World axes, base frame at rest.
    """
    r, core, end = W.frame, V.core, V.frame[m]
    cx = r[n, end, 9] + r[n, end, 0] * core[m, 9] + r[n, end, 3] * core[m, 10] + r[n, end, 6] * core[m, 11]
    cy = r[n, end, 10] + r[n, end, 1] * core[m, 9] + r[n, end, 4] * core[m, 10] + r[n, end, 7] * core[m, 11]
    cz = r[n, end, 11] + r[n, end, 2] * core[m, 9] + r[n, end, 5] * core[m, 10] + r[n, end, 8] * core[m, 11]
    wx = wy = wz = 0.0  # turn of the frames so far, per unit of the common parameter
    ax = ay = az = 0.0  # p'' of the centre
    bx = by = bz = 0.0  # derivative of the turn
    for i in range(V.first[m], V.last[m]):
        f = V.links[i]
        d = W.step[c, f]
        zx, zy, zz = r[n, f, 6], r[n, f, 7], r[n, f, 8]
        if F.slides[f]:
            ax += 2.0 * d * (wy * zz - wz * zy)
            ay += 2.0 * d * (wz * zx - wx * zz)
            az += 2.0 * d * (wx * zy - wy * zx)
            continue
        x, y, z = cx - r[n, f, 9], cy - r[n, f, 10], cz - r[n, f, 11]
        vx, vy, vz = zy * z - zz * y, zz * x - zx * z, zx * y - zy * x
        k = i - V.first[m]
        W.arm[0, k] = max(W.arm[0, k], math.sqrt(vx * vx + vy * vy + vz * vz))
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
