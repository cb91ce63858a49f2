"""Ways of free moves, found where the straight one comes too near something, from where the arm is by then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from armcarry.asked.tightness import Tightness
from armcarry.files.documents.carries import Carry, Move
from armcarry.geometry.poses import Array
from armcarry.planning.other_goals import flyable_goals, following
from armcarry.planning.roadmap import find_way
from armcarry.planning.route import written_way
from armcarry.planning.space import space_between
from armcarry.planning.ways import THERE, arcs_of
from armcarry.scene.build import Scene
from armcarry.timeline.moves import plan_carries
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.variants import plan_all
from armcarry.timeline.walkthrough import walk_through
from armcarry.timeline.widen import widened

Tell = Callable[[str, float], None]

#: seeds that are tried one after another
SEEDS = (1, 2)


@dataclass(frozen=True, eq=False)
class FoundWays:
    """What was found.

    Attributes:
        ways: as they are written.
        told: in words.
        lost: carry and move of each way that was chosen and could not be found.
    """

    ways: list[dict[str, Any]]
    told: list[str]
    lost: list[tuple[str, str]]


class _LostError(Exception):
    """A way that was chosen could not be found: what follows is not looked at, as all is chosen anew."""


def find_ways(
    scene: Scene, tell: Tell, chosen: Mapping[tuple[str, str], Array] | None = None, *, last: bool = True
) -> FoundWays:
    """Find the ways of all moves that say ``way: find`` and are not free as they are.

    Args:
        scene: of the long form.
        tell: told what is being done.
        chosen: postures (G, A) in which moves were chosen to end, by carry and move: straight to the first of them
            where that is free from where the arm is by then, else by a way to any.
        last: go on by another branch where none is found; else leave off there.
    """
    finder = Finder(scene, tell, chosen or {}, last)
    with suppress(_LostError):
        _through(scene, finder, tell)
    return FoundWays(finder.ways, finder.told, finder.lost)


def _through(scene: Scene, finder: Finder, tell: Tell) -> None:
    """Fly through the script and find its ways."""
    script = scene.loaded.scenario
    if script.day is not None:
        walk_through(scene, script.day, None, tell, finder.ready)
    else:
        way = Way(scene.tree, scene.position)
        for count, carry in enumerate(script.carries):
            tell(f"finding ways of {carry.name}", count / len(script.carries))
            ready = finder.ready(carry, way) if carry.moves else carry
            way, shortfall = plan_all(scene, (ready,), way, flown=way.moves)
            if shortfall is not None:
                break


@dataclass
class Finder:
    """Looks for the ways of free moves, carry after carry, from where everything is by then.

    Attributes:
        quick: take the first way that is free, see ``find_way``.
        ways, told: what was found so far, as it is written and in words.
    """

    scene: Scene
    tell: Tell
    chosen: Mapping[tuple[str, str], Array] = field(default_factory=dict)
    last: bool = True
    quick: bool = False
    ways: list[dict[str, Any]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    lost: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.tightness = Tightness(self.scene, bending=True)

    def ready(self, carry: Carry, way: Way) -> Carry:
        """Return a carry with ways in place of the moves that need one, from where everything is by then."""
        number = 0
        while number < len(carry.moves):
            if carry.moves[number].way == "find":
                carry = self._with_way(carry, way, number)
            number += 1
        return carry

    def _with_way(self, carry: Carry, start: Way, number: int) -> Carry:
        """Return the carry with the way found for one of its moves, or as it is where none is needed or found."""
        before, short_of = plan_carries(
            self.scene, (carry.model_copy(update={"moves": carry.moves[:number]}),), Way(start.tree, start.position)
        )
        if short_of is not None:
            return carry
        at = Way(before.tree, before.position)
        meant = self.chosen.get((carry.name, carry.moves[number].name or ""))
        if meant is not None and (taken := self._as_chosen(carry, number, at, meant)) is not None:
            return taken
        rest = carry.model_copy(update={"moves": [carry.moves[number], *following(carry, number).moves]})
        planned, shortfall = plan_carries(self.scene, (rest,), at)
        short = "what follows cannot be flown from where the straight one ends"
        if shortfall is None:
            lacking = self._lacking_m(planned.moves)
            if lacking <= 0.0:
                return carry
            short = f"straight, it or what follows is {lacking:.2f} m short"
        goals, least = flyable_goals(self.scene, carry, number, at)
        if shortfall is None and (not len(goals) or lacking <= least):
            goals = planned.moves[0].end[None, self.scene.arm_columns]
        return self._sought(carry, number, at, goals, short)

    def _as_chosen(self, carry: Carry, number: int, at: Way, goals: Array) -> Carry | None:
        """Return the carry with the way to where it was chosen to end; None where there is none."""
        here = at.position[self.scene.arm_columns]
        points = np.stack([here, goals[0]])
        if np.abs(goals[0] - here).max() < THERE:
            return self._with(carry, number, points, "")
        space = space_between(self.scene, at.tree, at.position, points, as_ends=True)
        if float(space.margins(arcs_of(points)[0], give_up_m=0.0).lower_m.min()) >= 0.0:
            return self._with(carry, number, points, "")
        self.tell(f"finding a way for {carry.moves[number].name or carry.name}", 0.5)
        way = find_way(space, here, goals, seed=SEEDS[0], thorough=self.last)
        if way.free:
            return self._with(carry, number, way.points, f"{way.least_m:.2f} m to spare")
        self.lost.append((carry.name, carry.moves[number].name or ""))
        if not self.last:
            raise _LostError
        return None

    def _with(
        self, carry: Carry, number: int, points: Array, words: str, why: str = "straight, it is not free"
    ) -> Carry:
        """Return the carry with a way in place of a free move, which is kept; what is said of it is told."""
        move = carry.moves[number]
        new = written_way(self.scene, points, move, {})
        if np.abs(points - points[0]).max() < THERE:  # it is there already
            new = {"to_joints": {}}
        why = why if words else "chosen with the rest of the day"
        self.ways.append({"carry": carry.name, "move": move.name, "to_joints": new["to_joints"],
                          **({"via": new["via"]} if "via" in new else {}), "why": why})  # fmt: skip
        if words:
            self.told.append(f"{self._name(carry, number)}: another way, {words} ({why})")
        fresh = Move.model_validate({"to_joints": new["to_joints"], "via": new.get("via", [])})
        kept = ("name", "say", "rate", "tip_speed", "relax")
        fresh = fresh.model_copy(update={key: getattr(move, key) for key in kept})
        return carry.model_copy(update={"moves": [*carry.moves[:number], fresh, *carry.moves[number + 1 :]]})

    def _name(self, carry: Carry, number: int) -> str:
        """Return what a move is called in words, with where it is written."""
        move = carry.moves[number]
        where = self.scene.loaded.written_at("move", carry.name, str(number + 1))
        return f"{move.name or f'{carry.name} move {number + 1}'}{f', {where}' if where else ''}"

    def _sought(self, carry: Carry, number: int, at: Way, goals: Array, short: str) -> Carry:
        move, columns = carry.moves[number], self.scene.arm_columns
        name = self._name(carry, number)
        here = at.position[columns]
        for seed in SEEDS if len(goals) else ():
            self.tell(f"finding a way for {move.name or carry.name}", 0.5)
            space = space_between(self.scene, at.tree, at.position, np.stack([here, goals[0]]), as_ends=True)
            way = find_way(space, here, goals, seed=seed, quick=self.quick)
            if way.free:
                return self._with(carry, number, way.points, f"{way.least_m:.2f} m to spare", short)
        self.told.append(f"{name}: no way was found; {short}; armcarry route says what blocks it")
        return carry

    def _lacking_m(self, moves: Sequence[PlannedMove]) -> float:
        """Return by how much a free move, or those behind it, come too near something; 0 where they do not."""
        first, *rest = moves
        lacking = [
            self.tightness.lacking_m(one.tree, widened(self.scene, one.path.curve, one.start))
            for one in rest if one.path is not None
        ]  # fmt: skip
        return max([-self._straight_m(first), *lacking, 0.0])

    def _straight_m(self, flown: PlannedMove) -> float:
        """Return the margin of a move as it is, as a way's is counted: what its ends lack is not the way's."""
        if flown.path is None:
            return 0.0
        columns = self.scene.arm_columns
        ends = np.stack([flown.start[columns], flown.end[columns]])
        space = space_between(self.scene, flown.tree, flown.start, ends, as_ends=True)
        return min(space.along(flown.path.curve), float(space.margins(arcs_of(ends)[0]).lower_m.min()))
