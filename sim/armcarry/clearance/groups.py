"""The least distance of whole groups of pairs over a motion, cheaper than of every pair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.arguments import interval
from armcarry.clearance.distance import CONTACT_M
from armcarry.clearance.polynomials import load
from armcarry.clearance.prover import Prover
from armcarry.clearance.solids import PAD_M
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion


@dataclass(frozen=True, eq=False)
class GroupBounds:
    """Bounds of the least distance over all pairs of each of G groups.

    Attributes:
        lower_m: (G,) proven; -inf where a pair touches or nothing could be proven; inf for a group without pairs.
        upper_m: (G,) reached at ``time_s``; 0 at contact; inf where all was proven beyond the report distance.
        time_s: (G,) nan where there is none.
        pair: (G,) the caller's row of the pair, -1 for none.
    """

    lower_m: Array
    upper_m: Array
    time_s: Array
    pair: np.ndarray


def least_of_groups(
    prover: Prover,
    motion: Motion,
    groups: Sequence[int] | np.ndarray | None = None,
    *,
    report_distance_m: float = 3.0,
    tolerance_m: float = 1e-3,
    start_s: float | None = None,
    end_s: float | None = None,
) -> GroupBounds:
    """Bound the least distance of groups of pairs at every instant of a motion.

    Args:
        prover: the tree and P pairs.
        motion: as for prove_clearance.
        groups: (P,) group of each pair, 0 to G-1; one group of all by default.
        report_distance_m: nothing is refined beyond a proof of this distance.
        tolerance_m: wanted gap between the bounds of a group.
        start_s, end_s: part of the motion, all of it by default.

    Raises:
        MotionError: a needed joint is missing or jumps, or the interval is not inside the motion.
    """
    from armcarry.clearance.grouped import grouped

    start, end = interval(motion, start_s, end_s)
    order, pairs = prover.layout.order, prover.layout.pairs
    of_pair = np.zeros(len(pairs), dtype=np.int64) if groups is None else np.asarray(groups, dtype=np.int64)
    in_order = np.ascontiguousarray(of_pair[order])
    table = np.empty((int(of_pair.max(initial=0)) + 1, 4))
    prover.run(
        load(prover.layout, motion, start, end),
        lambda book: grouped(
            book, pairs, in_order, start, end, tolerance_m - 2 * PAD_M, report_distance_m + PAD_M, table
        ),
    )
    rows = table[:, 3].astype(np.int64)
    contact = table[:, 1] <= CONTACT_M
    return GroupBounds(
        np.where(contact | np.isneginf(table[:, 0]), -np.inf, np.maximum(table[:, 0] - PAD_M, 0.0)),
        np.where(contact, 0.0, table[:, 1]),
        table[:, 2],
        np.where(rows >= 0, order[np.maximum(rows, 0)] if len(order) else rows, -1),
    )
