"""Where a rider stops at a worksite, and the instants at which what they do there is judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from armcarry.files.documents.carries import Move
from armcarry.files.documents.steps import ARM
from armcarry.geometry import poses
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.tree import Tree

#: moves during which the arm stands still
STANDING_KINDS = ("hold", "attach", "detach", "appendage", "posture")
#: the plate is on the stand when it is this near, m and rad
NEAR_M = 0.05
NEAR_RAD = 0.1
#: nearer than this to the stand, a pose given in its frame is one to work from, not one to wait or pass at, m
AT_STAND_M = 0.5
#: turned farther from the stand than this, one does not face the work there, rad
AT_STAND_RAD = 0.8
#: a move is judged this long before its end, when what follows at once has not changed anything, s
LAST_S = 1e-3


@dataclass(frozen=True)
class Stop:
    """A stay at a worksite, from arriving to the next move of the arm.

    Attributes:
        worksite: its name.
        title: title of the move that arrives.
        start_s, end_s: when the arm stands there.
        times_s: instants to judge: just before the arm has arrived and before each thing done there ends, so
            with what is in the hands until then; and when something is taken or left.
    """

    worksite: str
    title: str
    start_s: float
    end_s: float
    times_s: tuple[float, ...]


def stops(record: Record) -> tuple[Stop, ...]:
    """Find every stay at a worksite with somebody aboard.

    The plate must be within NEAR_M and NEAR_RAD of the worksite's stand when a move ends, or the move must be
    one to a pose given in the stand's frame (a stand turned about its normal, say) within AT_STAND_M of it. On a
    day the ends of the steps done there by those aboard, until the arm or its base moves again, are judged too.
    """
    return _stops(record, _arrival)


def near_stops(record: Record) -> tuple[Stop, ...]:
    """Find where the arm rests with somebody aboard within AT_STAND_M and AT_STAND_RAD of a stand, however it came."""
    return tuple(stop for stop in _stops(record, _near) if stop.end_s > stop.start_s)


def riders(record: Record, stop: Stop) -> dict[str, list[float]]:
    """Return who is aboard during a stop, and at which of its instants."""
    found: dict[str, list[float]] = {}
    for time_s in stop.times_s:
        for crew in record.scene.aboard(record.phase_at(time_s).tree):
            found.setdefault(crew, []).append(time_s)
    return found


def plate_gap(record: Record, worksite: str, time_s: float, restraint: str | None = None) -> tuple[float, float]:
    """Return how far a restraint's plate is from a worksite's stand at an instant, m and rad; infinitely without one.

    Args:
        restraint: its name; the one on the arm then, by default.
    """
    tree, links = record.link_poses(time_s)
    name = restraint or record.scene.restraint_on_arm(tree)
    if name is None:
        return np.inf, np.inf
    stand = record.scene.loaded.platform.document.worksites[worksite].stand
    plate = links[tree.index(record.scene.plate(name))]
    gap = poses.inverse(links[tree.index(f"{PLATFORM}/{stand}")]) @ plate
    return float(np.linalg.norm(gap[:3, 3])), float(np.linalg.norm(poses.rotation_vector(gap)))


def worksite_at(record: Record, restraint: str, time_s: float) -> str:
    """Return the worksite that a restraint stands before at an instant, the nearest of several; empty for none."""
    sites = record.scene.loaded.platform.document.worksites
    gaps = {name: plate_gap(record, name, time_s, restraint) for name in sites}
    near = [name for name, (metres, turned) in gaps.items() if metres <= AT_STAND_M and turned <= AT_STAND_RAD]
    return min(near, key=lambda name: gaps[name], default="")


def _stops(record: Record, arrives: Callable[[Record, MoveSpan], Stop | None]) -> tuple[Stop, ...]:
    found: list[Stop] = []
    here: Stop | None = None
    for move in record.moves:
        if move.kind in STANDING_KINDS:
            if here is not None:
                here = replace(here, end_s=move.end_s, times_s=(*here.times_s, _judged_s(move)))
                found[-1] = here
            continue
        here = arrives(record, move)
        if here is not None:
            found.append(here)
    found = [_with_steps(record, stop) for stop in found]
    return tuple(stop for stop in found if riders(record, stop))


def _settled(record: Record, move: MoveSpan) -> Tree:
    """Return the tree once the arm has been made safe after a move: who gets off then does not stay to work there."""
    safe = record.scene.loaded.rules.arm_safe
    after_s = 0.0 if safe is None or record.plan is None else safe.make_safe
    return record.phase_at(move.end_s + after_s).tree


def _near(record: Record, move: MoveSpan) -> Stop | None:
    if not record.scene.aboard(_settled(record, move)):
        return None
    restraint = record.scene.restraint_on_arm(_settled(record, move))
    site = "" if restraint is None else worksite_at(record, restraint, move.end_s)
    return Stop(site, move.title, move.end_s, move.end_s, (_judged_s(move),)) if site else None


def _with_steps(record: Record, stop: Stop) -> Stop:
    """Add the instants just before and at the end of every step of the day that is done during a stop."""
    if record.plan is None:
        return stop
    slots = record.plan.schedule.slots
    moving = [slot.start_s for slot in slots if ARM in slot.actors and slot.start_s >= stop.end_s - LAST_S]
    leaves_s = min(moving, default=record.duration_s)
    ends = sorted({slot.end_s for slot in slots if stop.end_s < slot.end_s <= leaves_s and ARM not in slot.actors})
    times = [time for end in ends for time in (end - LAST_S, min(end, leaves_s - LAST_S))]
    return replace(stop, end_s=max(leaves_s, stop.end_s), times_s=(*stop.times_s, *times))


def _judged_s(move: MoveSpan) -> float:
    """Return an instant at the end of a move that still belongs to it; its only one where it takes no time."""
    return max(move.end_s - LAST_S, (move.start_s + move.end_s) / 2)


def _arrival(record: Record, move: MoveSpan) -> Stop | None:
    settled = _settled(record, move)
    sites = record.scene.loaded.platform.document.worksites
    if record.scene.restraint_on_arm(settled) is None or not record.scene.aboard(settled):
        return None
    script = _scripted(record, move)
    for name, site in sites.items():
        frame = f"{PLATFORM}/{site.stand}"
        metres, turned = plate_gap(record, name, move.end_s)
        goal = script.to_pose if script is not None else None
        meant = goal is not None and goal.frame == frame and goal.point in (None, record.scene.tool(settled))
        if (metres <= NEAR_M and turned <= NEAR_RAD) or (meant and metres <= AT_STAND_M):
            return Stop(name, move.title, move.end_s, move.end_s, (_judged_s(move),))
    return None


def _scripted(record: Record, move: MoveSpan) -> Move | None:
    """Return the move of the script, None for one of a variant of another carry."""
    for carry in record.scene.loaded.scenario.carries:
        if carry.name == move.carry and move.number <= len(carry.moves):
            return carry.moves[move.number - 1]
    return None
