"""Clearance against time with a proven band: the least distance of groups of pairs, cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.arguments import asked_report, asked_tolerance, interval
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.polynomials import load
from armcarry.clearance.prover import Prover
from armcarry.clearance.solids import PAD_M
from armcarry.errors import InputError, MotionError
from armcarry.geometry import checked
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

#: cells and groups of a curve at most, and both together: a day in tenths of a second, or what fits into memory
MOST_CELLS, MOST_GROUPS, MOST_BOTH = 1_000_000, 10_000, 20_000_000


@dataclass(frozen=True, eq=False)
class ClearanceCurve:
    """A proven band of the least distance over time, C cells and G groups.

    In cell k the least distance of the pairs of group g over [times_s[k], times_s[k+1]] lies between the bounds.

    Attributes:
        times_s: (C+1,) ends of the cells.
        lower_m: (G, C) proven; -inf where a pair of the group touches, or where time could not be cut finely enough
            to prove anything; inf for a group without pairs.
        upper_m: (G, C) reached at some instant of the cell, 0 at contact; inf where all pairs of the group were
            proven beyond the report distance without being measured.
        nearest: (G, C) row of the pair that reaches the upper bound, -1 for none.
    """

    times_s: Array
    lower_m: Array
    upper_m: Array
    nearest: np.ndarray


def clearance_curve(
    tree: Tree,
    motion: Motion,
    pairs: Sequence[tuple[int, int]] | np.ndarray | Prover,
    *,
    groups: Sequence[int] | np.ndarray | None = None,
    cells: int | Array = 400,
    band_m: float = 0.02,
    report_distance_m: float = np.inf,
    start_s: float | None = None,
    end_s: float | None = None,
) -> ClearanceCurve:
    """Bound the least distance of groups of pairs in every cell of time.

    Args:
        tree, motion: as for prove_clearance.
        pairs: (P, 2) rows into ``tree.bodies``, or a Prover made for them.
        groups: (P,) group number of each pair, 0 to G-1; one group by default.
        cells: number of equal cells, or their ends (C+1,) in s.
        band_m: wanted width of the band.
        report_distance_m: nothing is refined beyond a proof of this distance.
        start_s, end_s: part of the motion, all of it by default; not used where the cells' ends are given.

    Raises:
        FrameError: a pair names a body row that the tree does not have.
        InputError: cells, groups, a band or a report distance that mean nothing.
        MotionError: a needed joint is missing or jumps, or the cells are not increasing inside the motion.
    """
    from armcarry.clearance.along import along

    prover = pairs if isinstance(pairs, Prover) else Prover(tree, pairs)
    times = _cell_ends(motion, cells, start_s, end_s)
    count = len(prover.pairs)
    of_pair = _groups(groups, count)
    band, report = asked_tolerance(band_m), float(asked_report(report_distance_m, 1)[0])
    shape = (int(of_pair.max(initial=0)) + 1, len(times) - 1)
    if shape[0] * shape[1] > MOST_BOTH:
        found = f"{shape[0]} groups in {shape[1]} cells"
        raise InputError("a clearance curve too large to hold", found=found, accepted=f"{MOST_BOTH} in all")
    lower, upper, nearest = np.empty(shape), np.empty(shape), np.empty(shape, dtype=np.int64)
    order = prover.layout.order
    in_order = np.ascontiguousarray(of_pair[order])
    prover.run(
        load(prover.layout, motion, float(times[0]), float(times[-1])),
        lambda book: along(
            book, prover.layout.pairs, in_order, times, band - 2 * PAD_M, report + PAD_M, lower, upper,
            nearest,
        ),
    )  # fmt: skip
    contact = upper <= CONTACT_M
    named = np.where(nearest >= 0, order[np.maximum(nearest, 0)], -1) if count else nearest
    return ClearanceCurve(
        times,
        np.where(contact | np.isneginf(lower), -np.inf, np.maximum(lower - PAD_M, 0.0)),
        np.where(contact, 0.0, upper),
        np.where(np.isinf(upper), -1, named),
    )


def _cell_ends(motion: Motion, cells: object, start_s: float | None, end_s: float | None) -> Array:
    """Return the ends of the cells (C+1,). Raises MotionError unless they increase inside the motion."""
    if isinstance(cells, int | np.integer) and not isinstance(cells, bool):
        if not 1 <= cells <= MOST_CELLS:
            raise InputError("cells of a clearance curve", found=checked.told(cells), accepted=f"1 to {MOST_CELLS}")
        start, end = interval(motion, start_s, end_s)
        return np.linspace(start, end, int(cells) + 1)
    try:
        times = np.ascontiguousarray(cells, dtype=float)
    except (TypeError, ValueError, OverflowError):
        accepted = "a whole number, or the ends of the cells in seconds"
        raise InputError("cells of a clearance curve", found=checked.told(cells), accepted=accepted) from None
    if times.ndim != 1 or not 2 <= len(times) <= MOST_CELLS + 1 or not np.all(np.diff(times) > 0):
        raise MotionError(f"cells of a clearance curve need at least two increasing times, at most {MOST_CELLS + 1}")
    interval(motion, float(times[0]), float(times[-1]))
    return times


def _groups(groups: object, count: int) -> np.ndarray:
    """Return the group of every pair (P,). Raises InputError unless each is a whole number from 0 up."""
    if groups is None:
        return np.zeros(count, dtype=np.int64)
    try:
        given = np.asarray(groups)
        rows = np.where(np.abs(given) < 2**31, given, -1).astype(np.int64)  # nan compares false
    except (TypeError, ValueError, OverflowError):
        given, rows = np.zeros(0, dtype=object), np.zeros(0, dtype=np.int64)
    fits = given.dtype.kind in "iuf" and rows.shape == (count,) and np.array_equal(rows, given)
    if not fits or np.any((rows < 0) | (rows >= MOST_GROUPS)):
        accepted = f"a whole number from 0 to {MOST_GROUPS - 1} for each of {count} pairs"
        raise InputError("groups of a clearance curve", found=checked.told(groups), accepted=accepted)
    return rows
