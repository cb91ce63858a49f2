"""Remedies that can be done at once: what a finding asks to change, as one change that is proven and undone at once.

A finding says in words what to change; here that is a change of the script. What costs a search (a way, a branch, a
station) is looked for only when it is chosen.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from armcarry.editing.moves import angle, length
from armcarry.editing.script import Change, Op
from armcarry.errors import ArmcarryError, InputError
from armcarry.files.names import matches
from armcarry.files.plain import plain
from armcarry.planning.route import FREE_KINDS, Stretch, find_routes
from armcarry.record.finding import Finding
from armcarry.whatif.branches import branch_at

if TYPE_CHECKING:
    from armcarry.editing.answer import Answer
    from armcarry.editing.session import Session

#: how a finding says to what share of its rate a move is to be slowed
_SLOWER = re.compile(r"^slow (?P<move>.+?)(?: there)? to (?P<share>[0-9.]+) % of its rate")
#: checks that another way, branch or station may satisfy
_BY_WAY = ("clearance", "budget", "near_people", "joint_margin", "reach")
#: how far from its station the base is tried, m, the nearest first
_STATIONS_M = (0.5, -0.5, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0)
#: the same instant of two proofs, s
_SAME_S = 1e-6


@dataclass(frozen=True, eq=False)
class Remedy:
    """Something that may mend a finding.

    Attributes:
        title: what it does, on a button.
        searches: whether it takes seconds, since something is looked for.
        make: makes the change; raises InputError with the reason where there is none.
    """

    title: str
    searches: bool
    make: Callable[[], Change]


def remedies(session: Session, finding: Finding) -> tuple[Remedy, ...]:
    """Return what may mend a finding of the present answer, what is done at once first."""
    found = [*_slower(session, finding), *_other_states(session, finding)]
    at = _under_way(session, finding)
    if finding.clearance is not None or finding.check in _BY_WAY:
        if at is not None:
            found.append(Remedy("another way for the arm, found", True, lambda: _another_way(session, at)))
            found.append(Remedy("another branch of the arm", True, lambda: _another_branch(session, finding, at)))
        if session.answer.record.scene.loaded.scenario.base.station is not None:
            found.append(Remedy("another station of the base, tried", True, lambda: _another_station(session, finding)))
    return tuple(found)


def mend(session: Session, remedy: Remedy) -> Answer:
    """Do a remedy and return the answer. Raises InputError where it does not help, or cannot be."""
    return session.change(remedy.make())


def _under_way(session: Session, finding: Finding) -> tuple[int, int] | None:
    """Return the move of the script in which a finding is at its worst, or that it names."""
    named = [move for move in session.answer.moves if move.title in (finding.subject, finding.other)]
    then = [move for move in session.answer.moves
            if move.start_s - _SAME_S <= finding.start_s <= move.end_s + _SAME_S]  # fmt: skip
    leading = [move for move in (*named, *then) if move.written[0] >= 0]
    if leading:
        return leading[0].written
    short = session.answer.record.shortfalls
    return next((at for at in session.moves if short and session.title(at) == short[0].title), None)


def _slower(session: Session, finding: Finding) -> list[Remedy]:
    said = _SLOWER.match(finding.remedy)
    if said is None:
        return []
    titles = (move.written for move in session.answer.moves if move.title == said["move"] and move.written[0] >= 0)
    at = next(titles, _under_way(session, finding))
    if at is None:
        return []
    rate = float(session.move(at).get("rate", 1.0)) * float(said["share"]) / 100.0
    rate = float(np.floor(1000.0 * rate) / 1000.0)
    op = Op("set", ("carries", at[0], "moves", at[1], "rate"), rate)
    change = Change(f"{session.title(at)}: slowed to {said['share']} %", (op,))
    return [Remedy(f"slow {session.title(at)} to {said['share']} %", False, lambda: change)] if rate > 0 else []


def _other_states(session: Session, finding: Finding) -> list[Remedy]:
    """Offer the other states of an appendage that is in the way, and to be without a vehicle that is."""
    loaded, found = session.answer.record.scene.loaded, list[Remedy]()
    joints = {joint.child: joint.name for joint in loaded.platform.model.joints}
    for body in (finding.subject, finding.other):
        instance, _, short = body.partition("/")
        if instance == "vehicle" and loaded.scenario.vehicle == "docked":
            found.append(_at_once(Change("without the vehicle", (Op("set", ("vehicle",), "absent"),))))
        if instance != "platform":
            continue
        link = next((one.link for one in loaded.platform.model.bodies if one.name == short), "")
        for name, appendage in loaded.platform.document.appendages.items():
            if joints.get(link) not in appendage.joints and not matches(f"{name}_*", short):
                continue
            now = loaded.scenario.appendages.get(name)
            for state in appendage.states:
                if state != now:
                    found.append(_stood(session, name, state))
    return found


def _stood(session: Session, name: str, state: str) -> Remedy:
    states = {**session.script.data.get("appendages", {}), name: state}
    change = Change(f"{name} {state}", (Op("set", ("appendages",), states),))
    return _at_once(change)


def _at_once(change: Change) -> Remedy:
    return Remedy(change.title, False, lambda: change)


def _another_way(session: Session, at: tuple[int, int]) -> Change:
    """Replace the stretch of free moves about a move by a way with more room."""
    scene, carry = session.answer.record.scene, session.script.data["carries"][at[0]]
    number = session.flown(at)[0].number if session.flown(at) else at[1] + 1
    stretches = find_routes(scene, carry=str(carry["name"]))
    here = [one for one in stretches if one.first < number <= one.first + one.count]
    better = [one for one in here if one.better]
    if not better:
        raise InputError(f"no better way was found for '{session.title(at)}'{_why(here)}", file=session.path)
    return _replaced(session, at[0], better[0])


def _why(stretches: list[Stretch]) -> str:
    reason = next((one.reason for one in stretches if one.reason), "")
    return f": {reason}" if reason else ""


def _replaced(session: Session, carry: int, stretch: Stretch) -> Change:
    written = {(move.carry, move.number): move.written for move in session.answer.moves}
    name = str(session.script.data["carries"][carry]["name"])
    numbers = range(stretch.first + 1, stretch.first + stretch.count + 1)
    old = [written.get((name, number), (carry, number - 1)) for number in numbers]
    if len(set(old)) != len(old) or any(session.kind(at) not in FREE_KINDS for at in old):
        raise InputError("a way was found, and its moves followed from an intent; write them out first",
                         file=session.path, accepted="the long form: armcarry expand")  # fmt: skip
    first = min(number for _, number in old)
    moves = ("carries", carry, "moves")
    gone = tuple(Op("remove", (*moves, first)) for _ in old)
    new = tuple(Op("insert", (*moves, first + k), plain(move)) for k, move in enumerate(stretch.moves))
    return Change(f"{stretch.title}: another way", (*gone, *new))


def _another_branch(session: Session, finding: Finding, at: tuple[int, int]) -> Change:
    """Have the last free move before the instant end on the branch that has room at the instant."""
    joints = branch_at(session.answer.record, finding.start_s)
    free = [one for one in session.moves if one <= at and session.kind(one) in ("to_joints", "to_pose", "to_worksite")]
    if joints is None or not free or free[-1] != at:
        why = "no other branch of the arm that was tried has room" if joints is None else (
            "straight lines lead there, which stay on their branch; let a free move lead there"
        )
        raise InputError(why, file=session.path)
    scene = session.answer.record.scene
    written = {
        name: angle(value) if turns else length(value)
        for name, value, turns in zip(
            scene.loaded.arm.document.joints, joints, scene.tree.revolute[scene.arm_columns], strict=True
        )
    }
    kept = {key: value for key, value in session.move(at).items() if key != session.kind(at)}
    op = Op("set", ("carries", at[0], "moves", at[1]), {**kept, "to_joints": written})
    return Change(f"{session.title(at)}: another branch", (op,))


def _another_station(session: Session, finding: Finding) -> Change:
    """Try the base at stations near by; the first at which everything known at once passes, else the best margin."""
    from armcarry.editing.measured import answer
    from armcarry.editing.rehearsed import Rehearsal

    base = session.answer.record.scene.loaded.scenario.base
    best: tuple[tuple[int, float], Change] = ((-len(session.answer.failing), session.answer.margin_m), Change("", ()))
    for off in _STATIONS_M:
        at = length((base.station or 0.0) + off)
        said = {**(session.script.data.get("base") or {}), "mount": base.mount, "station": at}
        change = Change(f"base at {at}", (Op("set", ("base",), said),))
        try:
            known = Rehearsal(session.path).of(session.script.tried(change))
        except ArmcarryError:
            continue
        found = answer(known, 0, "", 0.0, None)
        best = max(best, ((-len(found.failing), found.margin_m), change), key=lambda one: one[0])
        if not found.failing:
            break
    if not best[1].ops:
        raise InputError("no station that was tried is better", file=session.path,
                         found=", ".join(f"{off:+g} m" for off in _STATIONS_M))  # fmt: skip
    return best[1]
