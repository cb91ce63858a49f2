"""What stands where at the start of a script, against the models it names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.carry_checks import check_carries
from armcarry.files.day_checks import check_day
from armcarry.files.documents.scenario import CrewMember, ScenarioDocument, StartAt
from armcarry.files.model_files import ModelFile
from armcarry.files.near_checks import check_near
from armcarry.files.picture_checks import check_pictures
from armcarry.files.script import ARM, PLATFORM, RESERVED, RESTRAINT, Script
from armcarry.files.validate import Source
from armcarry.files.yaml_text import YamlPath


def check_scenario(
    source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], problems: list[InputError]
) -> None:
    """Add every problem between a script and the models it names.

    Args:
        source: the script.
        files: key in the script -> model file, as the loader opened them.
        problems: where to add them.
    """
    script = Script(source, files, problems)
    _names(script)
    _base(script)
    _platform(script)
    _vehicle(script)
    _restraint(script)
    _crew(script)
    _hardware(script)
    _once_each(script)
    _cameras(script)
    _switched_off(script)
    check_pictures(script)
    _no_circle(script)
    where: YamlPath = ("start", "joints") if isinstance(script.document.start, StartAt) else ("start",)
    script.arm_joints(where, script.document.start_joints)
    check_carries(script)
    check_day(script)
    check_near(script)


def _names(script: Script) -> None:
    document = script.document
    taken = set(RESERVED)
    for group in ("crew", "hardware", "restraints"):
        for name in getattr(document, group):
            if name in taken:
                script.tell((group, name), f"the name '{name}' is taken", accepted="a name used once")
            taken.add(name)


def _base(script: Script) -> None:
    base, platform = script.document.base, script.platform
    if script.known(("base", "mount"), base.mount, platform.mounts, "mount"):
        joint = platform.mounts[base.mount].joint
        if joint is None and base.station is not None:
            script.tell(("base", "station"), f"mount '{base.mount}' does not travel", accepted="no station")
        elif joint is not None and base.station is None:
            script.tell(("base",), f"mount '{base.mount}' travels, so it needs a station", accepted="station: 3.5 m")
        elif joint is not None and base.station is not None:
            script.station(("base", "station"), joint, base.station)
    for name, station in script.document.carts.items():
        if script.known(("carts", name), name, platform.carts, "cart"):
            script.station(("carts", name), platform.carts[name].joint, station)
    if script.document.safe_point is not None:
        script.known(("safe_point",), script.document.safe_point, platform.worksites, "worksite")


def _platform(script: Script) -> None:
    for name, state in script.document.appendages.items():
        script.appendage(("appendages", name), name, state)
    if script.document.vehicle == "docked" and script.platform.vehicle_urdf is None:
        script.tell(("vehicle",), f"platform '{script.document.platform}' has no vehicle", accepted="absent")


def _vehicle(script: Script) -> None:
    if script.document.vehicle_from is not None and script.document.vehicle == "absent":
        script.tell(("vehicle_from",), "this scenario has no vehicle", accepted="vehicle: docked")


def _restraint(script: Script) -> None:
    for name, restraint in script.document.all_restraints.items():
        here: YamlPath = ("restraint",) if name == RESTRAINT else ("restraints", name)
        if restraint.at != "arm" and script.frame((*here, "at"), restraint.at):
            script.not_own((*here, "at"), name, restraint.at)
        script.restraint_settings((*here, "settings"), name, restraint.settings)


def _crew(script: Script) -> None:
    for name, member in script.document.crew.items():
        document = script.files["crew", name, "body"].document
        here = ("crew", name)
        script.known((*here, "size"), member.size, document.sizes, f"size of '{member.body}'")
        script.known((*here, "posture"), member.posture, document.postures, f"posture of '{member.body}'")
        _suit(script, here, member)
        path = (*here, "at")
        if member.at == "arm" and script.document.restraint is None:
            script.tell(path, f"{name} is on the arm, but there is no restraint", accepted="a restraint")
        elif member.at == "inside" and script.platform.airlock is None:
            script.tell(path, f"{name} is inside, but the platform has no airlock", accepted="arm, or a frame")
        elif member.at not in ("arm", "inside") and script.frame(path, member.at):
            script.not_own(path, name, member.at)


def _suit(script: Script, here: YamlPath, member: CrewMember) -> None:
    suits = script.files["rules",].document.suits
    if member.suit is None:
        for tank in member.filled:
            script.tell((*here, "filled", tank), "how full a tank is can be said of a suit alone, and none is stated",
                        accepted="suit: one of those of the rules")  # fmt: skip
    elif script.known((*here, "suit"), member.suit, suits, "suit of the rules"):
        for tank in member.filled:
            script.known((*here, "filled", tank), tank, suits[member.suit].tanks, f"tank of suit '{member.suit}'")


def _hardware(script: Script) -> None:
    for name, item in script.document.hardware.items():
        path = ("hardware", name, "at")
        if item.at == "inside":
            if script.platform.airlock is None:
                script.tell(path, f"{name} is inside, but the platform has no airlock", accepted="a frame")
        elif script.frame(path, item.at):
            script.not_own(path, name, item.at)
            script.seat(path, name, item.at)
        document = script.files["hardware", name, "model"].document
        for fastener in item.fasteners:
            here = ("hardware", name, "fasteners", fastener)
            script.known(here, fastener, document.fasteners, f"fastener of '{item.model}'")


def _once_each(script: Script) -> None:
    """Ask that nobody and nothing starts where another is: in the restraint on the arm, in a seat."""
    seats = {f"{PLATFORM}/{seat.frame}": f"seat '{title}'" for title, seat in script.platform.seats.items()}
    taken: dict[str, str] = {}
    for group, things in (("crew", script.document.crew), ("hardware", script.document.hardware)):
        for name, thing in things.items():
            where = "the restraint on the arm" if thing.at == "arm" else seats.get(thing.at)
            if where is None:
                continue
            if thing.at in taken:
                problem = f"{name} starts in {where}, where {taken[thing.at]} is"
                script.tell((group, name, "at"), problem, accepted="a place of its own")
            taken.setdefault(thing.at, name)


def _cameras(script: Script) -> None:
    """Ask that what is out of service is a camera of platform, arm or crew."""
    owners = {PLATFORM: script.platform, ARM: script.files["arm",].document}
    owners |= {name: script.files["crew", name, "body"].document for name in script.document.crew}
    known = [f"{owner}/{camera}" for owner, document in owners.items() for camera in document.cameras]
    for k, pattern in enumerate(script.document.cameras_off):
        if not names.matches_any(pattern, known):
            accepted = names.accepted(pattern, known, "camera")
            script.tell(("cameras_off", k), f"no camera fits '{pattern}'", accepted=accepted)


def _switched_off(script: Script) -> None:
    """Ask that what is off is something that a room speaks of, from and until steps of the day."""
    known = {room.while_on for room in script.platform.rooms.values() if room.while_on is not None}
    day = script.document.day
    steps = [] if day is None else [step.name for step in day.steps]
    for name, off in script.document.switched_off.items():
        here = ("switched_off", name)
        if script.known(here, name, known, "while_on of a room"):
            for key, step in (("after", off.after), ("before", off.before)):
                if step is not None:
                    script.known((*here, key), step, steps, "step of the day")


def _no_circle(script: Script) -> None:
    """Ask that all things hang, in the end, from the platform, the arm or the world."""
    parent = script.holders()
    for name in parent:
        chain, thing = [name], parent[name]
        while thing in parent and thing not in chain:
            chain.append(thing)
            thing = parent[thing]
        if thing == name and len(chain) > 1:
            group = "crew" if name in script.document.crew else "hardware"
            key = ("restraint", "at") if name == RESTRAINT else (group, name, "at")
            script.tell(key, f"things hang in a circle: {' -> '.join([*chain, name])}")
