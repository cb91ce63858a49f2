"""What carries come to on the clock: phases, the motion, moves, events, and what could not be made."""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.asked.relaxed import Relaxed
from armcarry.files.documents.arm import LoadName
from armcarry.ledger.book import Ledger
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree


@dataclass(frozen=True, eq=False)
class Phase:
    """A stretch of the run in which nothing is attached or detached; both ends included."""

    start_s: float
    end_s: float
    tree: Tree


@dataclass(frozen=True)
class MoveSpan:
    """One move of a carry on the clock."""

    carry: str
    number: int
    name: str
    kind: str
    start_s: float
    end_s: float
    load: LoadName
    say: str = ""
    words: str = ""
    spare: str = ""

    @property
    def title(self) -> str:
        """The move's name, or its carry, number and kind."""
        return self.name or f"{self.carry} move {self.number} ({self.words or self.kind})"


@dataclass(frozen=True)
class Event:
    """Something is attached to, or left at, a link. ``gap_m`` is how far the two frames were apart."""

    time_s: float
    kind: str
    what: str
    to: str
    gap_m: float
    gap_rad: float


@dataclass(frozen=True)
class Shortfall:
    """A move that cannot be made; the run ends before it."""

    carry: str
    number: int
    title: str
    goal: str
    short_m: float
    short_rad: float
    reason: str
    remedy: str
    time_s: float


@dataclass(frozen=True, eq=False)
class Run:
    """A whole run before anything is measured or judged.

    Attributes:
        ledger: who and what is where, in whose hands; None where nobody wrote it.
    """

    phases: tuple[Phase, ...]
    motion: Motion
    moves: tuple[MoveSpan, ...]
    events: tuple[Event, ...]
    relaxed: tuple[Relaxed, ...]
    shortfalls: tuple[Shortfall, ...]
    ledger: Ledger | None = None
