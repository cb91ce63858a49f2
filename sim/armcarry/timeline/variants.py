"""Variants of a carry: flown again with other hardware, or flown backwards. Every result is computed anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from pydantic import BaseModel

from armcarry.errors import MotionError
from armcarry.files.documents.carries import AttachTo, Carry, Detach, Move
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.path import Path, joint_segment
from armcarry.scene.build import PLATFORM, Scene
from armcarry.timeline.memory import Memory
from armcarry.timeline.moves import plan_carries, switch
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.run import Shortfall

#: joint positions nearer than this are the same, rad
_SAME = 1e-9


def plan_all(
    scene: Scene,
    carries: Sequence[Carry],
    start: Way,
    tell: Callable[[int, int], None] | None = None,
    flown: Sequence[PlannedMove] = (),
    memory: Memory | None = None,
) -> tuple[Way, Shortfall | None]:
    """Plan carries one after another as plan_carries does, variants among them.

    Args:
        flown: moves planned earlier, of carries that a variant may be of.
        memory: what was planned of this scene before.
    """
    way = start
    known = tuple(flown)
    waiting: list[Carry] = []
    shortfall: Shortfall | None = None
    for carry in (*repeated(scene, carries), None):
        if carry is not None and carry.reverse_of is None:
            waiting.append(carry)
            continue
        if waiting:
            way, shortfall = plan_carries(scene, tuple(waiting), way, tell, memory)
            waiting = []
        if carry is None or shortfall is not None or (memory is not None and memory.stopped):
            break
        way = fly_back(scene, way, carry, (*known, *way.moves))
    return way, shortfall


def repeated(scene: Scene, carries: Sequence[Carry]) -> tuple[Carry, ...]:
    """Return the carries with the moves of every ``repeat_of`` written out, hardware replaced by name."""
    by_name = {carry.name: carry for carry in scene.loaded.scenario.carries}
    return tuple(_written_out(carry, by_name) for carry in carries)


def _written_out(carry: Carry, by_name: Mapping[str, Carry]) -> Carry:
    if carry.repeat_of is None:
        return carry
    source = _written_out(by_name[carry.repeat_of], by_name)
    if source.reverse_of is not None:
        hardware = {**source.hardware, **carry.hardware}
        return carry.model_copy(update={"reverse_of": source.reverse_of, "repeat_of": None, "hardware": hardware})
    moves = [renamed(move, carry.hardware) for move in source.moves]
    return carry.model_copy(update={"moves": moves, "repeat_of": None})


def renamed(part: Any, hardware: Mapping[str, str]) -> Any:
    """Return a part of a document with items replaced in every name: ``box`` and ``box/handhold``."""
    if isinstance(part, BaseModel):
        fields = [name for name in type(part).model_fields if name not in _WORDS]
        return part.model_copy(update={name: renamed(getattr(part, name), hardware) for name in fields})
    if isinstance(part, dict):
        return {key: renamed(value, hardware) for key, value in part.items()}
    if isinstance(part, (list, tuple)):
        return type(part)(renamed(value, hardware) for value in part)
    if isinstance(part, str):
        instance, slash, rest = part.partition("/")
        return hardware.get(instance, instance) + slash + rest
    return part


#: fields that hold sentences or names of moves, not names of things
_WORDS = ("say", "why", "title", "name", "through")


def fly_back(scene: Scene, way: Way, carry: Carry, flown: Sequence[PlannedMove]) -> Way:
    """Return the way with the carry that ``carry`` reverses flown from its end to its start.

    The arm goes to where that carry ended first, if it is elsewhere. Every path is taken backwards, what
    was attached is left where it came from and what was left is attached again; times follow anew from
    the load on the way back.

    Raises:
        MotionError: that carry was not flown before.
    """
    source = [planned for planned in flown if planned.carry == carry.reverse_of]
    if not source:
        raise MotionError(f"carry '{carry.name}' reverses '{carry.reverse_of}', which was not flown before it")
    columns = scene.arm_columns
    moves: list[PlannedMove] = []
    tree, position = way.tree, way.position
    for planned in reversed(source):
        if planned.path is not None and np.abs(position - planned.end)[columns].max() > _SAME:
            goal = position.copy()
            goal[columns] = planned.end[columns]
            path = joint_segment(scene.arm_joints, position[columns], goal[columns])
            words = f"to where {carry.reverse_of} ended"
            moves.append(
                PlannedMove(carry.name, len(moves) + 1, Move(to_joints={}), words, tree, tree, position, goal,
                            planned.tool, path)
            )
            position = goal
        back = _backwards(scene, planned, carry, tree, position, len(moves) + 1)
        moves.append(back)
        tree, position = back.after, back.end
    return Way(tree, position, (*way.moves, *moves), way.cost)


def _backwards(
    scene: Scene, planned: PlannedMove, carry: Carry, tree: Any, position: Array, number: int
) -> PlannedMove:
    move = renamed(planned.move, carry.hardware).model_copy(update={"say": "", "name": None})
    end = position.copy()
    changed = planned.start != planned.end
    end[changed] = planned.start[changed]
    back = replace(
        planned, carry=carry.name, number=number, move=move, words=f"back: {planned.words}", tree=tree, after=tree,
        start=position, end=end, path=None if planned.path is None else reversed_path(planned.path), event=None,
    )
    if planned.event is None:
        return back
    item = planned.move.attach or planned.move.detach
    if item is None:
        raise MotionError(f"move {planned.number} of {planned.carry} attaches nothing")
    what = carry.hardware.get(item.what, item.what)
    parent = planned.tree.mounting(item.what).parent
    instance, _, link = parent.partition("/")
    parent = f"{carry.hardware.get(instance, instance)}/{link}"
    if instance == PLATFORM:
        move = Move(detach=Detach(what=what, to=parent, seat=item.seat), relax=move.relax)
    else:
        move = Move(attach=AttachTo(what=what, to=parent, seat=item.seat), relax=move.relax)
    after, event = switch(scene, tree, position, move)
    return replace(back, move=move, after=after, event=event, end=position)


def reversed_path(path: Path) -> Path:
    """Return a path taken from its end to its start; polynomials of s become polynomials of 1 - s, exactly."""
    return replace(path, curve=reversed_motion(path.curve))


def reversed_motion(motion: Motion) -> Motion:
    """Return a motion run backwards over the same interval: q(t) becomes q(start + end - t)."""
    lengths = np.diff(motion.breaks_s)
    count = motion.coefficients.shape[1]
    table = motion.coefficients[::-1].copy()
    for start in range(count - 1):  # Taylor shift of every piece to its own end (Horner)
        for power in range(count - 2, start - 1, -1):
            table[:, power] += lengths[::-1, None] * table[:, power + 1]
    table *= ((-1.0) ** np.arange(count))[None, :, None]
    breaks = (motion.start_s + motion.end_s) - motion.breaks_s[::-1]
    breaks[0], breaks[-1] = motion.start_s, motion.end_s
    return Motion(motion.joints, breaks, table)
