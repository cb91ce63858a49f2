"""Proven clearance of moving convex bodies: the public call, and the prover that keeps what it prepared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from armcarry.clearance.arguments import asked_pairs, asked_report, asked_tolerance, interval
from armcarry.clearance.frames import Layout, lay_out
from armcarry.clearance.polynomials import Curves, load
from armcarry.clearance.pool import MOST_BYTES, Held, Pool, most_nodes
from armcarry.clearance.solids import PAD_M
from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

PROVEN, FARTHER, CONTACT, UNRESOLVED = "proven", "farther", "contact", "unresolved"
#: a motion whose proof does not fit into working memory is proven in parts, at most this many cuts
MOST_CUTS = 32


@dataclass(frozen=True, eq=False)
class ClearanceBounds:
    """Bounds of the least distance of every pair over a motion, P pairs in the caller's order.

    Attributes:
        pairs: (P, 2) body rows.
        lower_m: proven at every instant; -inf at contact and where nothing is proven.
        upper_m: distance at ``time_s``; inf where a pair proved farther was never measured; 0 at contact.
        time_s: instant of the upper bound, nan where there is none.
        point_a, point_b: (P, 3) nearest points then, world frame; one common point at contact; nan where the
            motion lacks a joint above both bodies, for the world is not known then.
        status: (P,) 'proven' (upper - lower within the tolerance), 'farther' (lower is at least the report
            distance), 'contact', or 'unresolved': the proof was given up, because time, a floating-point number,
            could not be cut finely enough for so fast a motion. Contact is then not ruled out.
        contact_s: (P, 2) first interval of contact: proven free before its start; nan without contact.
        measured: how many distances were computed in all.
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

    @cached_property
    def nearest(self) -> int:
        """Row of the tightest pair: contact first, then the least lower bound; -1 without pairs."""
        return int(np.argmin(self.lower_m)) if len(self.lower_m) else -1


class PoolFullError(MotionError):
    """Report a motion whose proof needs more working memory than is ever taken."""

    def __init__(self) -> None:
        super().__init__(
            f"the proof of this motion does not fit into {MOST_BYTES // 2**20} MiB: its joints turn too often, or "
            "bodies stay too near each other for too long; prove it in shorter parts (start_s, end_s), with a larger "
            "tolerance_m, or with a smaller report_distance_m"
        )


class Prover:
    """A tree and its pairs, prepared once, for proving many motions.

    Args:
        tree: frames, joints and bodies.
        pairs: (P, 2) rows into ``tree.bodies``.
        layout: made already, for bodies that are not in the tree as well.

    Raises:
        InputError: pairs that are not two different whole numbers each.
        FrameError: a pair names a body row that the tree does not have.
    """

    def __init__(
        self, tree: Tree, pairs: Sequence[tuple[int, int]] | np.ndarray, layout: Layout | None = None
    ) -> None:
        self.tree = tree
        self.pairs = asked_pairs(pairs)
        self.layout: Layout = lay_out(tree, self.pairs) if layout is None else layout
        self._pools = Held()
        self._nodes = 512

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
        points: bool = True,
    ) -> ClearanceBounds:
        """Prove the clearance of every pair over a motion; see prove_clearance. Without points these are nan."""
        span = interval(motion, start_s, end_s)
        tolerance, report = asked_tolerance(tolerance_m), asked_report(report_distance_m, len(self.pairs))
        table, measured = self._prove(motion, span, tolerance, report[self.layout.order])
        if points:
            self._to_world(motion, table)
        else:
            table[:, 3:9] = np.nan
        back = np.empty_like(self.layout.order)
        back[self.layout.order] = np.arange(len(back))
        return _result(self.pairs, table[back], tolerance, report, measured)

    def _prove(
        self, motion: Motion, span: tuple[float, float], tolerance_m: float, report_m: Array
    ) -> tuple[Array, int]:
        """Fill the table of the kernel, pairs in visiting order, in parts where the whole does not fit."""
        waiting, table, measured, cuts = [span], np.zeros((0, 11)), 0, 0
        while waiting:
            start, end = waiting.pop()
            part = np.empty((len(self.pairs), 11))
            asked = (_left_to_ask(table, start, report_m, tolerance_m) if len(table) else report_m) + PAD_M
            try:
                pool = self.run(
                    load(self.layout, motion, start, end),
                    lambda book, at=(start, end), into=(asked, part): _kernels().prove(  # type: ignore[misc]
                        book, self.layout.pairs, *at, tolerance_m - 2 * PAD_M, *into
                    ),
                )
            except PoolFullError:
                cuts, middle = cuts + 1, 0.5 * (start + end)
                if cuts > MOST_CUTS or not start < middle < end:
                    raise
                waiting += [(middle, end), (start, middle)]
                continue
            measured += pool.measured
            table = _joined(table, part, start) if len(table) else part
        return table, measured

    def _to_world(self, motion: Motion, table: Array) -> None:
        """Take the nearest points of the table, seen from the base of each pair, to the world."""
        rows = np.flatnonzero((self.layout.movers.base[self.layout.pairs[:, 0]] >= 0) & ~np.isnan(table[:, 2]))
        if not len(rows):
            return
        column = {name: k for k, name in enumerate(motion.joints)}
        known = [(frame, column[name]) for frame, name in enumerate(self.layout.joints) if name in column]
        q = np.full((len(rows), len(self.layout.joints)), np.nan)
        frames, columns = (list(part) for part in zip(*known, strict=True))
        q[:, frames] = motion.at(table[rows, 2])[:, columns]
        table[rows, 3:9] = self.layout.base_points(rows, q, table[rows, 3:9].reshape(-1, 2, 3)).reshape(-1, 6)

    def run(self, curves: Curves, kernel: Callable[[int], int]) -> Pool:
        """Run a kernel entry on a motion, with larger working memory until it fits, and return the memory.

        Raises:
            PoolFullError: it does not fit into as much as is ever taken.
        """
        larger = False
        while True:
            pool = self._pool(curves.poly.shape[2] - 1, larger)
            if kernel(pool.set_motion(curves)):
                return pool
            larger = True

    def _pool(self, degree: int, larger: bool) -> Pool:
        if larger:
            most = most_nodes(self.layout)
            if self._nodes >= most:
                raise PoolFullError
            self._nodes = min(2 * self._nodes, most)
            self._pools.clear()
        return self._pools.get(degree, lambda: Pool(self.layout, degree, self._nodes))


def _left_to_ask(table: Array, start_s: float, report_m: Array, tolerance_m: float) -> Array:
    """Return up to which distance each pair matters from start_s on, after what the table has of it before."""
    best = np.maximum(table[:, 1], 0.0)  # below 0 at contact
    asked = np.minimum(report_m, best - np.minimum(tolerance_m, 0.5 * best))
    contact = ~np.isnan(table[:, 9])
    return np.where(contact, np.where(table[:, 10] >= start_s, report_m, -np.inf), asked)


def _joined(before: Array, after: Array, at_s: float) -> Array:
    """Join the tables of two parts that meet at an instant."""
    table = np.where((after[:, 1] < before[:, 1])[:, None], after, before)
    table[:, 0] = np.minimum(before[:, 0], after[:, 0])
    table[:, 9:] = np.where(np.isnan(before[:, 9:10]), after[:, 9:], before[:, 9:])
    goes_on = (before[:, 10] >= at_s) & (after[:, 9] <= at_s)
    table[goes_on, 10] = after[goes_on, 10]
    return table


def _result(pairs: np.ndarray, table: Array, tolerance_m: float, report_m: Array, measured: int) -> ClearanceBounds:
    contact = ~np.isnan(table[:, 9])
    lower = np.where(contact | np.isneginf(table[:, 0]), -np.inf, np.maximum(table[:, 0] - PAD_M, 0.0))
    upper = np.where(contact, 0.0, table[:, 1])
    farther = ~contact & (lower >= report_m)
    # what was promised is looked at here, whatever the search did
    kept = upper <= np.maximum(lower, 0.0) + tolerance_m + PAD_M
    status = np.select([contact, farther, np.isfinite(lower) & kept], [CONTACT, FARTHER, PROVEN], UNRESOLVED)
    return ClearanceBounds(
        pairs, lower, upper, table[:, 2], table[:, 3:6], table[:, 6:9], status, table[:, 9:11], measured
    )


def _kernels() -> Any:
    """Import the compiled kernels when first needed: numba takes a third of a second."""
    from armcarry.clearance import prove

    return prove


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
        InputError: pairs that are no rows, or a tolerance or report distance that cannot be kept.
        MotionError: a needed joint is missing, jumps or turns too often, or the interval is not inside the motion.

    Example:
        >>> bounds = prove_clearance(tree, motion, pairs_that_move(tree, motion))  # doctest: +SKIP
        >>> bounds.lower_m.min(), bounds.time_s[bounds.nearest]  # doctest: +SKIP
    """
    return Prover(tree, pairs).bounds(
        motion, report_distance_m=report_distance_m, tolerance_m=tolerance_m, start_s=start_s, end_s=end_s
    )
