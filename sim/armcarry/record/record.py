"""The Record: what a rehearsal computed, and nothing a check or a view would have to compute again."""

from __future__ import annotations

import warnings
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.second_opinion import EngineAnswer
from armcarry.errors import RecomputedWarning
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.ledger.book import Ledger
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.quantities import clock, rounded_down, show
from armcarry.record.kept import Kept, Packed
from armcarry.record.matters import weight
from armcarry.record.pairs import PairRow, PairTable
from armcarry.record.picture import INSTANTS, picture
from armcarry.record.together import keeping, leaders
from armcarry.scene.displaced import Displaced
from armcarry.scene.tree import Tree
from armcarry.timeline.log_facts import Logged
from armcarry.timeline.run import Event, MoveSpan, Phase, Shortfall

if TYPE_CHECKING:
    from armcarry.scene.build import Scene
    from armcarry.timeline.plan import DayPlan

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Curve:
    """Least distance of a group of pairs against time: per cell [times_s[k], times_s[k+1]] a proven band (K,)."""

    group: str
    required_m: float
    times_s: Array
    lower_m: Array
    upper_m: Array

    def covers(self, row: PairRow) -> bool:
        """Tell whether a row of the table is one of the pairs of this group."""
        classes = " to ".join(sorted((row.class_a, row.class_b)))
        return row.required_m == self.required_m and self.group.split(", ", 1)[0] == classes

    def covered(self, table: PairTable) -> np.ndarray:
        """Tell which rows (R,) of the table are pairs of this group."""
        first, second = self.group.split(", ", 1)[0].split(" to ", 1)
        found = np.asarray(table.required_m == self.required_m)
        return np.asarray(found & (table.of_classes(first, second) | table.of_classes(second, first)))


@dataclass(frozen=True, eq=False)
class Record:
    """A run: its scene, motion and proven clearances.

    A check of another package may use, and will find in later versions: ``duration_s``, ``scene.loaded`` (the
    documents as read, among them ``rules`` and ``scenario``), ``scene.arm_joints``, ``phases``, ``moves``, ``events``,
    ``relaxed``, ``shortfalls``, ``pairs``, ``curves``, ``tightest``, ``bodies``, ``motion.at``, ``motion.extremes``,
    ``phase_at``, ``move_at``, ``link_poses``, ``link_path``, ``body_poses``. It changes nothing in them. The rest may
    change.

    Attributes:
        scene: documents, models and the tree at the start.
        phases: trees in time order, covering the run without gaps.
        motion: every joint of the tree over the whole run.
        moves, events: what happens when.
        shortfalls: moves that could not be made; the run ends before the first.
        pairs: proven clearance of every pair, in motion and at rest; ``table`` has the same in columns.
        curves: clearance against time by group of classes.
        slip: steps of the day that take longer, and by how many seconds.
        failed: steps of the day that are tried, fail and are followed by their fallback.
        engines: what other engines say of the tightest pairs; empty when they were not asked.
        logged: what is known of the log when the motion is a logged one; the carries are then not planned.
        log_data, log_columns: bytes of that log, and of the file that says what its columns hold.
        judged: results as the run folder holds them, by name; None for a run that was not loaded.
        displaced: what stands beside its nominal place, in a perturbed run; ``phases`` and ``motion`` have it already.
        kept: the ledger as the run wrote it; ask ``ledger``.
    """

    scene: Scene
    phases: tuple[Phase, ...]
    motion: Motion
    moves: tuple[MoveSpan, ...]
    events: tuple[Event, ...] = ()
    relaxed: tuple[Relaxed, ...] = ()
    shortfalls: tuple[Shortfall, ...] = ()
    pairs: Sequence[PairRow] = ()
    curves: tuple[Curve, ...] = ()
    timings_s: dict[str, float] = field(default_factory=dict)
    slip: dict[str, float] = field(default_factory=dict)
    failed: tuple[str, ...] = ()
    engines: tuple[EngineAnswer, ...] = ()
    logged: Logged | None = None
    log_data: bytes = b""
    log_columns: bytes = b""
    displaced: Displaced | None = None
    kept: Ledger | None = None
    judged: Mapping[str, Packed] | None = None

    def __repr__(self) -> str:
        """Return what the run is, on a line."""
        words = [repr(self.scene.loaded.scenario.title[:60]), clock(self.duration_s), f"{len(self.moves)} moves"]
        words.append(f"{len(self.pairs)} rows of pairs")
        return f"Record({', '.join(words)})"

    def _repr_html_(self) -> str:
        """Return what a notebook shows: the run and its tightest pair."""
        title, row = escape(self.scene.loaded.scenario.title), self.tightest
        near = "no pair has a required clearance"
        if row is not None:
            pair, least = escape(f"{row.body_a} to {row.body_b}"), show(rounded_down(row.lower_m), "length")
            asked = show(row.required_m or 0.0, "length")
            near = f"tightest: {pair}, {least} at {clock(row.time_s)} ({asked} required)"
        words = f"<b>{title}</b><br>{clock(self.duration_s)}, {len(self.moves)} moves<br>{near}"
        way = self.link_path(self.scene.arm_tip, np.linspace(0.0, self.duration_s, INSTANTS))[:, :3, 3]
        return f"<p>{words}</p>{picture(way, row.point_a if row is not None and np.isfinite(row.upper_m) else None)}"

    @cached_property
    def ledger(self) -> Ledger:
        """Who and what is where, in whose hands, hooked to what; written now where the run came without it."""
        from armcarry.timeline.written import ledger_of

        if self.kept is not None:
            return self.kept
        return ledger_of(self.scene, self.plan, self.phases, self.motion, self.moves, self.events)

    @cached_property
    def plan(self) -> DayPlan | None:
        """The day worked out with the carries as they were flown; None without a day, or for a logged motion."""
        from armcarry.timeline.plan import flown_s, plan_day

        day = self.scene.loaded.scenario.day
        if day is None or self.logged is not None:
            return None
        return plan_day(self.scene, day, flown_s(self.scene, self.moves), slip=self.slip, failed=self.failed)

    def once(self, make: Callable[[Record], T]) -> T:
        """Return what a function makes of this record, worked out the first time; working memory, never written."""
        if make not in self._made:
            self._made[make] = make(self)
        return cast(T, self._made[make])

    def result(self, kept: Kept[T]) -> T:
        """Return a result that is kept with the run: as it was judged, or worked out the first time.

        Raises:
            RecordError: the run folder holds it, but damaged.

        Warns:
            RecomputedWarning: the run was judged before, but its folder holds no such result, or another version's.
        """
        if kept not in self._made:
            self._made[kept] = self._kept_or_made(kept)
        return cast(T, self._made[kept])

    def _kept_or_made(self, kept: Kept[T]) -> T:
        data = (self.judged or self._packed).get(kept.name)
        found = None if data is None else kept.unpack(self, data)
        if found is not None:
            return found
        if self.judged is not None:
            lacking = "does not hold" if data is None else "holds in the form of another version"
            words = f"the run folder {lacking} what was judged of '{kept.name}'"
            warnings.warn(f"{words}; it is worked out anew and may differ from the findings", RecomputedWarning)
        return kept.compute(self)

    def results(self) -> Iterator[tuple[str, Packed]]:
        """Give the results that were worked out, and those that came with the run, by name, packed one by one."""
        made = {item.name: (item, value) for item, value in self._made.items() if isinstance(item, Kept)}
        yield from ((name, packed) for name, packed in (self.judged or {}).items() if name not in made)
        yield from ((name, packed) for name, packed in self._packed.items() if name not in made)
        for name, (item, value) in made.items():
            if name not in self._packed:
                self._packed[name] = item.pack(self, value)
            yield name, self._packed[name]

    def take(self, results: Mapping[str, Packed]) -> None:
        """Take results of this run that were worked out in another process, packed, by name."""
        self._packed.update(results)

    @cached_property
    def _made(self) -> dict[Any, Any]:
        return {}

    @cached_property
    def _packed(self) -> dict[str, Packed]:
        """Results as they are written: a hundredth of what they take when they are worked with."""
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Leave out, when a record is sent to another process, what can be worked out again."""
        return {name: value for name, value in self.__dict__.items() if name not in ("_made", "_packed")}

    @property
    def duration_s(self) -> float:
        """Length of the run in seconds."""
        return self.motion.end_s

    @cached_property
    def table(self) -> PairTable:
        """``pairs`` as columns: what asks about all of them asks there."""
        return PairTable.of(self.pairs)

    @cached_property
    def tightest(self) -> PairRow | None:
        """The row that matters most (see ``record.matters``); None when no pair has a rule."""
        table = self.table
        rows = np.flatnonzero(~np.isnan(table.required_m) & ~table.meant)
        order = np.lexsort((table.upper_m[rows], table.margin_m[rows], self.weights[rows]))
        return table[int(rows[order[0]])] if len(rows) else None

    @cached_property
    def leaders(self) -> dict[str, str]:
        """The link that leads each link (see ``record.together``): what every view moves as one."""
        return leaders(self.phases, self.motion)

    @cached_property
    def still(self) -> np.ndarray:
        """Which rows (R,) of the table are of bodies that keep one distance over the whole run."""
        return keeping(self.table, self.phases, self.motion)

    @cached_property
    def apart(self) -> np.ndarray:
        """Which rows (R,) of the table stand apart from what the carry does (see ``record.matters``)."""
        return np.asarray(self.table.own | self.still)

    @cached_property
    def weights(self) -> Array:
        """How much each row (R,) matters over its window, the least first; inf for what is no headline."""
        return weight(self.table.lower_m, self.table.required_m, self.apart)

    def weight_of(self, row: PairRow) -> float:
        """Return how much one row of the table matters."""
        return float(self.weights[k]) if (k := self.table.number(row)) is not None else float("inf")

    def least_of(self, curve: Curve) -> PairRow | None:
        """Return the row that says how near the bodies of a curve come, and when; None where no row is of them.

        The curve bounds whole cells of time; what is told of its least is what the table of pairs proves.
        """
        table = self.table
        rows = np.flatnonzero(curve.covered(table) & ~table.meant)
        if not len(rows):
            return None
        return table[int(rows[np.lexsort((table.upper_m[rows], table.lower_m[rows]))[0]])]

    def phase_at(self, time_s: float) -> Phase:
        """Return the phase at time_s; at a switch the later one."""
        return self.phases[max(bisect_right(self._starts_s, time_s) - 1, 0)]

    @cached_property
    def _starts_s(self) -> list[float]:
        return [phase.start_s for phase in self.phases]

    def link_poses(self, time_s: float) -> tuple[Tree, Array]:
        """Return the tree at time_s and T_world_link (L, 4, 4) of all its links."""
        phase = self.phase_at(time_s)
        return phase.tree, forward(phase.tree, self.motion.at(time_s))

    def body_poses(self, times_s: ArrayLike) -> Array:
        """Return T_world_body (T, B, 4, 4) at times_s (T,), bodies in the order of ``bodies``."""
        links, which, local = self._seats
        return np.asarray(self.link_paths(links, times_s)[:, which] @ local)

    @cached_property
    def _seats(self) -> tuple[tuple[str, ...], np.ndarray, Array]:
        """Return the links that bodies sit on, the row of that of each body (B,), and T_link_body (B, 4, 4)."""
        links = {link: k for k, link in enumerate(dict.fromkeys(body.link for body in self.bodies))}
        which = np.array([links[body.link] for body in self.bodies], dtype=np.int64)
        return tuple(links), which, np.stack([body.pose for body in self.bodies])

    def link_path(self, link: str, times_s: ArrayLike) -> Array:
        """Return T_world_link (T, 4, 4) of one link at times_s (T,). Raises FrameError for an unknown link."""
        return self.link_paths((link,), times_s)[:, 0]

    def tool_path(self, times_s: Array) -> Array:
        """Return where the point is that moves steer (T, 3), at times_s (T,)."""
        place = np.empty((len(times_s), 3))
        for phase in self.phases:
            inside = (times_s >= phase.start_s) & (times_s <= phase.end_s)
            place[inside] = self.link_path(self.scene.tool(phase.tree), times_s[inside])[:, :3, 3]
        return place

    def link_paths(self, links: Sequence[str], times_s: ArrayLike) -> Array:
        """Return T_world_link (T, K, 4, 4) of links at times, each in the phase that holds then."""
        times = np.atleast_1d(np.asarray(times_s, dtype=float))
        result = np.empty((len(times), len(links), 4, 4))
        phase_of = np.maximum(np.searchsorted(self._starts_s, times, side="right") - 1, 0)
        for k in np.unique(phase_of):
            pick = phase_of == k
            result[pick] = forward(self.phases[k].tree, self.motion.at(times[pick]), links)
        return result

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """All bodies by full name; the same in every phase."""
        return self.phases[0].tree.bodies

    def move_at(self, time_s: float) -> MoveSpan | None:
        """Return the move under way at time_s, the later one at a switch; None outside all moves."""
        return next((move for move in reversed(self.moves) if move.start_s <= time_s <= move.end_s), None)


__all__ = ["Curve", "Event", "MoveSpan", "PairRow", "Phase", "Record", "Shortfall"]
