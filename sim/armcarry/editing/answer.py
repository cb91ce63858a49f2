"""What a change is answered with: margin along the way, what is tightest and how that changed, joints, failures."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.quantities import clock, rounded_down
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow

if TYPE_CHECKING:
    from armcarry.record.record import Record

#: pairs that are told
TIGHTEST = 5


@dataclass(frozen=True)
class Tight:
    """A pair that comes near, and by how much that changed since the answer before; None where it was not near then."""

    row: PairRow
    change_m: float | None

    def __str__(self) -> str:
        """Return the pair, what is left and the change on a line."""
        row = self.row
        left = "touch" if row.status == "contact" else f"{rounded_down(row.lower_m):.3f} m (>= {row.required_m:g} m)"
        return f"{row.body_a} to {row.body_b} {left} at {clock(row.time_s)}{changed_mm(self.change_m)}"


def changed_mm(change_m: float | None) -> str:
    """Return a change in words: `` +12 mm``; nothing where there is none to tell."""
    if change_m is None or not np.isfinite(change_m) or abs(change_m) < 5e-4:
        return ""
    return f" {round(1000 * change_m):+d} mm"


@dataclass(frozen=True)
class Joint:
    """How far a joint stays from its ends of travel, rad or m: least margin, what is asked, the change since before."""

    name: str
    margin: float
    asked: float
    change: float | None
    unit: str

    @property
    def kept(self) -> bool:
        """Whether it keeps what is asked."""
        return self.margin >= self.asked


@dataclass(frozen=True)
class Flown:
    """One move of the long form on the clock.

    Attributes:
        carry, number: of the long form, from 1.
        written: carry and move in the script, from 0.
        title: its name or words.
        start_s, end_s: when.
        margin_m: the least margin in it, at most as far as is looked; nan while it is not proven.
    """

    carry: str
    number: int
    written: tuple[int, int]
    title: str
    start_s: float
    end_s: float
    margin_m: float


@dataclass(frozen=True)
class OnClock:
    """One step of the day on the clock.

    Attributes:
        name, title: of the step; of the long form, where it followed from one by intent.
        number: of the step in the script, from 0; None where it followed from one by intent.
        actors: who does it.
        start_s, end_s: when.
        critical: whether any delay of it delays the end of the day.
    """

    name: str
    title: str
    number: int | None
    actors: tuple[str, ...]
    start_s: float
    end_s: float
    critical: bool


@dataclass(frozen=True, eq=False)
class WayOfTool:
    """Where the tool goes, and the margin there: (N,) instants, (N, 3) points, (N,) margin after each, nan unproven."""

    times_s: Array
    points_m: Array
    margin_m: Array


@dataclass(frozen=True, eq=False)
class Answer:
    """What is known after a change.

    Attributes:
        number: of the answer, from 1.
        title: the change that it answers.
        took_s: seconds that it took.
        planned, proven: moves that were planned, and stretches that were proven, for it; the others are as they were.
        record: the run, of whose pairs only those are in it that come near.
        moves: in the order of time.
        way: of the tool.
        tightest: pairs, the one that matters most first.
        joints: of the arm, the tightest first.
        failing: what fails of what is known at once: moves that cannot be made, pairs too near, joints too far.
        later: findings of each check that was computed in the background, by name.
        open: checks that are still being computed; empty when all are told or none was asked for.
        problem: why checks were not computed, empty where nothing went wrong.
        change_s: of the duration.
        left: moves of the script that are still being worked out, at whose beginning the record ends; of a day, whose
            record is whole, stretches that are still being proven; 0 for none.
        steps: of the day on the clock, in the order of the script; none without a day.
    """

    number: int
    title: str
    took_s: float
    planned: int
    proven: int
    record: Record
    moves: tuple[Flown, ...]
    way: WayOfTool
    tightest: tuple[Tight, ...]
    joints: tuple[Joint, ...]
    failing: tuple[Finding, ...]
    change_s: float | None = None
    later: dict[str, tuple[Finding, ...]] = field(default_factory=dict)
    open: tuple[str, ...] = ()
    problem: str = ""
    left: int = 0
    steps: tuple[OnClock, ...] = ()

    @property
    def duration_s(self) -> float:
        """How long the run is."""
        return self.record.duration_s

    @property
    def margin_m(self) -> float:
        """The least margin anywhere that is proven."""
        return min((move.margin_m for move in self.moves if not np.isnan(move.margin_m)), default=float("inf"))

    @property
    def failed(self) -> tuple[Finding, ...]:
        """All that fails as far as it is known: a check that was computed takes the place of what was known at once."""
        at_once = [item for item in self.failing if item.check not in self.later]
        told = [item for found in self.later.values() for item in found if item.verdict is Verdict.FAIL]
        return (*at_once, *told)

    @property
    def passes(self) -> bool | None:
        """Whether nothing fails; None while moves or checks are still being worked out and nothing failed yet."""
        if self.failed:
            return False
        return None if self.open or self.left or self.problem or not self.later else True
