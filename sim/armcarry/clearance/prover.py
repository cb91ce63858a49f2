"""Proven clearance of moving convex bodies: the public call, and the prover that keeps what it prepared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from armcarry.clearance.distance import PAD_M
from armcarry.clearance.frames import Layout, lay_out
from armcarry.clearance.polynomials import Curves, load
from armcarry.clearance.pool import Pool
from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

PROVEN, FARTHER, CONTACT = "proven", "farther", "contact"


@dataclass(frozen=True, eq=False)
class ClearanceBounds:
    """Bounds of the least distance of every pair over a motion, P pairs in the caller's order.

    Attributes:
        pairs: (P, 2) body rows.
        lower_m: proven at every instant; -inf at contact.
        upper_m: distance at ``time_s``; inf where a pair proved farther was never measured; 0 at contact.
        time_s: instant of the upper bound, nan where there is none.
        point_a, point_b: (P, 3) nearest points then, world frame; one common point at contact.
        status: (P,) 'proven' (upper - lower within the tolerance), 'farther' (lower is at least the report
            distance) or 'contact'.
        contact_s: (P, 2) first interval of contact: proven free before its start; nan without contact.
        measured: how many distances were computed in all.
        loose: cells accepted wider than the tolerance because time could not be split further; 0 in practice.
    """

    pairs: np.ndarray
    lower_m: Array
    upper_m: Array
    time_s: Array
    point_a: Array
    point_b: Array
    status: np.ndarray
    contact_s: Array
    measured: int
    loose: int

    @cached_property
    def nearest(self) -> int:
        """Row of the tightest pair: contact first, then the least lower bound; -1 without pairs."""
        return int(np.argmin(self.lower_m)) if len(self.lower_m) else -1


class Prover:
    """A tree and its pairs, prepared once, for proving many motions.

    Args:
        tree: frames, joints and bodies.
        pairs: (P, 2) rows into ``tree.bodies``.
        layout: made already, for bodies that are not in the tree as well.

    Raises:
        FrameError: a pair names a body row that the tree does not have.
    """

    def __init__(
        self, tree: Tree, pairs: Sequence[tuple[int, int]] | np.ndarray, layout: Layout | None = None
    ) -> None:
        self.tree = tree
        self.pairs = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
        self.layout: Layout = lay_out(tree, self.pairs) if layout is None else layout
        self._pools: dict[int, Pool] = {}
        self._nodes = 4096

    def start_small(self) -> None:
        """Begin with little working memory: for very many bodies that move."""
        self._nodes = 256

    def let_go(self) -> None:
        """Give back the working memory; the next motion takes new one."""
        self._pools.clear()

    def bounds(
        self,
        motion: Motion,
        *,
        report_distance_m: float | Array = 3.0,
        tolerance_m: float = 1e-3,
        start_s: float | None = None,
        end_s: float | None = None,
    ) -> ClearanceBounds:
        """Prove the clearance of every pair over a motion; see prove_clearance."""
        start, end = interval(motion, start_s, end_s)
        if tolerance_m < 10 * PAD_M:
            raise ValueError(f"tolerance of {tolerance_m:g} m is below what rounding allows, {10 * PAD_M:g} m")
        report = np.broadcast_to(np.asarray(report_distance_m, dtype=float), len(self.pairs))
        table = np.empty((len(self.pairs), 11))
        asked = (report[self.layout.order] + PAD_M, table)
        pool = self.run(
            load(self.layout, motion, start, end),
            lambda book: _kernels().prove(book, self.layout.pairs, start, end, tolerance_m - 2 * PAD_M, *asked),
        )
        return self._result(table, pool, report)

    def run(self, curves: Curves, kernel: Callable[[int], int]) -> Pool:
        """Run a kernel entry on a motion, with larger working memory until it fits, and return the memory."""
        larger = False
        while True:
            pool = self._pool(curves.poly.shape[2] - 1, larger)
            if kernel(pool.set_motion(curves)):
                return pool
            larger = True

    def _pool(self, degree: int, larger: bool) -> Pool:
        if larger:
            self._nodes *= 2
            self._pools.clear()
        if degree not in self._pools:
            self._pools[degree] = Pool(self.layout, degree, self._nodes)
        return self._pools[degree]

    def _result(self, table: Array, pool: Pool, report_m: Array) -> ClearanceBounds:
        from armcarry.clearance.book import GJKS, LOOSE

        back = np.empty_like(self.layout.order)
        back[self.layout.order] = np.arange(len(back))
        table = table[back]
        contact = ~np.isnan(table[:, 9])
        lower = np.where(contact, -np.inf, np.maximum(table[:, 0] - PAD_M, 0.0))
        farther = ~contact & (lower >= report_m)
        return ClearanceBounds(
            self.pairs, lower, np.where(contact, 0.0, table[:, 1]), table[:, 2], table[:, 3:6], table[:, 6:9],
            np.where(contact, CONTACT, np.where(farther, FARTHER, PROVEN)), table[:, 9:11],
            int(pool.tally[GJKS]), int(pool.tally[LOOSE]),
        )  # fmt: skip


def _kernels() -> Any:
    """Import the compiled kernels when first needed: numba takes a third of a second."""
    from armcarry.clearance import prove

    return prove


def interval(motion: Motion, start_s: float | None, end_s: float | None) -> tuple[float, float]:
    """Return the asked interval, the whole motion by default. Raises MotionError where it is not inside."""
    start = motion.start_s if start_s is None else float(start_s)
    end = motion.end_s if end_s is None else float(end_s)
    if not motion.start_s <= start < end <= motion.end_s:
        raise MotionError(
            f"{start:g} to {end:g} s is not an interval inside {motion.start_s:g} to {motion.end_s:g} s"
        )
    return start, end


def prove_clearance(
    tree: Tree,
    motion: Motion,
    pairs: Sequence[tuple[int, int]] | np.ndarray,
    *,
    report_distance_m: float | Array = 3.0,
    tolerance_m: float = 1e-3,
    start_s: float | None = None,
    end_s: float | None = None,
) -> ClearanceBounds:
    """Prove how close pairs of convex bodies come, at every instant of a motion, not only at samples.

    Works for any tree of revolute and prismatic joints and any convex bodies on it; no scenario is needed.

    Args:
        tree: frames, joints and bodies.
        motion: every joint that lies between the bodies of some pair, as piecewise polynomials. It must be
            continuous; prove the parts on either side of a jump (an attach or detach) on their own.
        pairs: (P, 2) rows into ``tree.bodies``; see pairs_that_move.
        report_distance_m: pairs proven at least this far apart are not refined further; inf to measure all.
            One number, or one a pair (P,).
        tolerance_m: wanted gap between upper and lower bound where the least distance is below that.
        start_s, end_s: part of the motion to judge, all of it by default.

    Returns:
        ClearanceBounds, one row a pair in the given order. For every instant t of the interval,
        ``distance(t) >= lower_m``; rounding is covered by 1e-6 m.

    Raises:
        FrameError: a pair names a body row that the tree does not have.
        MotionError: a needed joint is missing or jumps, or the interval is not inside the motion.
        ValueError: the tolerance is below what rounding allows.

    Example:
        >>> bounds = prove_clearance(tree, motion, pairs_that_move(tree, motion))  # doctest: +SKIP
        >>> bounds.lower_m.min(), bounds.time_s[bounds.nearest]  # doctest: +SKIP
    """
    return Prover(tree, pairs).bounds(
        motion, report_distance_m=report_distance_m, tolerance_m=tolerance_m, start_s=start_s, end_s=end_s
    )
