"""Working memory of the kernels: the growing tree of time cells and what is remembered of each cell.

Nothing is cleared between runs: every remembered value carries the number of the run (``epoch``) or of the
pair search (``serial``) it belongs to.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from armcarry.clearance.frames import Layout
from armcarry.geometry.poses import Array

NODES, CELLS, EPOCH, SERIAL, FULL, GJKS, LOOSE, ROOTS = range(8)
#: roots of the time tree are made by travel, at most this many (plus one a break between long pieces)
MAX_ROOTS = 96


class Pool(NamedTuple):
    """Scratch arrays; N nodes (instants), C cells (intervals), F frames, m movers that move."""

    tally: np.ndarray  # (8,) counters, see the names above
    node_t: Array  # (N,) s
    node_q: Array  # (N, F)
    frame: Array  # (N, F, 12) world poses of frames
    pose: Array  # (static + m N, 12) poses of movers in their base frames
    pose_epoch: np.ndarray  # (static + m N,)
    nodes: np.ndarray  # (C, 2) first and last node of a cell
    pieces: np.ndarray  # (C, 2) first and last polynomial piece
    child: np.ndarray  # (C,) first of two children, -1 for none yet
    step: Array  # (C, F) change of each joint over the cell
    stray: Array  # (C, F) how far each joint leaves the straight joint line
    bend: Array  # (m, C) how far any point of a mover leaves its chord, m
    bend_epoch: np.ndarray  # (m, C)
    plane: Array  # (N, 4) lower bound and parting direction of the pair in hand
    plane_tag: np.ndarray  # (N,) 2 serial + (1 where GJK made it)
    stack: np.ndarray  # (512,)
    ball: Array  # (8 MAX_ROOTS,) bounding-ball bound of every root
    bern: Array  # (F + 1, D + 1) Bernstein coefficients of the joints, last row of the common parameter
    arm: Array  # (4, F) lever arms
    work: Array  # (5, 6) GJK
    out: Array  # (9,) GJK


def make_pool(layout: Layout, degree: int, nodes: int) -> Pool:
    """Allocate a pool for ``nodes`` instants; untouched pages cost nothing."""
    frames, moving = len(layout.frames.parent), layout.moving
    still = len(layout.movers.slot) - moving
    cells = 2 * nodes
    pose = np.empty((still + moving * nodes, 12))
    pose[:still] = layout.movers.core[:still]
    return Pool(
        np.zeros(8, np.int64), np.empty(nodes), np.empty((nodes, frames)), np.empty((nodes, frames, 12)),
        pose, np.zeros(len(pose), np.int64), np.empty((cells, 2), np.int64), np.empty((cells, 2), np.int64),
        np.empty(cells, np.int64), np.empty((cells, frames)), np.empty((cells, frames)),
        np.empty((moving, cells)), np.zeros((moving, cells), np.int64), np.empty((nodes, 4)),
        np.zeros(nodes, np.int64), np.empty(512, np.int64), np.empty(8 * MAX_ROOTS),
        np.empty((frames + 1, degree + 1)), np.empty((4, max(frames, 1))), np.empty((5, 6)), np.empty(9),
    )  # fmt: skip
