"""What a campaign proves in every run: the pairs that can come near, window by window, and one run of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.requirement import Asked, Requirement
from armcarry.clearance.frames import Placed, place_bodies
from armcarry.clearance.prover import FARTHER, Prover, prove_clearance
from armcarry.clearance.solids import Solids
from armcarry.dispersion.influence import Influence, influence
from armcarry.dispersion.terms import Drawn, displacement, draw, drawn_numbers, moved
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.record.record import Phase, Record
from armcarry.scene.tree import Tree
from armcarry.timeline.run import Run

#: wanted gap between proven lower bound and what is reached, m
TOLERANCE_M = 1e-3


@dataclass(frozen=True)
class Watched:
    """A pair with one requirement, as it stands in the results."""

    body_a: str
    body_b: str
    class_a: str
    class_b: str
    required_m: float
    why: str


@dataclass(frozen=True, eq=False)
class Window:
    """A stretch of a phase with one requirement a pair.

    Attributes:
        phase: number of the phase, for its tree.
        pairs: (P, 2) rows into the bodies of the phase's small tree.
        required_m: (P,).
        nominal_m: (P,) proven margin of the nominal run, inf where it was not needed exactly.
        row: (P,) row of the campaign's watched pairs.
    """

    phase: int
    start_s: float
    end_s: float
    pairs: np.ndarray
    required_m: Array
    nominal_m: Array
    row: np.ndarray


@dataclass(frozen=True, eq=False)
class Problem:
    """All a worker needs; pickles.

    Attributes:
        numbers: what is drawn.
        trees: one a phase, with the bodies of watched pairs only.
        influences: of every draw on those bodies, one a phase.
        motion: the nominal motion.
        windows: what is proven.
        watched: the pairs of the results, W of them.
        watch_m: margins beyond this are not told apart.
        left_out: how many judged pairs can never have less than that, by a bound on all draws; not proven again.
        touching: how many rows ask for nothing (0 m) and are left out.
        nominal_m: (W,) margin of the nominal run, ``watch_m`` where it is more.
    """

    numbers: tuple[Drawn, ...]
    trees: tuple[Tree, ...]
    influences: tuple[Influence, ...]
    motion: Motion
    windows: tuple[Window, ...]
    watched: tuple[Watched, ...]
    watch_m: float
    left_out: int
    touching: int
    nominal_m: Array


@dataclass(frozen=True, eq=False)
class Outcome:
    """Of each run: the draw (R, n), and of each watched pair (R, W) the proven margin, the margin reached, when.

    Margins are distances beyond what is required, at most ``watch_m``; -required in contact.
    """

    runs: np.ndarray
    values: Array
    lower_m: Array
    upper_m: Array
    time_s: Array

    @staticmethod
    def joined(parts: Sequence[Outcome]) -> Outcome:
        """Return several outcomes as one, by run."""
        order = np.argsort(np.concatenate([part.runs for part in parts]), kind="stable")
        names = ("runs", "values", "lower_m", "upper_m", "time_s")
        return Outcome(*(np.concatenate([getattr(part, name) for part in parts])[order] for name in names))


def make_problem(record: Record) -> Problem:
    """Find what a campaign on a record has to prove.

    A pair is watched unless, over all draws, it keeps more than ``watch`` beyond its requirement: its nominal
    distance, proven, less the most that draws can take from it. What may touch (0 m required) is
    left out: a seat guides the thing that the draw would push through it.

    Raises:
        InputError: the rules declare no dispersion.
    """
    numbers = drawn_numbers(record.scene)
    rules = record.scene.loaded.rules.dispersion
    assert rules is not None  # noqa: S101  # drawn_numbers has refused
    run = _run_of(record, numbers)
    maker = _Maker(record, run, rules.watch)
    most = np.array([number.most for number in numbers])
    for k, phase in enumerate(run.phases):
        maker.add(k, phase, numbers, most)
    return maker.problem(numbers)


def _run_of(record: Record, numbers: tuple[Drawn, ...]) -> Run:
    """Return the record's run, relaxations widened by the largest lag: a late arm is still in its move."""
    by_joint: dict[str, float] = {}
    for number in numbers:
        if number.kind == "lag":
            for joint in number.targets:
                by_joint[joint] = by_joint.get(joint, 0.0) + number.most
    widest = max(by_joint.values(), default=0.0)
    relaxed = tuple(replace(r, start_s=r.start_s - widest, end_s=r.end_s + widest) for r in record.relaxed)
    return Run(record.phases, record.motion, record.moves, record.events, relaxed, record.shortfalls)


class _Part(NamedTuple):
    """Pairs of a window and what is known of each, as in Window."""

    pairs: np.ndarray
    required_m: Array
    nominal_m: Array
    row: np.ndarray


class _Maker:
    """Collects windows and watched pairs phase by phase."""

    def __init__(self, record: Record, run: Run, watch_m: float) -> None:
        self.scene, self.run, self.watch_m = record.scene, run, watch_m
        self.windows: list[Window] = []
        self.watched: dict[Watched, int] = {}
        self.nominal: list[float] = []
        self.trees: list[Tree] = []
        self.influences: list[Influence] = []
        self.left_out = self.touching = 0

    def add(self, number: int, phase: Phase, numbers: tuple[Drawn, ...], most: Array) -> None:
        """Take up the windows of a phase; those of the same start and end become one."""
        motion = self.run.motion.between(phase.start_s, phase.end_s)
        pairs, moves = judged_pairs(self.scene, phase.tree, motion)
        pairs = pairs[moves]
        levers = influence(phase.tree, self.run.motion, numbers)
        found: dict[tuple[float, float], list[_Part]] = {}
        asked = Requirement(self.scene, phase.tree, pairs, self.run.relaxed)
        for rows in asked.groups(phase.start_s, phase.end_s) if phase.end_s > phase.start_s else ():
            room = levers.shifts_m(pairs[rows], most)
            for window in asked.windows(phase.start_s, phase.end_s, rows):
                part = self._window(phase, window, room)
                if len(part.pairs):
                    found.setdefault((window.start_s, window.end_s), []).append(part)
        every = [part.pairs.ravel() for parts in found.values() for part in parts]
        used = np.unique(np.concatenate(every)) if every else np.zeros(0, dtype=np.int64)
        self.trees.append(_with_bodies(phase.tree, used))
        self.influences.append(replace(levers, lever_m=levers.lever_m[used], own=levers.own[used]))
        for (start, end), parts in sorted(found.items()):
            pairs, required, nominal, row = (np.concatenate(columns) for columns in zip(*parts, strict=True))
            # rows of the small tree: the used bodies in their old order
            self.windows.append(Window(number, start, end, np.searchsorted(used, pairs), required, nominal, row))

    def _window(self, phase: Phase, asked: Asked, room_m: Array) -> _Part:
        self.touching += int(np.count_nonzero(asked.required_m <= 0.0))
        asks = asked.required_m > 0.0
        pairs, required, why, room_m = asked.pairs[asks], asked.required_m[asks], asked.why[asks], room_m[asks]
        near, nominal = np.zeros(len(pairs), dtype=bool), np.zeros(0)
        if len(pairs):
            bounds = prove_clearance(
                phase.tree, self.run.motion, pairs, report_distance_m=required + self.watch_m + room_m,
                start_s=asked.start_s, end_s=asked.end_s, tolerance_m=5e-3,
            )  # fmt: skip
            near, nominal = bounds.status != FARTHER, np.maximum(bounds.lower_m, 0.0) - required
        self.left_out += int(np.count_nonzero(~near))
        row = [
            self._row(phase.tree, pair, float(least), str(word), float(margin))
            for pair, least, word, margin in zip(pairs[near], required[near], why[near], nominal[near], strict=True)
        ]
        return _Part(pairs[near], required[near], nominal[near], np.array(row, dtype=np.int64))

    def _row(self, tree: Tree, pair: np.ndarray, required_m: float, why: str, margin_m: float) -> int:
        """Return the row of a watched pair, new or known, and keep its nominal margin."""
        a, b = pair.tolist()
        classes = self.scene.body_classes(tree)
        key = Watched(tree.bodies[a].name, tree.bodies[b].name, classes[a], classes[b], required_m, why)
        row = self.watched.setdefault(key, len(self.watched))
        if row == len(self.nominal):
            self.nominal.append(self.watch_m)
        self.nominal[row] = min(self.nominal[row], margin_m)
        return row

    def problem(self, numbers: tuple[Drawn, ...]) -> Problem:
        """Return what was collected."""
        return Problem(
            numbers, tuple(self.trees), tuple(self.influences), self.run.motion, tuple(self.windows),
            tuple(self.watched), self.watch_m, self.left_out, self.touching, np.array(self.nominal),
        )  # fmt: skip


def _with_bodies(tree: Tree, rows: np.ndarray) -> Tree:
    """Return a tree with some of its bodies only, in their order."""
    keep = {tree.bodies[row].name for row in rows.tolist()}
    mountings = [
        replace(m, model=replace(m.model, bodies=tuple(b for b in m.model.bodies if f"{m.instance}/{b.name}" in keep)))
        for m in tree.mountings
    ]
    return Tree(tuple(mountings))


# -- runs ----------------------------------------------------------------------------------------------------


def prove_runs(problem: Problem, seed: int, runs: Sequence[int]) -> Outcome:
    """Draw and prove some runs; each depends on the seed and its number alone."""
    shape = (len(runs), len(problem.watched))
    lower, upper = np.full(shape, problem.watch_m), np.full(shape, problem.watch_m)
    time = np.full(shape, np.nan)
    values = np.empty((len(runs), len(problem.numbers)))
    for k, run in enumerate(runs):
        values[k] = draw(problem.numbers, seed, run)
        _prove(problem, values[k], lower[k], upper[k], time[k])
    return Outcome(np.array(runs, dtype=np.int64), values, lower, upper, time)


def _prove(problem: Problem, values: Array, lower: Array, upper: Array, time: Array) -> None:
    """Prove one run and enter the least margins of every watched pair into rows (W,)."""
    shown = displacement(problem.numbers, values)
    motion = moved(problem.numbers, values, problem.motion)
    size = np.abs(values)
    placed: dict[int, Placed] = {}
    for window in problem.windows:
        shift = problem.influences[window.phase].shifts_m(window.pairs, size)
        near = np.flatnonzero(window.nominal_m - shift < problem.watch_m)
        if not len(near):
            continue
        if window.phase not in placed:
            placed[window.phase] = place_bodies(shown.of(problem.trees[window.phase]))
        used, pairs = np.unique(window.pairs[near], return_inverse=True)
        pairs = pairs.reshape(-1, 2)
        layout = _only(placed[window.phase], used).lay_out(pairs)
        bounds = Prover(problem.trees[window.phase], pairs, layout).bounds(
            motion, report_distance_m=window.required_m[near] + problem.watch_m, tolerance_m=TOLERANCE_M,
            start_s=window.start_s, end_s=window.end_s,
        )  # fmt: skip
        required, row = window.required_m[near], window.row[near]
        low = np.minimum(np.maximum(bounds.lower_m, 0.0) - required, problem.watch_m)
        high = np.minimum(bounds.upper_m - required, problem.watch_m)
        nearer = high < upper[row]
        time[row[nearer]] = bounds.time_s[nearer]
        lower[row] = np.minimum(lower[row], low)
        upper[row] = np.minimum(upper[row], high)


def _only(placed: Placed, rows: np.ndarray) -> Placed:
    """Return some of the bodies."""
    solids = placed.solids
    return Placed(
        placed.joints, placed.frames, Solids(solids.form[rows], solids.size[rows], solids.verts, solids.centre[rows]),
        placed.frame[rows], placed.core[rows],
    )  # fmt: skip
