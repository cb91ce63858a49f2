"""Margins over cells of time: how faults are refined, and what is kept of every cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.many import Lists, Margins
from armcarry.geometry.poses import Array
from armcarry.motion.bounds import taylor
from armcarry.motion.curve import Motion
from armcarry.motion.refine import settle

#: a pair with this much to spare beyond what must be left is not measured further, m
ENOUGH_M = 0.5
#: first cells of time are no longer than this where anything moves, s
ROOT_S = 4.0
#: cells of time are not halved below this, s
SHORTEST_S = 0.02
#: the time in which the arm brakes is looked at in so many parts
_PARTS = 8


@dataclass(frozen=True, eq=False)
class States:
    """Where the joints are in C cells of time, each inside one piece of the motion.

    Attributes:
        position, rate: (C, n) at the middle of each.
        stray, change: (C, n) by how much position and rate differ from that, at most, anywhere in the cell.
    """

    position: Array
    rate: Array
    stray: Array
    change: Array


def states(motion: Motion, starts: Array, ends: Array) -> States:
    """Bound the joints over cells of time."""
    middles, halves = (starts + ends) / 2, (ends - starts) / 2
    position, rate, most_rate, most_change = taylor(motion, middles, halves)
    return States(position, rate, most_rate * halves[:, None], most_change * halves[:, None])


def cover_others(slack: Array, motion: Motion, starts: Array, ends: Array, lasting_s: Array, arm: np.ndarray) -> None:
    """Widen the slack (C, n) of cells where the arm brakes, so that it covers what is not the arm until it stands.

    That goes on as commanded, at whatever rates it then has: from the beginning of a cell to the braking time (C,)
    after its end. Values jump where a thing is hung from another link, and only there; the thing itself stays where
    it is, so what counts is how far its joints get before and after that.
    """
    until_s, edges = ends + lasting_s, motion.breaks_s
    first = max(int(np.searchsorted(edges, starts.min(), side="right")) - 1, 0)
    last = max(int(np.searchsorted(edges, until_s.max(), side="left")), first + 1)
    others = np.setdiff1d(np.arange(slack.shape[1]), arm)
    others = others[np.any(motion.coefficients[first:last, 1:, others] != 0.0, axis=(0, 1))]
    if len(others):
        slack[:, others] = np.maximum(slack[:, others], _off_middle(motion, starts, ends, until_s, others))


def _off_middle(motion: Motion, starts: Array, ends: Array, until_s: Array, columns: np.ndarray) -> Array:
    """Bound how far some joints get, from their starts until later, from where they are at the middle of cells (C, J).

    Each cell is inside one piece of the motion; by how much values jump where later pieces begin is left out. The
    time is cut where pieces meet, and each part into _PARTS, as bounds over long parts are loose.
    """
    names = tuple(motion.joints[column] for column in columns)
    motion = Motion(names, motion.breaks_s, motion.coefficients[:, :, columns])  # the others cost time
    middles, edges = motion.at((starts + ends) / 2), motion.breaks_s
    first = np.maximum(np.searchsorted(edges, starts, side="right") - 1, 0)
    last = np.clip(np.searchsorted(edges, until_s, side="left"), first + 1, len(edges) - 1)
    moves = np.any(motion.coefficients[:, 1:] != 0.0, axis=(1, 2))
    jumps = motion.at(edges[1:-1]) - motion.at(edges[1:-1], side="left")
    jumped = np.concatenate([np.zeros((1, len(columns))), np.cumsum(jumps, axis=0)])  # by the beginning of each piece
    off = np.zeros((len(starts), len(columns)))
    for piece in range(int(first.min()), int(last.max())):
        rows = np.flatnonzero((first <= piece) & (piece < last))
        if len(rows):
            low, high = np.maximum(starts[rows], edges[piece]), np.minimum(until_s[rows], edges[piece + 1])
            parts = _PARTS if moves[piece] else 1
            half = np.maximum(high - low, 0.0) / (2 * parts)
            here = middles[rows] + jumped[piece] - jumped[first[rows]]
            at = low + (2 * np.arange(parts)[:, None] + 1) * half  # (parts, rows)
            position, _, most_rate, _ = taylor(motion, at.ravel(), np.tile(half, parts))
            shape = (parts, len(rows), len(columns))
            there = np.abs(position.reshape(shape) - here) + most_rate.reshape(shape) * half[:, None]
            off[rows] = np.maximum(off[rows], there.max(axis=0))
    return off


@dataclass(frozen=True, eq=False)
class Leaves:
    """What was found in C cells of time; margins are distances beyond what must be left.

    Attributes:
        start_s, end_s: (C,).
        fault: (C,) number of the fault asked about.
        lower_m: (C,) proven margin, at most ENOUGH_M.
        reached_m: (C,) margin at the middle of the cell, inf where there was enough.
        pair: (C,) row of the pair in the side's pairs, -1 for none.
        at: (C,) where on the arc.
    """

    start_s: Array
    end_s: Array
    fault: np.ndarray
    lower_m: Array
    reached_m: Array
    pair: np.ndarray
    at: Array

    @staticmethod
    def joined(parts: Sequence[Leaves]) -> Leaves:
        """Return several by fault, each in the order of time."""
        columns = [np.concatenate([getattr(part, name) for part in parts]) for name in Leaves.__dataclass_fields__]
        order = np.lexsort((columns[0], columns[2]))
        return Leaves(*(column[order] for column in columns))

    def take(self, rows: np.ndarray) -> Leaves:
        """Return some of the cells."""
        return Leaves(*(getattr(self, name)[rows] for name in Leaves.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Roots:
    """The cells of time of a window that halving starts from (R,), each inside one piece of the motion.

    Attributes:
        start_s, end_s: (R,).
        lists: the pairs that matter in each.
    """

    start_s: Array
    end_s: Array
    lists: Lists


Measure = Callable[..., Margins]


def pieces_of(motion: Motion, start_s: float, end_s: float) -> tuple[Array, Array]:
    """Return starts and ends of the pieces of a motion within a stretch; where anything moves, short ones."""
    inner = motion.breaks_s[(motion.breaks_s > start_s) & (motion.breaks_s < end_s)]
    edges = [start_s]
    for edge in (*inner.tolist(), end_s):
        piece = int(np.searchsorted(motion.breaks_s, edge, side="left")) - 1
        moves = bool(np.any(motion.coefficients[piece, 1:] != 0.0))
        parts = int(np.ceil((edge - edges[-1]) / ROOT_S)) if moves else 1
        edges.extend(np.linspace(edges[-1], edge, max(parts, 1) + 1)[1:].tolist())
    return np.array(edges[:-1]), np.array(edges[1:])


def refine(
    roots: Roots, measure: Measure, faults: int = 1, *, band_m: float, told_s: float
) -> Leaves:
    """Halve cells of time until every margin is known well enough.

    Args:
        roots: the first cells.
        measure: margins of cells from their starts, ends, faults and roots.
        faults: how many are asked about.
        band_m: wanted gap between what is proven and what is reached at the middle where room is scarce; half of
            what is proven elsewhere.
        told_s: how exactly it is told when room is lacking, s.
    """
    root = np.tile(np.arange(len(roots.start_s)), faults)
    fault = np.repeat(np.arange(faults), len(roots.start_s))
    starts, ends = roots.start_s[root], roots.end_s[root]
    idle = roots.lists.counts[root] == 0
    enough, none = np.full(int(idle.sum()), ENOUGH_M), np.full(int(idle.sum()), -1)
    parts = [Leaves(starts[idle], ends[idle], fault[idle], enough, enough + np.inf, none, enough * np.nan)]

    def look(starts: Array, ends: Array, fault: np.ndarray, root: np.ndarray) -> tuple[np.ndarray, ...]:
        found = measure(starts, ends, fault, root)
        close = found.reached_m - found.lower_m <= np.maximum(band_m, found.lower_m / 2)
        close |= found.pad_m == 0
        done = (found.lower_m >= ENOUGH_M) | ((found.lower_m >= 0) & close)
        done |= (found.reached_m < 0) & ((ends - starts <= told_s) | (found.pad_m == 0))
        return done, found.lower_m, found.reached_m, found.pair, found.at

    if not idle.all():
        busy = (column[~idle] for column in (starts, ends, fault, root))
        first, last = next(busy), next(busy)
        begun, ended, whose, _, *told = settle(first, last, look, *busy, shortest_s=SHORTEST_S)
        parts.append(Leaves(begun, ended, whose, *told))
    return Leaves.joined(parts)
