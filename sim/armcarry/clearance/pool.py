"""Working memory of the kernels: the growing tree of time cells and what is remembered of each cell.

Nothing is cleared between runs: every remembered value carries the number of the run (``epoch``) or of the
pair search (``serial``) it belongs to.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from threading import Lock
from typing import ClassVar
from weakref import WeakValueDictionary

import numpy as np

from armcarry.clearance.frames import Layout
from armcarry.clearance.polynomials import Curves

#: working memory is never larger than this, bytes
MOST_BYTES = 384 * 2**20
#: what is held between motions, by all who hold some
HELD_BYTES = 64 * 2**20


def most_nodes(layout: Layout) -> int:
    """Return how many nodes fit into as much memory as is ever taken; see the pages of Pool."""
    frames, moving = len(layout.frames.parent), layout.moving
    a_node = 6 + 13 * frames + 13 * moving
    a_cell = 5 + 2 * frames + 2 * moving
    return MOST_BYTES // (8 * (a_node + 2 * a_cell))


class Pool:
    """Owns the arrays of a layout and the scratch of the kernels, and the book that lists them.

    Pages, with N nodes (instants), C cells (intervals), F frames and m movers that move:

        TALLY (8,) counters, named in book          NODE_T (N,) s              NODE_Q (N, F)
        FRAME (N, F, 12) world poses               POSE (still + m N, 12) of movers in their base frames
        POSE_EPOCH (still + m N,)                  ENDS (C, 2) nodes          PIECES (C, 2) first, last piece
        CHILD (C,) first of two children or -1     STEP (C, F) change of each joint over the cell
        STRAY (C, F) how far each joint leaves the straight joint line
        BEND (m, C) how far any point of a mover leaves its chord, m          BEND_EPOCH (m, C)
        PLANE (N, 4) lower bound and parting direction of the pair in hand
        PLANE_TAG (N,) 2 serial + (1 where GJK made it)                       STACK (512,) cells to do
        BALL (R,) bounding-ball bound of every root                           CENTRE (m, 3, R) at root nodes
        ROOT_BEND (m, R)                           APART (3, R) centre of b from centre of a
        BERN (F+1, D+1) Bernstein coefficients of the joints, last row of the common parameter
        ARM (2, F) lever arms                      WORK (5, 6) and OUT (9,) of GJK
        ANSWER (4,) what kernels called by address return beside their result
    """

    def __init__(self, layout: Layout, degree: int, nodes: int) -> None:
        from armcarry.clearance import book as pages

        root_room = 4 * pages.MAX_ROOTS + 8  # pieces longer than a root's share are cut up on their own
        frames, moving = len(layout.frames.parent), layout.moving
        still, cells = len(layout.movers.slot) - moving, 2 * nodes
        pose = np.empty((still + moving * nodes, 12))
        pose[:still] = layout.movers.core[:still]
        self.tally = np.zeros(8, np.int64)
        scratch = [
            self.tally, np.empty(nodes), np.empty((nodes, frames)), np.empty((nodes, frames, 12)), pose,
            np.zeros(len(pose), np.int64), np.empty((cells, 2), np.int64), np.empty((cells, 2), np.int64),
            np.empty(cells, np.int64), np.empty((cells, frames)), np.empty((cells, frames)),
            np.empty((moving, cells)), np.zeros((moving, cells), np.int64), np.empty((nodes, 4)),
            np.zeros(nodes, np.int64), np.empty(512, np.int64), np.empty(root_room),
            np.empty((moving, 3, root_room)), np.empty((moving, root_room)), np.empty((3, root_room)),
            np.empty((frames + 1, degree + 1)), np.empty((2, frames)), np.empty((5, 6)), np.empty(9), np.empty(4),
        ]  # fmt: skip
        solids = layout.solids
        self._kept = [solids.form, solids.size, solids.verts, *layout.frames, *layout.movers, *scratch]
        self.bytes = sum(array.nbytes for array in scratch)
        self._curves: Curves | None = None
        self.book = np.zeros((pages.PAGE_COUNT, 4), np.int64)
        pages.write_pages(self.book, pages.FORM, self._kept[: pages.BREAKS])
        pages.write_pages(self.book, pages.TALLY, scratch)
        self.book[pages.ADD_NODE :, 0] = _addresses()

    @property
    def measured(self) -> int:
        """Number of distances computed in the last run."""
        from armcarry.clearance.book import GJKS

        return int(self.tally[GJKS])

    def set_motion(self, curves: Curves) -> int:
        """Enter a motion of the pool's degree and return the address of the book."""
        from armcarry.clearance import book as pages

        self._curves = curves
        pages.write_pages(self.book, pages.BREAKS, curves)
        return int(self.book.ctypes.data)


def _addresses() -> list[int]:
    """Compile, or load, the kernels that are called by address, in the order of their pages."""
    from armcarry.clearance.bend import find_bend
    from armcarry.clearance.contact import contact_by_address
    from armcarry.clearance.measure import gjk_by_address
    from armcarry.clearance.planes import gap_by_address
    from armcarry.clearance.search import search_by_address
    from armcarry.clearance.timetree import add_cell, add_node, plant_by_address

    kernels = (
        add_node, add_cell, plant_by_address, find_bend, gap_by_address, gjk_by_address, search_by_address,
        contact_by_address,
    )  # fmt: skip
    return [kernel.address for kernel in kernels]


class Held:
    """The working memory of one holder, by degree of motion, kept from one motion to the next.

    All that is held in a process is bounded: what was used longest ago is let go of first, and made anew when
    its holder is asked again. Whoever runs on a pool holds it besides, so that another thread takes none away.
    """

    _lock = Lock()
    _asked = count()
    #: who holds any, by when they were asked last
    _holders: ClassVar[WeakValueDictionary[int, Held]] = WeakValueDictionary()

    def __init__(self) -> None:
        self._pools: dict[int, Pool] = {}
        self._asked_last = -1

    def __len__(self) -> int:
        return len(self._pools)

    def get(self, degree: int, make: Callable[[], Pool]) -> Pool:
        """Return the pool of a degree, made where there is none."""
        known = self._pools.get(degree)
        pool = known or self._pools.setdefault(degree, make())
        with Held._lock:
            Held._holders.pop(self._asked_last, None)
            if known is None:
                self._make_room()
            self._asked_last = next(Held._asked)
            Held._holders[self._asked_last] = self
        return pool

    def _make_room(self) -> None:
        """Let go of what others were asked for longest ago, until all that is held is little enough."""
        total = self.bytes + sum(other.bytes for other in Held._holders.values())
        for asked, other in sorted(Held._holders.items()):
            if total <= HELD_BYTES:
                break
            total -= other.bytes
            other.clear()
            del Held._holders[asked]

    @property
    def bytes(self) -> int:
        """How much is held."""
        return sum(pool.bytes for pool in list(self._pools.values()))

    def clear(self) -> None:
        """Let go of all."""
        self._pools = {}
