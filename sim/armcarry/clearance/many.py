"""Proof of clearance for many short arcs at once, each standing for all motions within a slack of it.

What-if questions ask it: the run-outs after a stop at any instant, a joint that runs away at any instant.
Arcs are started at chosen instants; the slack of an arc covers those started in between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from armcarry.clearance.polynomials import Curves, bernstein_matrix
from armcarry.clearance.prover import Prover
from armcarry.clearance.solids import PAD_M
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion


@dataclass(frozen=True, eq=False)
class Arcs:
    """N short motions of A joints, all others at rest.

    Attributes:
        joints: full names of the A joints that move.
        base: (N, n) whole joint vectors of the tree, for those at rest.
        breaks: (N, K+1) strictly increasing, s or any other parameter.
        coefficients: (N, K, D+1, A) ascending powers of the parameter since the start of each piece.
        until: (N,) where each arc ends, after its start and at most at its last break.
        slack: (N, n) how far each joint of the tree may be from the arc, at every parameter.
    """

    joints: tuple[str, ...]
    base: Array
    breaks: Array
    coefficients: Array
    until: Array
    slack: Array

    def __len__(self) -> int:
        return len(self.base)

    def take(self, rows: np.ndarray) -> Arcs:
        """Return some of the arcs."""
        return replace(
            self, base=self.base[rows], breaks=self.breaks[rows], coefficients=self.coefficients[rows],
            until=self.until[rows], slack=self.slack[rows],
        )  # fmt: skip

    def without_slack(self) -> Arcs:
        """Return the arcs alone."""
        return replace(self, slack=np.zeros_like(self.slack))

    def motion(self, row: int, joints: tuple[str, ...]) -> Motion:
        """Return one arc as a motion of all joints of the tree, in the order of ``joints``."""
        table = np.zeros((*self.coefficients.shape[1:3], len(joints)))
        table[:, 0] = self.base[row]
        table[:, :, [joints.index(name) for name in self.joints]] = self.coefficients[row]
        return Motion(joints, self.breaks[row], table)


@dataclass(frozen=True, eq=False)
class Margins:
    """Distance beyond what is asked, least over all pairs, one row an arc.

    Attributes:
        lower_m: (N,) proven for every motion within the slack, at most ``enough_m``; -inf where given up.
        reached_m: (N,) on the arc itself, at ``at``; inf where every pair was proven to have enough.
        pair: (N,) row of the pair, -1 for none.
        at: (N,) parameter, nan for none.
        pad_m: (N,) how far the slack lets the pair's bodies move, together.
    """

    lower_m: Array
    reached_m: Array
    pair: np.ndarray
    at: Array
    pad_m: Array


@dataclass(frozen=True, eq=False)
class Lists:
    """Lists of pairs that matter: list l is ``rows[offsets[l]:offsets[l+1]]``, rows in the kernels' order."""

    rows: np.ndarray
    offsets: np.ndarray

    @property
    def counts(self) -> np.ndarray:
        """Number of pairs of each list."""
        return np.diff(self.offsets)

    @staticmethod
    def every(prover: Prover) -> Lists:
        """Return one list of all pairs."""
        count = len(prover.pairs)
        return Lists(np.arange(count), np.array([0, count]))


def near_pairs(prover: Prover, arcs: Arcs, asked_m: Array, extra: Array, *, enough_m: float) -> Lists:
    """List the pairs that may have less than enough to spare, for every arc with its slack.

    Args:
        prover, arcs, asked_m: as for least_margins.
        extra: (N, n) besides the slack, any one joint may be off by up to this.
        enough_m: pairs proven to have this much to spare are not listed.

    Returns:
        One list an arc.
    """
    found = np.zeros((len(arcs), len(prover.pairs)), dtype=np.int64)
    order = prover.layout.order
    column = _columns(prover)
    _run(
        prover, arcs,
        lambda kernels, book, inputs, scratch: kernels.near_pairs(
            book, prover.layout.pairs, asked_m[order] + PAD_M, *inputs, np.ascontiguousarray(extra[:, column]),
            enough_m, scratch, found,
        ),
    )  # fmt: skip
    offsets = np.append(0, np.cumsum(found.sum(axis=1)))
    return Lists(np.ascontiguousarray(np.nonzero(found)[1]), offsets)


def least_margins(
    prover: Prover, arcs: Arcs, asked_m: Array, *, tolerance_m: float = 5e-3, enough_m: float = 1.0,
    give_up_m: float = -np.inf, lists: Lists | None = None, which: np.ndarray | None = None,
) -> Margins:
    """Bound, for every arc and its slack, the least distance beyond what is asked of each pair.

    A pair that touches counts as at distance 0.

    Args:
        prover: tree and P pairs.
        arcs: what moves.
        asked_m: (P,) of each pair; nan leaves it out.
        tolerance_m: wanted gap between lower bound and what is reached less the pad.
        enough_m: pairs with this much to spare are not looked at further.
        give_up_m: an arc on which this is not kept is not looked at further; nothing is then proven of it.
        lists, which: pairs that matter, and the list of each arc (N,); all pairs when left out.
    """
    table = np.empty((len(arcs), 5))
    order = prover.layout.order
    chosen = _chosen(prover, arcs, lists, which)
    _run(
        prover, arcs,
        lambda kernels, book, inputs, scratch: kernels.least_margins(
            book, prover.layout.pairs, asked_m[order] + PAD_M, *inputs, *chosen, tolerance_m, enough_m, give_up_m,
            scratch, table,
        ),
    )  # fmt: skip
    return Margins(table[:, 0], table[:, 1] + PAD_M, _named(order, table[:, 2]), table[:, 3], table[:, 4])


def free_until(
    prover: Prover, arcs: Arcs, asked_m: Array, *, resolution: float, limit: Array | None = None,
    lists: Lists | None = None, which: np.ndarray | None = None,
) -> tuple[Array, np.ndarray]:
    """Find up to which parameter every arc and its slack is proven to keep what is asked of each pair.

    Args:
        prover, arcs, asked_m, lists, which: as for least_margins.
        resolution: how exactly the parameter is found; the answer is never too large.
        limit: (N,) beyond which nobody asks; the ends of the arcs when left out.

    Returns:
        (N,) the parameter, the end of the arc (or the limit) where all of it is kept; (N,) row of the pair
        that ends it, -1 for none.
    """
    table = np.empty((len(arcs), 2))
    order = prover.layout.order
    chosen = _chosen(prover, arcs, lists, which)
    most = np.full(len(arcs), np.inf) if limit is None else np.asarray(limit, dtype=float)
    _run(
        prover, arcs,
        lambda kernels, book, inputs, scratch: kernels.free_until(
            book, prover.layout.pairs, asked_m[order] + PAD_M, *inputs, *chosen, resolution, most, scratch, table
        ),
    )  # fmt: skip
    return table[:, 0], _named(order, table[:, 1])


def _chosen(prover: Prover, arcs: Arcs, lists: Lists | None, which: np.ndarray | None) -> tuple[np.ndarray, ...]:
    if lists is None or which is None:
        lists, which = Lists.every(prover), np.zeros(len(arcs), dtype=np.int64)
    return lists.rows, lists.offsets, np.ascontiguousarray(which)


def _columns(prover: Prover) -> np.ndarray:
    """Return the tree's column of every frame of the layout."""
    where = {name: k for k, name in enumerate(prover.tree.joints)}
    return np.array([where[name] for name in prover.layout.joints], dtype=np.int64)


def _named(order: np.ndarray, rows: Array) -> np.ndarray:
    """Return the caller's rows of pairs for the kernel's."""
    found = rows.astype(np.int64)
    return np.where(found >= 0, order[np.maximum(found, 0)] if len(order) else found, -1)


def _run(
    prover: Prover, arcs: Arcs, call: Callable[[Any, int, tuple[np.ndarray, ...], tuple[np.ndarray, ...]], int]
) -> None:
    from armcarry.clearance import tubes

    if not len(arcs):
        return
    layout = prover.layout
    column = _columns(prover)
    moving = np.array([layout.joints.index(name) for name in arcs.joints], dtype=np.int64)
    pieces, powers = arcs.coefficients.shape[1:3]
    frames = len(column)
    blank = Curves(
        np.arange(pieces + 1, dtype=float), np.zeros((pieces, frames, powers)),
        np.zeros((pieces, frames), dtype=np.int64), np.zeros((pieces, frames)), np.zeros(pieces),
        bernstein_matrix(powers - 1),
    )  # fmt: skip
    inputs = (
        np.ascontiguousarray(arcs.base[:, column]), moving, np.ascontiguousarray(arcs.breaks),
        np.ascontiguousarray(np.swapaxes(arcs.coefficients, 2, 3)), np.ascontiguousarray(arcs.until),
        np.ascontiguousarray(arcs.slack[:, column]),
    )  # fmt: skip
    pads = np.zeros(len(layout.movers.body))

    def entry(book: int) -> int:
        # a pool numbers its arcs from where it stands; nothing is lined up yet
        return call(tubes, book, inputs, (pads, np.full(len(pads), -1), np.empty((len(pads), 6))))

    prover.run(blank, entry)
