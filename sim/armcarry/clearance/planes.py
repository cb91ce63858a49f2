"""Parting planes of the pair in hand at the instants of the time tree."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np

from armcarry.clearance.bend import row_of
from armcarry.clearance.book import (
    BODY,
    FORM,
    GAP,
    PLANE,
    PLANE_TAG,
    POSE,
    SERIAL,
    SIZE,
    TALLY,
    VERTS,
    call_real,
    real2,
    whole1,
    whole2,
)
from armcarry.clearance.jit import by_address, inlined, kernel, source_digest
from armcarry.clearance.support import plane_gap


@inlined
def set_plane(book, n, gap, x, y, z, exact):
    """Give node n of the pair in hand a slab width and direction; exact is 1 where GJK made it."""
    plane, tags = real2(book, PLANE), whole1(book, PLANE_TAG)
    plane[n, 0], plane[n, 1], plane[n, 2], plane[n, 3] = gap, x, y, z
    tags[n] = 2 * whole1(book, TALLY)[SERIAL] + exact


@inlined
def known(book, n):
    """Tell whether node n has a plane for the pair in hand."""
    return whole1(book, PLANE_TAG)[n] >= 2 * whole1(book, TALLY)[SERIAL]


@inlined
def measured(book, n):
    """Tell whether GJK made the plane of node n for the pair in hand."""
    return whole1(book, PLANE_TAG)[n] == 2 * whole1(book, TALLY)[SERIAL] + 1


def _make(digest):
    @by_address("float64", 3, 3)
    def gap_by_address(book, ma, mb, n, x, y, z):
        """Stand behind gap_at."""
        bodies = whole1(book, BODY)
        gap = plane_gap(
            whole2(book, FORM), real2(book, SIZE), real2(book, VERTS), bodies[ma], bodies[mb], real2(book, POSE),
            row_of(book, ma, n), row_of(book, mb, n), x, y, z,
        )  # fmt: skip
        return gap if digest else -math.inf

    return gap_by_address


gap_by_address = _make(source_digest())


@inlined
def gap_at(book, ma, mb, n, x, y, z):
    """Return the slab of movers ma, mb at node n across unit (x, y, z)."""
    return call_real(book, GAP, (ma, mb, n), (x, y, z))


@kernel
def guess_plane(book, ma, mb, n, x, y, z):
    """Give node n the slab across direction (x, y, z), normalised here; across the centres if that is 0."""
    length = math.sqrt(x * x + y * y + z * z)
    if length == 0.0:
        ra, rb, pose = row_of(book, ma, n), row_of(book, mb, n), real2(book, POSE)
        x, y, z = pose[rb, 9] - pose[ra, 9], pose[rb, 10] - pose[ra, 10], pose[rb, 11] - pose[ra, 11]
        length = math.sqrt(x * x + y * y + z * z)
        if length == 0.0:
            x, length = 1.0, 1.0
    x, y, z = x / length, y / length, z / length
    set_plane(book, n, gap_at(book, ma, mb, n, x, y, z), x, y, z, np.int64(0))
