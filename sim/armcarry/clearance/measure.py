"""Kernel by address: the distance of two bodies at two rows of POSE."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

from armcarry.clearance.book import ANSWER, FORM, GJK, OUT, POSE, SIZE, VERTS, WORK, call_real, real1, real2, whole2
from armcarry.clearance.gjk import gjk
from armcarry.clearance.jit import by_address, inlined, source_digest


def _make(digest):
    @by_address("float64", 4, 5)
    def gjk_by_address(book, a, b, ra, rb, x, y, z, tolerance, cap):
        """Bound the distance of bodies a, b at rows ra, rb from direction (x, y, z): see measure_rows."""
        low, high = gjk(
            whole2(book, FORM), real2(book, SIZE), real2(book, VERTS), a, b, real2(book, POSE), ra, rb, x, y, z,
            tolerance if digest else 0.0, cap, real2(book, WORK), real1(book, OUT),
        )  # fmt: skip
        real1(book, ANSWER)[0] = high
        return low

    return gjk_by_address


gjk_by_address = _make(source_digest())


@inlined
def measure_rows(book, a, b, ra, rb, x, y, z, tolerance, cap):
    """Return lower and upper bound of the distance, direction and nearest points left in OUT: see gjk."""
    low = call_real(book, GJK, (a, b, ra, rb), (x, y, z, tolerance, cap))
    return low, real1(book, ANSWER)[0]
