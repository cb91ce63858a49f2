"""Cells of time that are halved until what is asked about every instant of them is known well enough.

A bound that holds over a whole cell gets sharper as the cell gets shorter. So cells start coarse, and only those
whose bound does not settle the question yet are halved. Nothing is ever taken from an instant that was looked at
alone: what is told of a run is the worst of what is proven of its cells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array

#: told starts and ends of N cells and what goes with them, tells which are settled (N,), then what is known of each
Look = Callable[..., tuple[np.ndarray, ...]]


def settle(
    starts: Array, ends: Array, look: Look, *others: np.ndarray, shortest_s: float = 0.0, batch: int | None = None
) -> tuple[np.ndarray, ...]:
    """Halve cells until each is settled.

    Args:
        starts, ends: (N,) of the first cells, one at least.
        look: called with columns of cells (starts, ends, *others); returns which of them are settled, then
            columns of what is known of them. What it remembers from call to call is its own.
        others: (N,) more columns that halves inherit.
        shortest_s: a cell that is not longer is settled in any case, as is one that has no middle of its own.
        batch: most cells in one call.

    Returns:
        Columns (starts, ends, *others, *known) of the settled cells, in the order of their starts. They cover what
        the first cells covered.
    """
    kept: list[tuple[np.ndarray, ...]] = []
    cells: tuple[np.ndarray, ...] = (starts, ends, *others)
    while len(cells[0]):
        size = batch or len(cells[0])
        looked = [look(*(column[at : at + size] for column in cells)) for at in range(0, len(cells[0]), size)]
        settled, *known = (np.concatenate(parts) for parts in zip(*looked, strict=True))
        middles = (cells[0] + cells[1]) / 2
        settled = settled | (cells[1] - cells[0] <= shortest_s) | (middles <= cells[0]) | (middles >= cells[1])
        kept.append(tuple(column[settled] for column in (*cells, *known)))
        cells = halved(*(column[~settled] for column in cells))
    columns = [np.concatenate(parts) for parts in zip(*kept, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    return tuple(column[order] for column in columns)


def halved(starts: np.ndarray, ends: np.ndarray, *others: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return both halves of every cell, with whatever else goes with it; halves lie side by side."""
    middles = (starts + ends) / 2
    both = np.stack([starts, middles], axis=1).ravel(), np.stack([middles, ends], axis=1).ravel()
    return (*both, *(np.repeat(other, 2, axis=0) for other in others))


@dataclass(frozen=True, eq=False)
class Greatest:
    """The greatest of V values over the cells of G groups, from both sides.

    Attributes:
        reached: (G, V) a value that is reached.
        time_s: (G, V) when that is, nan where no cell reaches more than had been reached before.
        most: (G, V) a value that is never passed, -inf where there is no cell.
        cells: columns of the settled cells in the order of their starts: starts, ends, group and others of theirs,
            then reached (N, V), most (N, V) and whatever else is known.
    """

    reached: Array
    time_s: Array
    most: Array
    cells: tuple[np.ndarray, ...]


def greatest(
    starts: Array, ends: Array, bounds: Look, *others: np.ndarray, so_far: Array, enough: Callable[[Array], Array],
    group: np.ndarray | None = None, shortest_s: float = 0.0, batch: int | None = None,
) -> Greatest:
    """Bound the greatest values over cells from both sides, halving those that may hold more than is reached.

    Args:
        starts, ends: (N,) of the first cells, one at least.
        bounds: called with columns of cells (starts, ends, group, *others) and the values reached so far (G, V);
            returns the values reached at the middle of each cell (N, V), those never passed in it (N, V), then
            columns of whatever else is known.
        others: (N,) more columns that halves inherit.
        so_far: (G, V) values that were reached before, -inf for none.
        enough: from the values reached (G, V), bounds (G, V) that need not be sharper.
        group: (N,) the group of each cell, one group when left out.
        shortest_s, batch: as in ``settle``.
    """
    owner = np.zeros(len(starts), dtype=np.int64) if group is None else group
    best = np.array(so_far, dtype=float)
    when = np.full_like(best, np.nan)

    def look(starts: Array, ends: Array, owner: np.ndarray, *others: np.ndarray) -> tuple[np.ndarray, ...]:
        reached, most, *known = bounds(starts, ends, owner, *others, best)
        before = best.copy()
        np.maximum.at(best, owner, reached)
        rows, columns = np.nonzero((reached == best[owner]) & (reached > before[owner]))
        rows, columns = rows[::-1], columns[::-1]  # of equal ones the first stays
        when[owner[rows], columns] = (starts[rows] + ends[rows]) / 2
        return np.all(most <= enough(best)[owner], axis=1), reached, most, *known

    cells = settle(starts, ends, look, owner, *others, shortest_s=shortest_s, batch=batch)
    most = np.full_like(best, -np.inf)
    np.maximum.at(most, cells[2], cells[4 + len(others)])
    return Greatest(best, when, most, cells)
