"""What comes near over a run, move by move: a move that stays as it was is not proven again.

The proof is that of the table of pairs, with its kernels, its tolerance and what is asked of each pair. It looks
less far: at distances up to ``LOOK_M`` beyond what is required, because whoever changes a carry asks what is tight.
A move is known by what its proof depends on: how things hang, the motion from its start on, and what is granted
meanwhile. So it is the same later in the run, or after an edit elsewhere, to the rounding of a clock (1e-9 s).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import Asked, Requirement
from armcarry.clearance import Prover, clearance_curve
from armcarry.clearance.prover import CONTACT, FARTHER, UNRESOLVED, ClearanceBounds
from armcarry.geometry.poses import Array
from armcarry.motion.curve import CLOCK_DIGITS, Motion
from armcarry.proving.windows import Bounds, at_rest
from armcarry.record.pairs import STATUS
from armcarry.record.record import PairRow
from armcarry.remembered import remember
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.run import Phase, Run

#: how far beyond what is required pairs are looked at, m
LOOK_M = 0.3
#: how exactly it need be known what comes near at all, m
_COARSE_M = 0.02
#: pairs that no rule covers are asked for contact alone, m
_TOUCH_M = 1e-3
#: length of a cell of the margin along the way, s, and how many a move has at least and at most
_CELL_S, _LEAST, _MOST = 3.0, 6, 24
#: how exactly the margin along the way is known, m
_BAND_M = 0.02
#: moves that are remembered
_MOVES = 1000


@dataclass(frozen=True, eq=False)
class Near:
    """Pairs that come near in a stretch of time in which the same is asked of them; times count from its move.

    Attributes:
        asked: the pairs and what is asked of them.
        bounds: what is proven.
    """

    asked: Asked
    bounds: Bounds


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of the run that is proven by itself: a move, or a wait between two.

    Attributes:
        start_s, end_s: on the clock of the run.
        tree: how things hang.
        near: what comes near in it.
        times_s: (C+1,) ends of the cells of the margin, from its start.
        margin_m: (C,) proven: in a cell nothing comes nearer to less than this beyond what is required; ``LOOK_M``
            where nothing is near, -inf in contact.
        low, high: (n,) the least and greatest position of every joint in it.
        rows: of the table of pairs, of what comes near; their times count from its start, too.
    """

    start_s: float
    end_s: float
    tree: Tree
    near: tuple[Near, ...]
    times_s: Array
    margin_m: Array
    low: Array
    high: Array
    rows: tuple[PairRow, ...]

    @property
    def least_m(self) -> float:
        """The least margin of the whole stretch, as exactly as the proof is."""
        left = [each.bounds.lower_m - np.nan_to_num(each.asked.required_m) for each in self.near]
        return float(min([LOOK_M, *(one.min() for one in left if len(one))]))


@dataclass(eq=False)
class _Judged:
    """Pairs of a phase that are looked at, and what is asked of them."""

    tree: Tree
    need: Requirement
    classes: tuple[str, ...]

    @cached_property
    def named(self) -> tuple[list[str], tuple[str, ...]]:
        """Name and class of every body."""
        return [body.name for body in self.tree.bodies], self.classes

    @cached_property
    def prover(self) -> Prover:
        """All of them, prepared for many motions."""
        return Prover(self.tree, self.need.pairs)


@dataclass(eq=False)
class Pieces:
    """Remembers the moves of one scene that were proven.

    Attributes:
        proven: how many stretches were proven and not remembered.
        most: how many may be proven before it stops, None for all of them; what is remembered is no work.
        left: how many stretches of the last run were not given, since it stopped.
    """

    proven: int = 0
    most: int | None = None
    left: int = 0
    _known: dict[tuple[object, ...], Piece] = field(default_factory=dict)
    _judged: dict[tuple[object, ...], _Judged] = field(default_factory=dict)

    def of(self, scene: Scene, run: Run) -> tuple[Piece, ...]:
        """Return the stretches of a run, in the order of time, proving what is not known.

        Where it stops, those from there on are left out.

        Args:
            scene: rules and classes.
            run: with all that is granted in it.
        """
        found: list[Piece] = []
        self.left = 0
        for phase in run.phases:
            cuts = {phase.start_s, phase.end_s}
            for move in run.moves:
                cuts |= {time for time in (move.start_s, move.end_s) if phase.start_s < time < phase.end_s}
            stretches = [(a, b) for a, b in pairwise(sorted(cuts)) if b - a > 10**-CLOCK_DIGITS]
            judged = None if self.left else self._of_phase(scene, run, phase)
            for start, end in stretches:
                piece = None if self.left or judged is None else self._piece(judged, run, start, end)
                self.left += piece is None
                found += [] if piece is None else [piece]
        return tuple(found)

    def allow(self, more: int | None) -> None:
        """Let so many stretches more be proven from now on, None for all of them."""
        self.most = None if more is None else self.proven + more

    def _of_phase(self, scene: Scene, run: Run, phase: Phase) -> _Judged:
        part = run.motion.between(phase.start_s, phase.end_s)
        moves, here = part.moving, part.at(part.start_s)
        key = (id(phase.tree), moves.tobytes(), here[~moves].tobytes())
        if key not in self._judged:
            pairs, fly = judged_pairs(scene, phase.tree, part)
            bare = Requirement(scene, phase.tree, pairs).at(-np.inf)
            rest = at_rest(scene, run, phase, pairs, ~fly)
            beyond = rest.lower_m - np.nan_to_num(bare.required_m)
            close = np.where(np.isnan(bare.required_m), rest.status == STATUS.index(CONTACT), beyond < LOOK_M)
            pairs = pairs[fly | (close & ~bare.meant)]
            need, classes = Requirement(scene, phase.tree, pairs), scene.body_classes(phase.tree)
            self._judged[key] = _Judged(phase.tree, need, classes)
        return self._judged[key]

    def _piece(self, judged: _Judged, run: Run, start_s: float, end_s: float) -> Piece | None:
        """Return a stretch; None where it is to be proven and no more may be now."""
        motion = run.motion.between(start_s, end_s).from_zero()
        granted = tuple(_granted(run.relaxed, start_s, end_s))
        key = (id(judged), motion.known_by, _rounded(granted))
        if key not in self._known:
            if self.most is not None and self.proven >= self.most:
                return None
            self.proven += 1
            remember(self._known, key, _prove(judged, motion, granted), _MOVES)
        return replace(self._known[key], start_s=start_s, end_s=end_s)


def _granted(relaxed: tuple[Relaxed, ...], start_s: float, end_s: float) -> Iterator[Relaxed]:
    """Give what is granted in a stretch, with times from its start: what ends with it to a nanosecond ends with it."""
    same = 10**-CLOCK_DIGITS
    for item in relaxed:
        if item.start_s < end_s - same and item.end_s > start_s + same:
            first = 0.0 if item.start_s < start_s + same else item.start_s - start_s
            last = end_s - start_s if item.end_s > end_s - same else item.end_s - start_s
            yield replace(item, start_s=first, end_s=last)


def _rounded(granted: tuple[Relaxed, ...]) -> tuple[Relaxed, ...]:
    """Return what is granted as a key by which a stretch is known."""
    return tuple(
        replace(item, start_s=round(item.start_s, CLOCK_DIGITS), end_s=round(item.end_s, CLOCK_DIGITS))
        for item in granted
    )


def _prove(judged: _Judged, motion: Motion, granted: tuple[Relaxed, ...]) -> Piece:
    """Prove one stretch, from 0 s on: first what comes near at all, then that alone, window by window.

    What is granted only asks for less, so what is far from what the rules ask is far in every window.
    """
    end, pairs, (low, high) = motion.end_s, judged.need.pairs, motion.extremes()
    (whole,) = judged.need.windows(0.0, end)
    first = judged.prover.bounds(motion, report_distance_m=_reach_m(whole), tolerance_m=_COARSE_M, points=False)
    rows = _close(whole, first)
    times = np.linspace(0.0, end, int(np.clip(np.ceil(end / _CELL_S), _LEAST, _MOST)) + 1)
    if not len(rows):
        return Piece(0.0, end, judged.tree, (), times, np.full(len(times) - 1, LOOK_M), low, high, ())
    need, prover = judged.need.take(rows).under(granted), Prover(judged.tree, pairs[rows])
    prover.start_small()
    near = []
    for asked in need.windows(0.0, end):
        found = prover.bounds(
            motion, report_distance_m=_reach_m(asked), start_s=asked.start_s, end_s=asked.end_s
        )  # fmt: skip
        near.append(_kept(asked, found))
    times = np.unique(np.concatenate([times, [each.asked.start_s for each in near]]))
    told = tuple(sorted(_rows(judged, near), key=lambda one: one.start_s))
    margin = _margin(prover, motion, times, need)
    return Piece(0.0, end, judged.tree, tuple(near), times, margin, low, high, told)


def _reach_m(asked: Asked) -> Array:
    """Return how far each pair (P,) is looked at."""
    return np.where(np.isnan(asked.required_m), _TOUCH_M, np.nan_to_num(asked.required_m) + LOOK_M)


def _close(asked: Asked, found: ClearanceBounds) -> np.ndarray:
    """Return the rows of pairs that come as near as is looked, or that nothing is known of."""
    ruled = ~np.isnan(asked.required_m) & (found.status != FARTHER)
    return np.flatnonzero(ruled | np.isin(found.status, (CONTACT, UNRESOLVED)))


def _kept(asked: Asked, found: ClearanceBounds) -> Near:
    """Return what is proven of the pairs of a window that come near in it and are not meant to touch."""
    rows = _close(asked, found)
    rows = rows[~asked.meant[rows]]
    code = np.array([STATUS.index(word) for word in found.status[rows].tolist()], dtype=np.int64)
    points = np.concatenate([found.point_a[rows], found.point_b[rows]], axis=1)
    bounds = Bounds(code, found.lower_m[rows], found.upper_m[rows], found.time_s[rows], np.nan_to_num(points))
    return Near(asked.take(rows), bounds)


def _margin(prover: Prover, motion: Motion, times: Array, need: Requirement) -> Array:
    """Return the margin (C,) in the cells between times (C+1,): a curve for the pairs of which the same is asked."""
    required = np.empty((len(need.pairs), len(times) - 1))
    for asked in need.windows(0.0, motion.end_s):
        first, last = np.searchsorted(times, [asked.start_s, asked.end_s])
        required[:, first:last] = np.where(asked.meant, np.nan, np.nan_to_num(asked.required_m))[:, None]
    alike, group = np.unique(required, axis=0, return_inverse=True)
    curve = clearance_curve(
        prover.tree, motion, prover, groups=group.reshape(-1), cells=times, band_m=_BAND_M,
        report_distance_m=float(np.nanmax(required, initial=0.0)) + LOOK_M,
    )  # fmt: skip
    left = np.where(np.isnan(alike), np.inf, curve.lower_m - np.nan_to_num(alike))
    return np.asarray(np.minimum(LOOK_M, left.min(axis=0)))


def near_rows(pieces: tuple[Piece, ...]) -> tuple[PairRow, ...]:
    """Return what comes near as rows of the table of pairs; stretches that adjoin and ask the same are one row."""
    open_: dict[tuple[object, ...], _Joined] = {}
    done: list[_Joined] = []
    for piece in pieces:
        for row in piece.rows:
            start_s, end_s = piece.start_s + row.start_s, piece.start_s + row.end_s
            key = (row.body_a, row.body_b, row.class_a, row.class_b, row.required_m, row.why)
            before = open_.get(key)
            if before is not None and start_s <= before.end_s + 10**-CLOCK_DIGITS:
                before.end_s = end_s
                if (row.status != CONTACT, row.lower_m) < (before.least.status != CONTACT, before.least.lower_m):
                    before.least, before.from_s = row, piece.start_s
                continue
            if before is not None:
                done.append(before)
            open_[key] = _Joined(start_s, end_s, row, piece.start_s)
    rows = (one.row() for one in (*done, *open_.values()))
    return tuple(sorted(rows, key=lambda row: (row.body_a, row.body_b, row.start_s)))


@dataclass(eq=False)
class _Joined:
    """Stretches that are one row: from when to when, the row with the least distance, from when its times count."""

    start_s: float
    end_s: float
    least: PairRow
    from_s: float

    def row(self) -> PairRow:
        """Return them as a row on the clock of the run."""
        return replace(self.least, start_s=self.start_s, end_s=self.end_s, time_s=self.from_s + self.least.time_s)


def _rows(judged: _Judged, near: list[Near]) -> Iterator[PairRow]:
    """Give what comes near in a stretch as rows whose times count from its start."""
    names, classes = judged.named
    for each in near:
        asked, known = each.asked, each.bounds
        columns = [getattr(asked, name).tolist() for name in ("pairs", "required_m", "why")]
        columns += [getattr(known, name).tolist() for name in Bounds.__dataclass_fields__]
        for (a, b), required, why, status, lower, upper, time, at in zip(*columns, strict=True):
            yield PairRow(
                names[a], names[b], classes[a], classes[b], asked.start_s, asked.end_s,
                None if required != required else required, why, STATUS[status], lower, upper, time, tuple(at[:3]),
                tuple(at[3:]),
            )  # fmt: skip
