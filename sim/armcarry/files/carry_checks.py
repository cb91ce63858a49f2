"""The moves of a script against the models it names, in the order they are flown."""

from __future__ import annotations

from collections.abc import Mapping

from armcarry.files.documents.carries import Carry, Move
from armcarry.files.script import ARM, PLATFORM, VEHICLE, WORLD, Script
from armcarry.files.yaml_text import YamlPath


def check_carries(script: Script) -> None:
    """Add every problem of the carries: names, joints, frames, seats, and who hangs from whom when."""
    seen: set[str] = set()
    #: thing -> thing it hangs from; None once it can no longer be told from the moves alone
    holders: dict[str, str] | None = script.holders() if script.document.day is None else None
    for k, carry in enumerate(script.document.carries):
        here: YamlPath = ("carries", k)
        if carry.name in seen:
            script.tell((*here, "name"), f"a second carry named '{carry.name}'", accepted="names used once")
        seen.add(carry.name)
        for earlier, later in carry.hardware.items():
            for item in (earlier, later):
                script.known((*here, "hardware", earlier), item, script.document.hardware, "hardware")
        if carry.variant_of is not None:
            holders = None
        _check_carry(script, here, carry, holders)


def _check_carry(script: Script, here: YamlPath, carry: Carry, holders: dict[str, str] | None) -> None:
    seen: set[str] = set()
    for k, move in enumerate(carry.moves):
        path = (*here, "moves", k)
        if move.name is not None and move.name in seen:
            script.tell((*path, "name"), f"a second move named '{move.name}'", accepted="names used once")
        seen.add(move.name or "")
        _joints_and_frames(script, path, move, holders)
        _states(script, path, move)
        _switch(script, path, move, holders)
        later = [other.name for other in carry.moves[k:] if other.name is not None]
        for r, relaxation in enumerate(move.relax):
            place = (*path, "relax", r)
            script.patterns((*place, "bodies"), relaxation.bodies)
            if relaxation.through is not None:
                script.known((*place, "through"), relaxation.through, later, "move from here on")


def _joints_and_frames(script: Script, path: YamlPath, move: Move, holders: Mapping[str, str] | None) -> None:
    for key in ("to_joints", "one_joint", "pin"):
        script.arm_joints((*path, key), getattr(move, key) or {})
    for number, point in enumerate(move.via):
        script.arm_joints((*path, "via", number), point)
    for key in ("to_pose", "line"):
        goal = getattr(move, key)
        if goal is None:
            continue
        script.frame((*path, key, "frame"), goal.frame)
        if goal.point is not None and script.frame((*path, key, "point"), goal.point):
            owner = goal.point.split("/", 1)[0]
            fixed = owner in (PLATFORM, VEHICLE, WORLD)
            if fixed or (holders is not None and _root(owner, holders) != ARM):
                problem = f"'{owner}' does not move with the arm here"
                script.tell((*path, key, "point"), problem, found=goal.point, accepted="a link the arm carries")


def _root(thing: str, holders: Mapping[str, str]) -> str:
    """Return what a thing hangs from in the end."""
    for _ in range(len(holders) + 1):
        if thing not in holders:
            break
        thing = holders[thing]
    return thing


def _states(script: Script, path: YamlPath, move: Move) -> None:
    if move.to_worksite is not None:
        script.known((*path, "to_worksite"), move.to_worksite, script.platform.worksites, "worksite")
    for name, state in (move.appendage or {}).items():
        script.appendage((*path, "appendage", name), name, state)
    if move.posture is not None:
        who = move.posture.who
        if script.known((*path, "posture", "who"), who, script.document.crew, "crewmember"):
            postures = script.files["crew", who, "body"].document.postures
            script.known((*path, "posture", "posture"), move.posture.posture, postures, "posture")


def _switch(script: Script, path: YamlPath, move: Move, holders: dict[str, str] | None) -> None:
    """Check an attach or detach, and note who holds what from then on."""
    item = move.attach or move.detach
    if item is None:
        return
    path = (*path, move.kind)
    document = script.document
    things = [*document.crew, *document.hardware, *document.all_restraints]
    known = script.known((*path, "what"), item.what, things, "crewmember, hardware or restraint")
    if not script.frame((*path, "to"), item.to) or not known:
        return
    owner = item.to.split("/", 1)[0]
    script.not_own((*path, "to"), item.what, item.to)
    script.seat((*path, "to"), item.what, item.to)
    if move.kind == "detach" and owner not in (PLATFORM, VEHICLE, WORLD):
        problem = f"'{item.what}' is left at something that moves with '{owner}'"
        script.tell((*path, "to"), problem, found=item.to, accepted="a frame of the platform, or attach")
    if holders is None or owner == item.what:
        return
    if _root(owner, {**holders, item.what: ""}) == "":
        problem = f"'{owner}' hangs from '{item.what}', so '{item.what}' cannot hang from it"
        script.tell((*path, "to"), problem, found=item.to)
        return
    holders[item.what] = owner
