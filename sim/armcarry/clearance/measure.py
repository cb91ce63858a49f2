"""Kernel by address: the distance of the pair in hand at one instant."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.bend import row_of
from armcarry.clearance.book import (
    BODY,
    FORM,
    OUT,
    PLANE,
    POSE,
    SIZE,
    TALLY,
    VERTS,
    WORK,
    real1,
    real2,
    whole1,
    whole2,
)
from armcarry.clearance.gjk import gjk
from armcarry.clearance.jit import by_address, kernel, source_digest
from armcarry.clearance.planes import set_plane
from armcarry.clearance.pool import GJKS


@kernel
def _measure(book, ma, mb, n, tolerance, cap):
    """Run GJK at node n from its guessed plane; return the upper bound, points left in OUT."""
    plane, out, bodies = real2(book, PLANE), real1(book, OUT), whole1(book, BODY)
    whole1(book, TALLY)[GJKS] += 1
    exact = np.int64(1)
    low, high = gjk(
        whole2(book, FORM), real2(book, SIZE), real2(book, VERTS), bodies[ma], bodies[mb], real2(book, POSE),
        row_of(book, ma, n), row_of(book, mb, n), plane[n, 1], plane[n, 2], plane[n, 3], tolerance, cap,
        real2(book, WORK), out,
    )  # fmt: skip
    if low > -math.inf:
        set_plane(book, n, low, out[0], out[1], out[2], exact)
    else:
        set_plane(book, n, low, plane[n, 1], plane[n, 2], plane[n, 3], exact)
    return high


def _make(digest):
    @by_address("float64", 3, 2)
    def measure(book, ma, mb, n, tolerance, cap):
        """Stand for _measure."""
        return _measure(book, ma, mb, n, tolerance, cap) if digest else math.inf

    return measure


measure = _make(source_digest())
