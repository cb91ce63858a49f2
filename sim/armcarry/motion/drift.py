"""How far points can have moved between two instants: a bound of the way they go, by joints' polynomials.

What holds at one instant of a run holds near it as long as nothing has moved farther than the margin it
held with. So a check looks at instants and reads here how far things can have gone in between.
"""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.bounds import taylor, tool_acceleration
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.jacobian import jacobian
from armcarry.motion.speed import chain_motion
from armcarry.scene.tree import WORLD, Tree

#: speeds are bounded over cells of at most this length, s
STEP_S = 1.0
#: shortest piece of a motion told apart, s; shorter ones join their neighbour with its end speed
_SHORT_S = 1e-6


class _Pair(NamedTuple):
    """How the frame of one island moves in that of another, at the middles of N cells.

    Attributes:
        linear, angular: velocity (N, 3), (N, 3) of its origin and of turning.
        turned: its rotation (N, 3, 3).
        most_rate, most_acceleration: greatest |rate| and |acceleration| of the joints (N, n) over the cells.
        travel: least and greatest position of the joints (n, 2) over the stretch.
    """

    chain: Chain
    linear: Array
    angular: Array
    turned: Array
    most_rate: Array
    most_acceleration: Array
    travel: Array


class Drift:
    """Bounds of how far points of one tree move, and how far links turn, over one stretch of a motion."""

    def __init__(self, tree: Tree, motion: Motion, start_s: float, end_s: float, step_s: float = STEP_S) -> None:
        self.tree = tree
        self.part = motion.between(start_s, end_s)
        self.edges_s = _edges(self.part.breaks_s, step_s)
        self._known: dict[tuple[int, int, tuple[float, ...]], tuple[Array, Array]] = {}
        self._pairs: dict[tuple[int, int], _Pair | None] = {}
        self._places: dict[tuple[str, int], Array] = {}

    @cached_property
    def moving(self) -> frozenset[str]:
        """Joints that change over the stretch."""
        varies = np.any(self.part.coefficients[:, 1:] != 0.0, axis=(0, 1))
        varies |= np.ptp(self.part.coefficients[:, 0], axis=0) > 0.0
        return frozenset(name for name, moves in zip(self.part.joints, varies, strict=True) if moves)

    @cached_property
    def islands(self) -> NDArray[np.int64]:
        """For every link (L,) the row of the topmost link that it never moves against."""
        columns = np.array([joint in self.moving for joint in self.tree.joints], dtype=bool)
        found = np.arange(len(self.tree.links))
        for row in range(1, len(found)):
            column = int(self.tree.columns[row])
            if column < 0 or not columns[column]:
                found[row] = found[self.tree.parents[row]]
        return found

    def way(self, link: str, offset_m: ArrayLike = (0.0, 0.0, 0.0), seen_from: str = WORLD) -> tuple[Array, Array]:
        """Return bounds, from the start to each of ``edges_s``, of the way a point goes and of how far it turns.

        Between two instants the point moves at most as far as the first bound grows, in metres, and its link
        turns at most as far as the second grows, in radians; both grow evenly between edges.

        Args:
            link: the link the point is fixed to.
            offset_m: the point in the link's frame (3,).
            seen_from: link whose frame the motion is seen in.

        Returns:
            (E,), (E,) beginning with 0.
        """
        home, base = (int(self.islands[self.tree.index(name)]) for name in (link, seen_from))
        point = poses.apply(self._place(link, home), offset_m)
        pair = self._pair(home, base)
        if pair is None:
            return self._nowhere, self._nowhere
        key = (home, base, tuple(point.tolist()))
        if key not in self._known:
            self._known[key] = self._grown(pair, point)
        return self._known[key]

    def forget(self) -> None:
        """Let go of the ways that are known; they are worked out anew when they are asked again."""
        self._known.clear()
        self._pairs.clear()

    @cached_property
    def _nowhere(self) -> Array:
        """The way of what does not move."""
        return np.zeros(len(self.edges_s))

    @cached_property
    def _start(self) -> Array:
        """Joint positions (n,) at the start of the stretch."""
        return self.part.at(self.part.start_s)

    def _place(self, link: str, island: int) -> Array:
        """Return T_island_link (4, 4), which does not change over the stretch."""
        if (link, island) not in self._places:
            self._places[link, island] = self.tree.pose_of(link, self._start, self.tree.links[island])
        return self._places[link, island]

    def _pair(self, home: int, base: int) -> _Pair | None:
        """Return how one island moves against another, None where it does not."""
        if (home, base) not in self._pairs:
            self._pairs[home, base] = self._measured(home, base)
        return self._pairs[home, base]

    def _measured(self, home: int, base: int) -> _Pair | None:
        links = self.tree.links
        above, below = set(self.tree.ancestry(links[base])), set(self.tree.ancestry(links[home]))
        between = {int(self.tree.columns[row]) for row in above ^ below}
        joints = [name for k, name in enumerate(self.tree.joints) if k in between and name in self.moving]
        if not joints:
            return None
        chain = Chain.of(self.tree, links[base], links[home], joints=joints, held=self._start)
        middles, halves = (self.edges_s[:-1] + self.edges_s[1:]) / 2, np.diff(self.edges_s) / 2
        part = chain_motion(chain, self.part)
        q, rate, most_rate, most_acceleration = taylor(part, middles, halves)
        twist = np.einsum("nri,ni->nr", jacobian(chain, q), rate)
        turned, travel = chain.forward(q)[:, :3, :3], np.stack(part.extremes(), axis=1)
        return _Pair(chain, twist[:, :3], twist[:, 3:], turned, most_rate, most_acceleration, travel)

    def _grown(self, pair: _Pair, point: Array) -> tuple[Array, Array]:
        """Add up, cell by cell, the greatest speed of a point: that at the middle and half a cell of acceleration."""
        halves = np.diff(self.edges_s) / 2
        levers = pair.chain.levers(poses.translation(point), pair.travel)
        linear_a, angular_a = tool_acceleration(pair.chain, levers, pair.most_rate, pair.most_acceleration)
        linear = np.linalg.norm(pair.linear + np.cross(pair.angular, pair.turned @ point), axis=1)
        speeds = linear + halves * linear_a, np.linalg.norm(pair.angular, axis=1) + halves * angular_a
        grown = np.cumsum(2 * halves * np.stack(speeds), axis=1)
        return np.append(0.0, grown[0]), np.append(0.0, grown[1])

    def at(self, way: Array, times_s: ArrayLike) -> Array:
        """Read bounds of ``way`` (..., E) at times (...): a row of times for each row of bounds."""
        times, edges = np.asarray(times_s, dtype=float), self.edges_s
        cell = np.clip(np.searchsorted(edges, times, side="right") - 1, 0, len(edges) - 2)
        slope = (way[..., cell + 1] - way[..., cell]) / (edges[cell + 1] - edges[cell])
        inside = slope * (times - edges[cell]) + way[..., cell]
        ended = np.where(times >= edges[-1], way[..., -1:] if times.ndim else way[..., -1], inside)
        return np.asarray(np.where(times < edges[0], way[..., :1] if times.ndim else way[..., 0], ended))

    def reach(self, way: Array, middles: Array, starts: Array, ends: Array) -> Array:
        """Return how far bounds (..., E) grow at most from middles (N,) to anywhere between starts and ends (N,)."""
        here = self.at(way, middles)
        return np.maximum(here - self.at(way, starts), self.at(way, ends) - here)


def _edges(breaks_s: Array, step_s: float) -> Array:
    """Return the ends of cells: every break of a motion, and between them steps of at most step_s."""
    kept = breaks_s[np.append(True, np.diff(breaks_s) > _SHORT_S)]
    kept[-1] = breaks_s[-1]
    parts = [
        np.linspace(a, b, max(int(np.ceil((b - a) / step_s)), 1), endpoint=False)
        for a, b in pairwise(kept.tolist())
    ]
    return np.concatenate([*parts, kept[-1:]])
