"""Kernel entry: distances of bodies at rest."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import numpy as np

from armcarry.clearance.gjk import gjk
from armcarry.clearance.jit import entry, source_digest

_DIGEST = source_digest()


def _make(digest):
    @entry
    def measure(form, size, verts, pose, pairs, tolerance):
        """Return bounds (N, P, 2) and nearest points (N, P, 6) of pairs at poses (N, B, 12)."""
        count = pose.shape[0] if digest else 0
        bounds = np.empty((count, pairs.shape[0], 2))
        points = np.empty((count, pairs.shape[0], 6))
        work = np.empty((5, 6))
        out = np.empty(9)
        for n in range(count):
            rows = pose[n]
            for p in range(pairs.shape[0]):
                a, b = pairs[p, 0], pairs[p, 1]
                x, y, z = rows[b, 9] - rows[a, 9], rows[b, 10] - rows[a, 10], rows[b, 11] - rows[a, 11]
                if x == 0.0 and y == 0.0 and z == 0.0:
                    x = 1.0
                low, high = gjk(
                    form, size, verts, a, b, rows, a, b, x, y, z, tolerance, np.inf, work, out
                )
                bounds[n, p, 0], bounds[n, p, 1] = low, high
                points[n, p, :] = out[3:]
        return bounds, points

    return measure


measure = _make(_DIGEST)
