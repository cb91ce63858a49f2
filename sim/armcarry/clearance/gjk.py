"""Distance of two convex bodies, bounded from below by a parting plane and from above by two points.

Gilbert, Johnson, Keerthi 1988, with the bounds of van den Bergen 1999: the support plane of the current
direction is a valid lower bound whether or not the iteration has converged; the current pair of points is
a valid upper bound.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.jit import kernel
from armcarry.clearance.simplex import nearest
from armcarry.clearance.support import support

#: below this the cores are taken to touch, metres; far under the 1e-6 m every bound is padded with
TOUCH_M = 1e-10


@kernel
def gjk(form, size, verts, a, b, pose, ra, rb, nx, ny, nz, tolerance, cap, work, out):
    """Bound the distance of body a at pose ra and body b at pose rb, balls included.

    Args:
        nx, ny, nz: first guess of the direction from a to b, not zero.
        tolerance: stop when upper - lower is at most this, metres.
        cap: least distance known elsewhere; where this pair is surely farther, the stop is looser by a
            tenth of the surplus. inf for none.
        work: (5, 6) scratch: simplex rows and weights.
        out: (9,) receives the parting direction from a to b and the nearest points of a and b.

    Returns:
        lower, upper in metres; where cores overlap (-inf, -inf) and both points are one common point.
    """
    lam = work[4]
    balls = size[a, 3] + size[b, 3]
    low, high = -math.inf, math.inf
    count = 0
    at_a, at_b = np.int64(3), np.int64(0)  # a literal would be compiled on its own
    vx, vy, vz = nx, ny, nz
    length = math.sqrt(vx * vx + vy * vy + vz * vz)
    for _ in range(64):
        row = work[count]
        support(form, size, verts, a, pose, ra, vx, vy, vz, row, at_a)
        support(form, size, verts, b, pose, rb, -vx, -vy, -vz, row, at_b)
        row[0] -= row[3]
        row[1] -= row[4]
        row[2] -= row[5]
        plane = (vx * row[0] + vy * row[1] + vz * row[2]) / length - balls
        if plane > low:
            low = plane
            out[0], out[1], out[2] = vx / length, vy / length, vz / length
        if high - low <= tolerance + max(0.0, 0.1 * (low - cap)):
            break
        repeated = False
        for i in range(count):
            repeated |= work[i, 0] == row[0] and work[i, 1] == row[1] and work[i, 2] == row[2]
        if repeated:
            break
        count = nearest(work, lam, count + 1)
        if count == 5:
            vx = vy = vz = length = 0.0
            count = 4
            _inside(work, lam)
        else:
            vx = vy = vz = 0.0
            for i in range(count):
                vx += lam[i] * work[i, 0]
                vy += lam[i] * work[i, 1]
                vz += lam[i] * work[i, 2]
            length = math.sqrt(vx * vx + vy * vy + vz * vz)
        if length <= TOUCH_M:
            if low + balls > TOUCH_M:  # a parting plane is known: rounding only
                break
            _points(work, lam, count, 0.0, 0.0, 0.0, 0.0, 0.0, size[a, 3], size[b, 3], out)
            return -math.inf, -math.inf
        if length - balls >= high:  # no progress left in double precision
            break
        high = length - balls
        _points(work, lam, count, vx, vy, vz, length, high, size[a, 3], size[b, 3], out)
    return low, high


@kernel
def _points(s, lam, count, vx, vy, vz, length, gap, ball_a, ball_b, out):
    """Write the nearest points of both bodies; one common point between them where the balls overlap."""
    x = y = z = 0.0
    for i in range(count):
        x += lam[i] * s[i, 3]
        y += lam[i] * s[i, 4]
        z += lam[i] * s[i, 5]
    ta = tb = 0.0
    if length > 0.0:
        ta, tb = ball_a / length, 1.0 - ball_b / length
        if gap < 0.0:
            ta = tb = 0.5 * (max(0.0, tb) + min(1.0, ta))
    out[3], out[4], out[5] = x + ta * vx, y + ta * vy, z + ta * vz
    out[6], out[7], out[8] = x + tb * vx, y + tb * vy, z + tb * vz


@kernel
def _inside(s, lam):
    """Set the weights of the origin inside a tetrahedron, by signed volumes."""
    total = 0.0
    for m in range(4):
        i, j, k = (m + 1) % 4, (m + 2) % 4, (m + 3) % 4
        lam[m] = abs(
            s[i, 0] * (s[j, 1] * s[k, 2] - s[j, 2] * s[k, 1])
            + s[i, 1] * (s[j, 2] * s[k, 0] - s[j, 0] * s[k, 2])
            + s[i, 2] * (s[j, 0] * s[k, 1] - s[j, 1] * s[k, 0])
        )
        total += lam[m]
    for m in range(4):
        lam[m] = lam[m] / total if total > 0.0 else 0.25
