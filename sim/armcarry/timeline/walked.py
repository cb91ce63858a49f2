"""What the steps of a day come to before any clock time: what each moves, and what it hangs where."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from armcarry.files.documents.carries import Carry
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import Step
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.ledger.state import Page
from armcarry.motion.curve import Motion
from armcarry.scene.build import PLATFORM, Scene, hang
from armcarry.scene.tree import Tree
from armcarry.timeline.memory import Memory
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.run import Event, Run, Shortfall


@dataclass(frozen=True, eq=False)
class Hang:
    """A thing hangs from another link from some instant of a step on.

    Attributes:
        after_s: seconds after the step's start; None for its end.
        event: what checks are told of it, its time to be set.
    """

    step: str
    after_s: float | None
    instance: str
    parent: str
    pose: Array
    event: Event | None = None


@dataclass(frozen=True, eq=False)
class Moved:
    """Joints a step moves: by a motion that begins with it, or by taking values at its start or end.

    Attributes:
        spread: the motion, given from 0 to 1 s, takes the whole step; else it keeps its own pace.
        last: the motion ends with the step instead of beginning with it.
        share: it takes no more than this share of the step, and is quickened if it must be.
    """

    step: str
    columns: np.ndarray
    motion: Motion | None = None
    spread: bool = False
    last: bool = False
    share: float = 1.0
    values: Array | None = None
    at_end: bool = True


@dataclass(eq=False)
class Walkthrough:
    """Where everything is so far, and what the steps came to; ``pages``: the ledger before each step.

    ``on_rail``: who has both hands on a handrail; ``memory``: moves that were planned and timed before.
    """

    scene: Scene
    day: Day
    tree: Tree
    position: Array
    carries: dict[str, Run] = field(default_factory=dict)
    flown: list[PlannedMove] = field(default_factory=list)
    hangs: list[Hang] = field(default_factory=list)
    moved: list[Moved] = field(default_factory=list)
    steps: set[str] = field(default_factory=set)
    shortfall: Shortfall | None = None
    ready: Callable[[Carry, Way], Carry] | None = None
    pages: Mapping[str, Page] = field(default_factory=dict)
    on_rail: set[str] = field(default_factory=set)
    memory: Memory | None = None

    def slide(self, step: Step, joint: str, to: float) -> None:
        """Move one joint over the whole step, from rest to rest (cubic)."""
        column = np.array([self.scene.tree.column(joint)])
        here = float(self.position[column[0]])
        table = np.array([here, 0.0, 3.0 * (to - here), -2.0 * (to - here)]).reshape(1, 4, 1)
        self.moved.append(Moved(step.name, column, Motion((joint,), np.array([0.0, 1.0]), table), spread=True))
        self.put(column, to)

    def jump(self, step: Step, columns: np.ndarray, values: Array, *, at_end: bool = True) -> None:
        """Let joints take new values when a step begins or ends."""
        self.moved.append(Moved(step.name, columns, values=values, at_end=at_end))
        self.put(columns, values)

    def put(self, columns: np.ndarray, values: Array | float) -> None:
        """Set joints of the position so far."""
        self.position = self.position.copy()
        self.position[columns] = values

    def rehang(
        self, step: Step, what: str, parent: str, pose: Array | None = None, *, at_end: bool = True
    ) -> None:
        """Hang a thing from a link when a step ends, its meeting frame exactly on it, and note how far they were.

        Args:
            pose: where in the link (4, 4) instead.
            at_end: or else when the step begins.

        Nothing hangs from itself: a restraint that is taken by who stands in it stays where it is, and the ledger
        tells why.
        """
        if self.tree.hangs_from(parent.split("/", 1)[0], what):
            return
        gap = self.tree.pose_of(self.scene.meeting_frame(what, parent), self.position, relative_to=parent)
        event = Event(
            0.0, "detach" if parent.startswith(f"{PLATFORM}/") else "attach", what, parent,
            float(np.linalg.norm(gap[:3, 3])), float(np.linalg.norm(poses.rotation_vector(gap))),
        )
        self.tree = hang(self.scene, self.tree, what, parent, self.position, pose)
        after_s = None if at_end else 0.0
        self.hangs.append(Hang(step.name, after_s, what, parent, self.tree.mounting(what).pose, event))
