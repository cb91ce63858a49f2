"""Kernel entry: distances of bodies at rest."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.book import (
    ANSWER,
    FORM,
    GJK,
    OUT,
    PAGE_COUNT,
    POSE,
    SIZE,
    VERTS,
    WORK,
    real1,
    real2,
    write_page,
)
from armcarry.clearance.jit import entry, source_digest
from armcarry.clearance.measure import gjk_by_address, measure_rows
from armcarry.geometry.poses import Array


def _make(digest):
    @entry
    def measure_all(book, pairs, bodies, tolerance, bounds, points):
        """Fill bounds (N, P, 2) and nearest points (N, P, 6) of pairs; body b of set n is row n bodies + b."""
        pose, out = real2(book, POSE), real1(book, OUT)
        for n in range(bounds.shape[0] if digest else 0):
            for p in range(pairs.shape[0]):
                a, b = pairs[p, 0], pairs[p, 1]
                i, j = n * bodies + a, n * bodies + b
                x, y, z = pose[j, 9] - pose[i, 9], pose[j, 10] - pose[i, 10], pose[j, 11] - pose[i, 11]
                if x == 0.0 and y == 0.0 and z == 0.0:
                    x = 1.0
                bounds[n, p, 0], bounds[n, p, 1] = measure_rows(book, a, b, i, j, x, y, z, tolerance, math.inf)
                for c in range(6):
                    points[n, p, c] = out[3 + c]

    return measure_all


_measure_all = _make(source_digest())


def measure(
    form: np.ndarray, size: Array, verts: Array, pose: Array, pairs: np.ndarray, tolerance: float
) -> tuple[Array, Array]:
    """Return bounds (N, P, 2) and nearest points (N, P, 6) of pairs (P, 2) at poses (N, B, 12)."""
    work, out, answer = np.empty((5, 6)), np.empty(9), np.empty(4)
    rows = np.ascontiguousarray(pose).reshape(-1, 12)
    book = np.zeros((PAGE_COUNT, 4), np.int64)
    pages = ((FORM, form), (SIZE, size), (VERTS, verts), (POSE, rows), (WORK, work), (OUT, out),
             (ANSWER, answer))  # fmt: skip
    for page, array in pages:
        write_page(book, page, array)
    book[GJK, 0] = gjk_by_address.address
    bounds, points = np.empty((len(pose), len(pairs), 2)), np.empty((len(pose), len(pairs), 6))
    _measure_all(book.ctypes.data, pairs, pose.shape[1], tolerance, bounds, points)
    return bounds, points
