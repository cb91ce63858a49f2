"""The point of a simplex nearest the origin: the inner step of GJK.

The simplex is held in ``s`` (4, 6): each row a point w of the difference body (b minus a) and the point of
body a it came from. ``lam`` (4,) holds the weights of the nearest point. Rows not needed are dropped in
place, order kept, so the newest row stays last.

Signed areas and volumes decide the region (Montanari, Petrinic, Barbieri, "Improving the GJK algorithm for
faster and more reliable distance queries between convex objects", ACM Trans. Graph. 36, 2017). Any weights
in [0, 1] with sum 1 are a true point of the simplex, so rounding here costs tightness, never soundness.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import numpy as np

from armcarry.clearance.jit import inlined


@inlined
def _edge(s, i, j):
    """Return the weight of row j and the squared distance of the point of edge ij nearest the origin."""
    ex, ey, ez = s[j, 0] - s[i, 0], s[j, 1] - s[i, 1], s[j, 2] - s[i, 2]
    length2 = ex * ex + ey * ey + ez * ez
    t = -(s[i, 0] * ex + s[i, 1] * ey + s[i, 2] * ez) / length2 if length2 > 0.0 else 0.0
    t = min(1.0, max(0.0, t))
    x, y, z = s[i, 0] + t * ex, s[i, 1] + t * ey, s[i, 2] + t * ez
    return t, x * x + y * y + z * z


@inlined
def _triangle(s, i, j, k):
    """Return weights of rows i, j, k and the squared distance of their triangle's point nearest the origin."""
    ux, uy, uz = s[j, 0] - s[i, 0], s[j, 1] - s[i, 1], s[j, 2] - s[i, 2]
    vx, vy, vz = s[k, 0] - s[i, 0], s[k, 1] - s[i, 1], s[k, 2] - s[i, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    area2 = nx * nx + ny * ny + nz * nz
    wi = wj = wk = -1.0
    if area2 > 1e-24 * (ux * ux + uy * uy + uz * uz) * (vx * vx + vy * vy + vz * vz):
        # weights of the origin's foot: signed areas against the normal
        wi = (
            nx * (s[j, 1] * s[k, 2] - s[j, 2] * s[k, 1])
            + ny * (s[j, 2] * s[k, 0] - s[j, 0] * s[k, 2])
            + nz * (s[j, 0] * s[k, 1] - s[j, 1] * s[k, 0])
        ) / area2
        wj = (
            nx * (s[k, 1] * s[i, 2] - s[k, 2] * s[i, 1])
            + ny * (s[k, 2] * s[i, 0] - s[k, 0] * s[i, 2])
            + nz * (s[k, 0] * s[i, 1] - s[k, 1] * s[i, 0])
        ) / area2
        wk = 1.0 - wi - wj
        if wi >= 0.0 and wj >= 0.0 and wk >= 0.0:
            height = nx * s[i, 0] + ny * s[i, 1] + nz * s[i, 2]
            return wi, wj, wk, height * height / area2
    best = 1e300
    bi = bj = bk = 0.0
    if wi < 0.0:
        t, d2 = _edge(s, j, k)
        best, bi, bj, bk = d2, 0.0, 1.0 - t, t
    if wj < 0.0:
        t, d2 = _edge(s, i, k)
        if d2 < best:
            best, bi, bj, bk = d2, 1.0 - t, 0.0, t
    if wk < 0.0:
        t, d2 = _edge(s, i, j)
        if d2 < best:
            best, bi, bj, bk = d2, 1.0 - t, t, 0.0
    return bi, bj, bk, best


@inlined
def _side(s, i, j, k, m):
    """Return signed volumes to the plane ijk: of the origin, and of row m."""
    ux, uy, uz = s[j, 0] - s[i, 0], s[j, 1] - s[i, 1], s[j, 2] - s[i, 2]
    vx, vy, vz = s[k, 0] - s[i, 0], s[k, 1] - s[i, 1], s[k, 2] - s[i, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    height = nx * s[i, 0] + ny * s[i, 1] + nz * s[i, 2]
    return -height, nx * s[m, 0] + ny * s[m, 1] + nz * s[m, 2] - height


@inlined
def _tetrahedron(s, lam):
    """Set lam (4,) for the tetrahedron's point nearest the origin; return True where the origin is inside."""
    best = 1e300
    inside = True
    for m in range(4):
        i, j, k = (m + 1) % 4, (m + 2) % 4, (m + 3) % 4
        origin, other = _side(s, i, j, k, m)
        if origin * other > 0.0:  # a flat tetrahedron has other = 0: every face is a candidate
            continue
        inside = False
        wi, wj, wk, d2 = _triangle(s, i, j, k)
        if d2 < best:
            best = d2
            lam[i], lam[j], lam[k], lam[m] = wi, wj, wk, 0.0
    return inside


@inlined
def nearest(s, lam, count):
    """Reduce the simplex of count rows to those that carry its point nearest the origin; return their count.

    Returns 5 where the origin lies inside the tetrahedron.
    """
    if count == 1:
        lam[0] = 1.0
        return 1
    first, second, third = np.int64(0), np.int64(1), np.int64(2)  # a literal would be compiled on its own
    if count == 2:
        t, _ = _edge(s, first, second)
        lam[0], lam[1] = 1.0 - t, t
    elif count == 3:
        lam[0], lam[1], lam[2], _ = _triangle(s, first, second, third)
    elif _tetrahedron(s, lam):
        return 5
    kept = 0
    for i in range(count):
        if lam[i] > 0.0:
            if kept < i:
                lam[kept] = lam[i]
                for c in range(6):
                    s[kept, c] = s[i, c]
            kept += 1
    return kept
