"""Close gaps between what the arm moves and everything else, and whether a camera sees them.

A gap is seen when some camera has the middle of it, half way between the two nearest points, in view with
no body in the way. It is looked at wherever the two bodies may be close, in steps of at most STEP_M of their
motion against each other; that they are not close elsewhere is proven. While the arm stands still nothing is
asked. Where a third body stands between the two nearest points they are no gap: what stands between is nearer
to both.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from armcarry.clearance.distance import Distances, distances
from armcarry.clearance.sightline import sight_lines
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.refine import settle
from armcarry.record.kept import Kept
from armcarry.record.record import MoveSpan, PairRow, Phase, Record
from armcarry.scene.build import ARM
from armcarry.scene.eyes import scene_cameras
from armcarry.seeing.sight import Watch, batches, watch
from armcarry.timeline.near import MOVING

#: length of the cells that are looked at first, s
_COARSE_S = 4.0
#: two bodies move against each other at most this far between instants that are looked at, m
STEP_M = 0.05


@dataclass(frozen=True, eq=False)
class CloseGap:
    """Two bodies over the time they are closer than a distance and the arm moves one of them, at N instants.

    Attributes:
        row: the pair.
        time_s, start_s, end_s: (N,) instants and the cells of time they stand for.
        lower_m: (N,) less than the gap at any instant of the cell.
        middle_m: (N, 3) half way between the two nearest points.
        seen: (N,) whether any camera sees that.
    """

    row: PairRow
    time_s: Array
    start_s: Array
    end_s: Array
    lower_m: Array
    middle_m: Array
    seen: np.ndarray


@dataclass(frozen=True)
class Tightest:
    """The pair with the least margin of a move, and the cameras that see its gap."""

    move: MoveSpan
    row: PairRow
    seen_by: tuple[str, ...]


@dataclass(frozen=True)
class Watched:
    """Gaps that must be seen since they are closer than the rules' ``unseen_extra`` allows, and those of moves."""

    close: tuple[CloseGap, ...]
    tightest: tuple[Tightest, ...]


class _Grid(NamedTuple):
    """Coarse cells of a phase: edges (N+1,), where bodies are at the middles (N, B, 3), how far they go (B, N)."""

    edges_s: Array
    centres: Array
    reach: Array


class _Cells(NamedTuple):
    """Cells of time of one pair: middles, ends, less than the distance (N,), nearest points at the middles (N, 3)."""

    time_s: Array
    start_s: Array
    end_s: Array
    lower_m: Array
    point_a: Array
    point_b: Array


class Gaps:
    """The gaps of a run and the cameras that watch them."""

    def __init__(self, record: Record) -> None:
        self.record, self.cameras = record, scene_cameras(record.scene)
        self._grids: dict[int, _Grid] = {}
        self._rows = {body.name: k for k, body in enumerate(record.bodies)}
        self._radii = np.array([bounding_radius_m(body.shape) for body in record.bodies])

    def tightest(self, move: MoveSpan) -> Tightest | None:
        """Return the pair with the least margin of a move, and the cameras that see its gap; None without any."""
        rows = [row for row in self.record.table.near if judged(row) and move.start_s <= row.time_s <= move.end_s]
        if not rows:
            return None
        row = min(rows, key=lambda item: item.margin_m)
        middle = (np.array(row.point_a) + np.array(row.point_b)) / 2
        time_s = min(row.time_s, float(np.nextafter(move.end_s, -np.inf)))  # at a switch the phase before it
        return Tightest(move, row, self.seen_by(time_s, middle))

    def seen_by(self, time_s: float, point_m: Array) -> tuple[str, ...]:
        """Return the cameras that see a point (3,) at an instant."""
        seen = watch(self.record, self.record.phase_at(time_s)).sees(np.array([time_s]), point_m[None])[0]
        return tuple(camera.name for camera, sees in zip(self.cameras, seen, strict=True) if sees)

    def would_see(self, time_s: float, point_m: Array) -> tuple[str, ...]:
        """Return the cameras out of service that would see a point (3,) at an instant."""
        idle = scene_cameras(self.record.scene, off=True)
        if not idle:
            return ()
        sees = Watch(self.record, self.record.phase_at(time_s), idle).sees(np.array([time_s]), point_m[None])[0]
        return tuple(camera.name for camera, seen in zip(idle, sees, strict=True) if seen)

    def close(self, asked: Iterable[tuple[PairRow, float]]) -> tuple[CloseGap, ...]:
        """Return where pairs may be within a distance while the arm moves, for those that ever are.

        Args:
            asked: pairs, each with its distance in metres.
        """
        rows, cells = [], []
        for row, within_m in asked:
            rows.append(row)
            cells.append([self._pair_cells(row, phase, within_m) for phase in self.record.phases])
        parts: list[list[_Columns]] = [[] for _ in rows]
        for k, phase in enumerate(self.record.phases):
            found = [(n, part) for n, phases in enumerate(cells) for part in phases[k]]
            for n, columns in self._looked(phase, rows, found):
                parts[n].append(columns)
        return tuple(
            CloseGap(row, *(np.concatenate([part[k] for part in mine]) for k in range(6)))
            for row, mine in zip(rows, parts, strict=True) if mine
        )

    def _pair_cells(self, row: PairRow, phase: Phase, within_m: float) -> list[_Cells]:
        start, end = max(phase.start_s, row.start_s), min(phase.end_s, row.end_s)
        part = self._cells(row, phase, start, end, within_m) if end > start else None
        return [] if part is None else [part]

    def _looked(
        self, phase: Phase, rows: list[PairRow], found: list[tuple[int, _Cells]]
    ) -> Iterator[tuple[int, _Columns]]:
        """Give the cells of one phase in which pairs are a gap, and whether a camera sees it, pair by pair."""
        if not found:
            return
        owner = np.repeat([n for n, _ in found], [len(part.time_s) for _, part in found])
        all_ = _Cells(*(np.concatenate([part[k] for _, part in found]) for k in range(6)))
        pairs = np.array([[self._rows[row.body_a], self._rows[row.body_b]] for row in rows])
        open_ = ~self._filled(all_, pairs[owner])
        owner, all_ = owner[open_], _Cells(*(column[open_] for column in all_))
        middles = (all_.point_a + all_.point_b) / 2
        seen = watch(self.record, phase).any_sees(all_.time_s, middles)
        for n in dict.fromkeys(owner.tolist()):
            mine = owner == n
            yield n, (all_.time_s[mine], all_.start_s[mine], all_.end_s[mine], all_.lower_m[mine], middles[mine],
                      seen[mine])  # fmt: skip

    def _cells(self, row: PairRow, phase: Phase, start_s: float, end_s: float, within_m: float) -> _Cells | None:
        """Halve cells until the arm stands, the pair is surely farther, or has moved less than a step in them."""
        starts, ends = self._near(row, phase, start_s, end_s, within_m)
        if not len(starts):
            return None
        side = _Pair(watch(self.record, phase), self.record, row)

        def look(starts: Array, ends: Array) -> tuple[np.ndarray, ...]:
            """Settle cells in which the arm stands or the pair is surely farther too; they are no gap."""
            count, moved = len(starts), np.flatnonzero(side.moved(starts, ends))
            middles = (starts + ends) / 2
            lower, drift, points = np.full(count, np.inf), np.zeros(count), np.zeros((2, count, 3))
            if len(moved):
                some = middles[moved], starts[moved], ends[moved]
                found, drift[moved] = side.measure(some[0]), side.drift(*some)
                lower[moved] = found.lower_m[:, 0] - drift[moved]
                points[:, moved] = found.point_a[:, 0], found.point_b[:, 0]
            return (lower >= within_m) | (drift <= STEP_M), middles, lower, *points

        starts, ends, middles, lower, *points = settle(starts, ends, look)
        near = lower < within_m
        return _Cells(*(column[near] for column in (middles, starts, ends, lower, *points)))

    def _near(
        self, row: PairRow, phase: Phase, start_s: float, end_s: float, within_m: float
    ) -> tuple[Array, Array]:
        """Return coarse cells in which balls about a pair may be within a distance; none if the arm carries neither."""
        if not any(phase.tree.hangs_from(name.split("/", 1)[0], ARM) for name in (row.body_a, row.body_b)):
            return np.zeros(0), np.zeros(0)
        grid, rows = self._grid(phase), [self._rows[name] for name in (row.body_a, row.body_b)]
        apart = np.linalg.norm(grid.centres[:, rows[0]] - grid.centres[:, rows[1]], axis=1)
        near = apart - grid.reach[rows].sum(axis=0) - self._radii[rows].sum() < within_m
        near &= (grid.edges_s[1:] > start_s) & (grid.edges_s[:-1] < end_s)
        return np.maximum(grid.edges_s[:-1][near], start_s), np.minimum(grid.edges_s[1:][near], end_s)

    def _grid(self, phase: Phase) -> _Grid:
        if id(phase) not in self._grids:
            watched = watch(self.record, phase)
            count = max(int(np.ceil((phase.end_s - phase.start_s) / _COARSE_S)), 1)
            edges = np.linspace(phase.start_s, phase.end_s, count + 1)
            middles = (edges[:-1] + edges[1:]) / 2
            # copied: a view would keep all that it was cut from
            centres = np.concatenate([self.record.body_poses(part)[..., :3, 3].copy() for (part,) in batches(middles)])
            reach = watched.body_reach(middles, edges[:-1], edges[1:])
            self._grids[id(phase)] = _Grid(edges, centres, reach)
        return self._grids[id(phase)]

    def _filled(self, cells: _Cells, pairs: np.ndarray) -> np.ndarray:
        """Tell where a body that is neither of a cell's pair (N, 2) stands between the two nearest points."""
        shapes = [body.shape for body in self.record.bodies]
        filled = np.zeros(len(pairs), dtype=bool)
        for (part,) in batches(np.arange(len(pairs))):
            times, which = np.unique(cells.time_s[part], return_inverse=True)
            lines = sight_lines(
                cells.point_a[part], cells.point_b[part], shapes, self.record.body_poses(times), configuration=which
            )
            blocked, rows = lines.upper_m <= 0.0, np.arange(len(part))[:, None]
            blocked[rows, pairs[part]] = False
            filled[part] = blocked.any(axis=1)
        return filled


class _Pair:
    """Two bodies in one phase: how far apart, and how far they can go."""

    def __init__(self, watch: Watch, record: Record, row: PairRow) -> None:
        self.watch, self.record = watch, record
        by_name = {body.name: body for body in record.bodies}
        self.bodies = [by_name[row.body_a], by_name[row.body_b]]
        tree = watch.phase.tree
        self.carried = [body for body in self.bodies if tree.hangs_from(body.name.split("/", 1)[0], ARM)]
        first, second = self.bodies
        way, turned = watch.drift.way(first.link, first.pose[:3, 3], second.link)
        self.relative = way + bounding_radius_m(first.shape) * turned
        self.own = [self._own(body) for body in self.bodies]
        self.arm = sum((self._own(body) for body in self.carried), np.zeros(len(self.relative)))

    def _own(self, body: Body) -> Array:
        way, turned = self.watch.drift.way(body.link, body.pose[:3, 3])
        return way + bounding_radius_m(body.shape) * turned

    def moved(self, starts: Array, ends: Array) -> np.ndarray:
        """Tell in which cells what hangs from the arm moves at all."""
        drift = self.watch.drift
        return np.asarray(drift.at(self.arm, ends) > drift.at(self.arm, starts))

    def drift(self, middles: Array, starts: Array, ends: Array) -> Array:
        """Return how far the two can move against each other: seen from one, or each seen from the world."""
        reach = self.watch.drift.reach
        apart = sum((reach(way, middles, starts, ends) for way in self.own), np.zeros(len(middles)))
        return np.minimum(reach(self.relative, middles, starts, ends), apart)

    def measure(self, times_s: Array) -> Distances:
        """Return the distance of the two at instants."""
        placed = np.stack([self.record.link_path(body.link, times_s) @ body.pose for body in self.bodies], axis=1)
        return distances([body.shape for body in self.bodies], placed, np.array([[0, 1]]))


_Columns = tuple[Array, Array, Array, Array, Array, np.ndarray]


def judged(row: PairRow) -> bool:
    """Tell whether a pair is one of something the arm moves and something it does not, under an unrelaxed rule."""
    apart = (row.class_a in MOVING) != (row.class_b in MOVING)
    return apart and row.required_m is not None and row.why == "rule" and row.status == "proven"


def watched_gaps(record: Record) -> Watched:
    """Return the close gaps of a run and the tightest of every move, as they were judged."""
    return record.result(WATCHED)


def _find(record: Record) -> Watched:
    gaps, extra = Gaps(record), record.scene.loaded.rules.unseen_extra
    near = (row for row in record.table.near if judged(row))
    close = [row for row in near if row.required_m is not None and 0 <= row.margin_m < extra]
    tightest = (gaps.tightest(move) for move in record.moves if gaps.cameras)
    return Watched(
        gaps.close((row, row.lower_m - row.margin_m + extra) for row in close) if gaps.cameras else (),
        tuple(item for item in tightest if item is not None),
    )


WATCHED = Kept("gaps", 1, _find, (Watched, CloseGap, Tightest))
