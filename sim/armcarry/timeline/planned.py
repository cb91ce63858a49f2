"""Moves on their way to a path: one planned move, and the moves planned so far."""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.files.documents.carries import Move
from armcarry.geometry.poses import Array
from armcarry.motion.path import Path
from armcarry.scene.tree import Tree
from armcarry.timeline.run import Event


@dataclass(frozen=True, eq=False)
class PlannedMove:
    """One move with its path and the trees before and behind it.

    ``path`` is None when the arm stands still. ``targets`` are other joints that end elsewhere (appendage,
    posture) and ``lasting_s`` how long that, or a hold, takes.
    """

    carry: str
    number: int
    move: Move
    words: str
    tree: Tree
    after: Tree
    start: Array
    end: Array
    tool: str
    path: Path | None = None
    lasting_s: float = 0.0
    event: Event | None = None


@dataclass(frozen=True, eq=False)
class Way:
    """Moves planned so far, where they end, and what they cost (rad-like, smaller is better)."""

    tree: Tree
    position: Array
    moves: tuple[PlannedMove, ...] = ()
    cost: float = 0.0
