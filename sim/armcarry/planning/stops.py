"""The day seen from the arm: each posture that may be chosen, where everything is by then, and what follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from armcarry.files.documents.carries import Carry, Move
from armcarry.files.documents.steps import Step
from armcarry.files.fitting import position
from armcarry.files.spell import Visit, way_of
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.ledger.state import Page
from armcarry.planning.climbs import Climb
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.base import Travel
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.moves import still_goal, switch
from armcarry.timeline.plan import ways_of
from armcarry.timeline.trolley import rail_with
from armcarry.timeline.variants import repeated
from armcarry.timeline.walked import Walkthrough
from armcarry.timeline.walkthrough import walk_through

#: kinds of move whose end the arm may take on several branches
CHOSEN = ("to_pose", "to_worksite")
Point = Sequence[float]

#: kinds that move the arm without a choice
LED = ("line", "to_joints", "one_joint")


@dataclass(frozen=True, eq=False)
class Piece:
    """One move of the arm, and where everything else is and what hangs from what meanwhile.

    ``position`` is the joint vector (n,) with the arm wherever it happened to be.
    """

    tree: Tree
    position: Array
    move: Move


@dataclass(frozen=True, eq=False)
class Stop:
    """A posture that may be chosen, and the moves of the arm that are led from it, up to the next choice.

    Attributes:
        carry: whose move leads there, empty for the start of the day.
        piece: that move; for the start, or where the arm is already, one without a goal.
        visit: number of the visit among those of the script, None where the script says the move itself.
        tail: the moves that are led from there.
        known: whether where the tail ends follows from where it begins; a carry flown back ends elsewhere.
        climbs: who gets on and off where some of the tail is flown, and the ways there and on from there.
        travel: the stations that carts leave free for the base by then; None where it does not travel.
    """

    carry: str
    piece: Piece
    visit: int | None = None
    tail: tuple[Piece, ...] = ()
    known: bool = True
    climbs: tuple[Climb, ...] = ()
    travel: Travel | None = None


@dataclass
class _Collected:
    """Walks through the moves of the arm and collects the stops."""

    scene: Scene
    visits: Sequence[Visit]
    waits: Visit | None
    stops: list[Stop] = field(default_factory=list)
    #: visits that a stop was made of
    count: int = 0
    #: who -> T_world_boots (4, 4) of the place they came to last
    places: dict[str, Array] = field(default_factory=dict)
    #: who -> how many stops there were when they came somewhere, and how; when they got off
    came: dict[str, tuple[int, Climb]] = field(default_factory=dict)
    left: dict[str, int] = field(default_factory=dict)
    #: stations that are free for the base by then
    travel: Travel | None = None

    def begin(self) -> None:
        """Begin where the arm is at the start: before the first worksite, where the script leaves that open."""
        move = Move.model_validate({"hold": "0 s"})
        if self.waits is not None:
            site = self.scene.loaded.platform.document.worksites[self.waits.worksite]
            point = position(points_of(self.scene, self.waits)[0])
            move = Move.model_validate({"to_pose": {"frame": f"{PLATFORM}/{site.stand}", "position": point}})
        first = self.waits is not None and bool(self.visits) and self.visits[0] is self.waits
        start = Piece(self.scene.tree, self.scene.position, move)
        self.rail(page_at_start(self.scene.loaded), self.scene.position)
        self.stops.append(Stop("", start, 0 if first else None, travel=self.travel))
        self.count = int(first)

    def rail(self, page: Page, position: Array) -> None:
        """Look which stations carts leave free for the base, where everything is by then."""
        tree, platform = self.scene.tree, self.scene.loaded.platform.document
        joint = platform.mounts[self.scene.loaded.scenario.base.mount].joint
        if joint is not None:
            carts = {name: float(position[tree.column(f"{PLATFORM}/{one.joint}")])
                     for name, one in platform.carts.items()}  # fmt: skip
            here = float(position[tree.column(f"{PLATFORM}/{joint}")])
            self.travel = rail_with(self.scene.loaded, page, here, carts).travel()

    def carry(self, carry: Carry, tree: Tree, position: Array) -> tuple[Tree, Array]:
        """Take up the moves of a carry; return tree and position behind it."""
        if carry.reverse_of is not None:
            self.stops[-1] = replace(self.stops[-1], known=False)
        for move in carry.moves:
            piece = Piece(tree, position, move)
            if move.kind in CHOSEN or move.way == "find":
                self.stops.append(Stop(carry.name, piece, self._visit(piece), travel=self.travel))
            elif move.kind in LED:
                last = self.stops[-1]
                self.stops[-1] = replace(last, tail=(*last.tail, piece))
            elif (goal := still_goal(self.scene, position, move)) is not None:
                position = goal[0]
            elif move.hold is None:
                tree, _ = switch(self.scene, tree, position, move)
        return tree, position

    def person(self, walk: Walkthrough, step: Step) -> None:
        """Take up where people come to in a step, and who gets on or off the arm."""
        ways = ways_of(self.scene)
        for went in ways.walks[step.name] if step.translate is not None else ():
            self.places[went.worker] = went.poses[1]
            if went.motion is None:
                continue
            climb = Climb(step.name, went.worker, False, went.poses[1], walk.tree, walk.position, went.motion)
            self.came[went.worker] = (len(self.stops), climb)
            if self.left.get(went.worker) == len(self.stops):  # off the arm where it still is
                self._add(replace(climb, off=True))
        for who in step.actors if step.kind in ("enter_restraint", "leave_restraint") else ():
            off = step.leave_restraint is not None
            place = ways.stands.get((step.name, who)) if off else self.places.get(who)
            aboard = self._aboard(walk, step, who)
            if place is None or not aboard:
                continue
            if not off and self.came.get(who, (0,))[0] == len(self.stops):  # came to it where it was already
                self._add(self.came[who][1])
            self._add(Climb(step.name, who, off, place, walk.tree, walk.position))
            if off:
                self.places[who], self.left[who] = place, len(self.stops)

    def _add(self, climb: Climb) -> None:
        last = self.stops[-1]
        self.stops[-1] = replace(last, climbs=(*last.climbs, replace(climb, after=len(last.tail))))

    def _aboard(self, walk: Walkthrough, step: Step, who: str) -> bool:
        """Tell whether the restraint that somebody gets into or out of is on the arm."""
        if step.enter_restraint is None:
            return who in self.scene.loaded.crew and walk.tree.hangs_from(who, ARM)
        on = self.scene.restraint_on_arm(walk.tree)
        return on is not None and (step.enter_restraint.which or on) == on

    def _visit(self, piece: Piece) -> int | None:
        """Return the number of the visit that a move is, if it is the next one."""
        if self.count == len(self.visits):
            return None
        visit, move = self.visits[self.count], piece.move
        stand = self.scene.loaded.platform.document.worksites[visit.worksite].stand
        meant = move.to_worksite == visit.worksite
        if move.to_pose is not None and move.way == "find":
            meant = move.to_pose.frame == f"{PLATFORM}/{stand}" and move.to_pose.point is None
        self.count += int(meant)
        return self.count - 1 if meant else None


def stops_of(scene: Scene, visits: Sequence[Visit], waits: Visit | None = None) -> tuple[Stop, ...]:
    """Return the stops of the arm in the order of a script's day, or of its carries; the first is its start.

    Args:
        scene: of the long form.
        visits: worksites that it comes to, in order.
        waits: the place before which the arm starts, wherever its joints are then; None where they are said.
    """
    found, script = _Collected(scene, visits, waits), scene.loaded.scenario
    found.begin()
    carries = {carry.name: carry for carry in repeated(scene, script.carries)}
    if script.day is None:
        tree, position = scene.tree, scene.position
        for carry in carries.values():
            tree, position = found.carry(carry, tree, position)
    else:

        def fly(walk: Walkthrough, step: Step) -> None:
            found.rail(walk.pages[step.name], walk.position)
            walk.tree, walk.position = found.carry(carries[str(step.carry)], walk.tree, walk.position)

        walk_through(scene, script.day, None, lambda words, share: None, flown=fly, seen=found.person)
    return tuple(found.stops)


def points_of(scene: Scene, visit: Visit) -> list[tuple[float, ...]]:
    """Return the points of the plate on a visit's way in, in the frame of its stand."""
    way = way_of(scene.loaded.platform.document.worksites[visit.worksite], visit.loaded)
    return [tuple(a + b for a, b in zip(point, visit.shift, strict=True)) for point in way]


def plate_at(scene: Scene, visit: Visit, stop: Stop) -> Array:
    """Return where the plate is (4, 4) where a stop ends: all the way in, or where one waits before it."""
    stand = scene.loaded.platform.document.worksites[visit.worksite].stand
    there = poses.translation(points_of(scene, visit)[-1 if stop.tail else 0])
    return np.asarray(scene.tree.pose_of(f"{PLATFORM}/{stand}", scene.position) @ there)


def shifted(stop: Stop, by: Point) -> Stop:
    """Return a stop with the plate shifted (3,) in the axes of the stand that it comes to and goes from."""
    if not any(by):
        return stop

    def moved(piece: Piece) -> Piece:
        move = piece.move
        if move.to_pose is not None:
            goal = move.to_pose.model_copy(update={"position": _beside(move.to_pose.position, by)})
            return replace(piece, move=move.model_copy(update={"to_pose": goal}))
        if move.line is not None and move.line.to is not None:
            line = move.line.model_copy(update={"to": _beside(move.line.to, by)})
            return replace(piece, move=move.model_copy(update={"line": line}))
        return piece

    return replace(stop, piece=moved(stop.piece), tail=tuple(map(moved, stop.tail)))


def _beside(point: Point, by: Point) -> tuple[float, ...]:
    return tuple(a + b for a, b in zip(point, by, strict=True))
