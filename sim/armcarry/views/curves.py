"""Parts and thinner forms of a clearance curve that are still proven bands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armcarry.record.record import Curve


def within(curve: Curve, start_s: float, end_s: float) -> Curve | None:
    """Return the cells of a curve that meet a window, None when there is none."""
    inside = np.flatnonzero((curve.times_s[1:] > start_s) & (curve.times_s[:-1] < end_s))
    if not inside.size:
        return None
    first, last = int(inside[0]), int(inside[-1]) + 1
    return replace(
        curve, times_s=curve.times_s[first : last + 1], lower_m=curve.lower_m[first:last],
        upper_m=curve.upper_m[first:last],
    )


def thinned(curve: Curve, cells: int) -> Curve:
    """Return a curve in at most so many cells.

    Cells are joined to the least lower and the least upper bound in them: still a proven band of the least
    distance over the joined cell.
    """
    count = len(curve.lower_m)
    edges = np.unique(np.linspace(0, count, min(cells, count) + 1).astype(int))
    return replace(
        curve, times_s=curve.times_s[edges], lower_m=np.minimum.reduceat(curve.lower_m, edges[:-1]),
        upper_m=np.minimum.reduceat(curve.upper_m, edges[:-1]),
    )
