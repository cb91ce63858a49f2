"""Each kind of model document against its URDF."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from armcarry.errors import InputError, QuantityError
from armcarry.files import names
from armcarry.files.document_types import spell
from armcarry.files.documents.arm import ArmDocument, Camera
from armcarry.files.documents.base import Document
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.zones import Near
from armcarry.files.finder import Finder
from armcarry.files.model_files import ModelFile
from armcarry.files.validate import Source
from armcarry.geometry.model import Joint, Model
from armcarry.quantities import describe, parse

_RATE = ("angular_speed", "speed")
_ACCELERATION = ("angular_acceleration", "acceleration")
DEFAULT = "default"


def check_model(file: ModelFile[Any]) -> list[InputError]:
    """Return every problem between a model document and its URDFs, each with file and line."""
    checks: dict[type[Document], Callable[[ModelFile[Any], list[InputError]], None]] = {
        ArmDocument: check_arm,
        PlatformDocument: check_platform,
        CrewDocument: check_crew,
        HardwareDocument: check_hardware,
        RestraintDocument: check_restraint,
    }
    problems: list[InputError] = []
    if type(file.document) in checks:
        checks[type(file.document)](file, problems)
    check_sources(file.source, problems)
    return sorted(problems, key=lambda problem: problem.line or 0)


def check_sources(source: Source[Any], problems: list[InputError]) -> None:
    """Ask that each key under ``sources`` stands in the file."""
    spelled = {spell(path) for path in source.yaml.lines if path}
    unknown = [key for key in source.document.sources if key not in spelled]
    problems.extend(
        source.problem(("sources", key), f"no key '{key[:80]}' in this file", accepted=names.accepted(key, spelled))
        for key in unknown
    )


def _way_up(model: Model, link: str) -> list[Joint]:
    """Return the joints from ``link`` up to the root."""
    by_child = {joint.child: joint for joint in model.joints}
    way = []
    while link in by_child:
        way.append(by_child[link])
        link = by_child[link].parent
    return way


def check_arm(file: ModelFile[ArmDocument], problems: list[InputError]) -> None:
    """Check an arm: its chain from base to tip, home and limits of every joint."""
    document, model = file.document, file.model()
    ask = Finder(file.source, model, problems)
    ask.link(("base",), document.base)
    ask.link(("tip",), document.tip)
    for k, joint in enumerate(document.joints):
        ask.joint(("joints", k), joint)
    if not problems:
        _check_chain(document, model, ask)
    for joint in [*document.joints, *ask.joints]:
        if joint in ask.joints and joint not in document.home:
            ask.tell(("home",), f"joint '{joint}' has no home position", accepted="one for every movable joint")
            break
    ask.settings(("home",), document.home)
    ask.settings(("travel",), document.travel)
    _check_followers(document, model, ask)
    for name in ("free", "rider", "rider_and_hardware"):
        if name not in document.loads:
            ask.tell(("loads",), f"no limits for load '{name}'", accepted="free, rider, rider_and_hardware")
    for load, limits in document.loads.items():
        _check_rates(ask, ("loads", load, "joint_rate"), limits.joint_rate, document.joints, _RATE)
        for key in ("joint_acceleration", "brake_deceleration"):
            _check_rates(ask, ("loads", load, key), getattr(limits, key), document.joints, _ACCELERATION)
        if limits.runaway_rate:
            _check_rates(ask, ("loads", load, "runaway_rate"), limits.runaway_rate, document.joints, _RATE)
    if document.runaway_rate:
        _check_rates(ask, ("runaway_rate",), document.runaway_rate, document.joints, _RATE)
    for k, pair in enumerate(document.ignore_pairs):
        for side, pattern in enumerate(pair):
            ask.pattern(("ignore_pairs", k, side), pattern)
    _check_groups(ask, document.groups)
    _check_near(ask, (), document.near, needs_to=True)
    _check_cameras(document.cameras, ask)


def _check_followers(document: ArmDocument, model: Model, ask: Finder) -> None:
    """Ask that a joint that follows another stands still in a carry: nothing moves it there."""
    for joint in model.movable():
        follows = joint.follows
        if follows is None:
            continue
        both = {joint.name, follows.joint} & set(document.joints)
        if both:
            problem = f"joint '{joint.name}' follows '{follows.joint}', and a carry would move one without the other"
            accepted = "an arm none of whose joints follows or is followed; prove_arm takes it"
            ask.tell(("joints",), problem, accepted=accepted)


def _check_chain(document: ArmDocument, model: Model, ask: Finder) -> None:
    """Ask that ``joints`` are the movable joints from base to tip, in order."""
    way = _way_up(model, document.tip)
    links = [joint.parent for joint in way]
    if document.base not in links:
        ask.tell(("tip",), f"link '{document.tip}' does not hang from the base '{document.base}'")
        return
    chain = [joint.name for joint in reversed(way[: links.index(document.base) + 1]) if joint.kind != "fixed"]
    if chain != document.joints:
        ask.tell(("joints",), "not the movable joints from base to tip in order", accepted=", ".join(chain))


def _check_rates(
    ask: Finder, path: tuple[str, ...], given: dict[str, float], joints: list[str], kind: tuple[str, str]
) -> None:
    """Ask for a value with the right unit for every joint, its own or ``default``."""
    for name, value in given.items():
        if name == DEFAULT:
            continue
        if ask.joint((*path, name), name):
            ask.value((*path, name), name, value, kind)
    for joint in joints:
        if joint in given or joint not in ask.joints:
            continue
        if DEFAULT not in given:
            ask.tell(path, f"no value for joint '{joint}'", accepted="one for every joint, or one named default")
            return
        if ask.joints[joint].kind == "prismatic" and _turns(ask, (*path, DEFAULT), kind[0]):
            accepted = f"a value of its own beside default, {joint}: {describe(kind[1])}"
            ask.tell(path, f"joint '{joint}' slides, and default is for joints that turn", accepted=accepted)
            continue
        ask.value((*path, DEFAULT), joint, given[DEFAULT], kind)


def _turns(ask: Finder, path: tuple[str, ...], kind: str) -> bool:
    """Tell whether a value is written in the unit of joints that turn."""
    try:
        parse(ask.source.yaml.value(path), kind)
    except QuantityError:
        return False
    return True


def check_platform(file: ModelFile[PlatformDocument], problems: list[InputError]) -> None:
    """Check a platform: every frame, joint and body it names."""
    document = file.document
    ask = Finder(file.source, file.model(), problems)
    for body_class, patterns in document.classes.items():
        for k, pattern in enumerate(patterns):
            ask.pattern(("classes", body_class, k), pattern)
    if (document.vehicle_urdf is None) != (document.vehicle_dock is None):
        key = "vehicle_urdf" if document.vehicle_dock is None else "vehicle_dock"
        ask.tell((key,), "a vehicle needs both", accepted="vehicle_urdf and vehicle_dock, or neither")
    ask.link(("vehicle_dock",), document.vehicle_dock)
    ask.link(("airlock",), document.airlock)
    _check_moving(document, ask)
    for name, site in document.worksites.items():
        here: tuple[Any, ...] = ("worksites", name)
        ask.link((*here, "stand"), site.stand)
        ask.link((*here, "socket"), site.socket)
        for point, frame in site.work_points.items():
            ask.link((*here, "work_points", point), frame)
        if site.seat is not None:
            ask.known((*here, "seat"), site.seat, document.seats, "seat")
        if site.handrail is not None:
            ask.known((*here, "handrail"), site.handrail, document.handrails, "handrail")
    for name, seat in document.seats.items():
        ask.link(("seats", name, "frame"), seat.frame)
        for k, pattern in enumerate(seat.touches):
            ask.pattern(("seats", name, "touches", k), pattern)
    for name, rail in document.handrails.items():
        ask.link(("handrails", name, "start"), rail.start)
        ask.link(("handrails", name, "end"), rail.end)
    for name, zone in document.zones.items():
        ask.link(("zones", name, "frame"), zone.frame)
        ask.link(("zones", name, "end"), zone.end)
    for name, room in document.rooms.items():
        ask.link(("rooms", name, "frame"), room.frame)
    for kind in ("worksites", "seats", "handrails", "zones"):
        for name, place in getattr(document, kind).items():
            _check_near(ask, (kind, name), place.near, needs_to=True)
    _check_cameras(document.cameras, ask)


def _check_near(ask: Finder, path: tuple[Any, ...], near: Sequence[Near], *, needs_to: bool = False) -> None:
    """Ask that what may be come near to is there; a full name is of another model, and asked for with the scenario."""
    for k, one in enumerate(near):
        here = (*path, "near", k)
        if one.to is None and needs_to:
            ask.tell(here, "nothing says what may be come near to", accepted="to: bodies of the platform")
        for word in (one.to or "*").split("|"):
            if "/" not in word:
                ask.pattern((*here, "to"), word)


def _check_groups(ask: Finder, groups: Mapping[str, Sequence[str]]) -> None:
    """Ask that every pattern of every group fits a body."""
    for name, patterns in groups.items():
        for k, pattern in enumerate(patterns):
            ask.pattern(("groups", name, k), pattern)


def _check_cameras(cameras: dict[str, Camera], ask: Finder) -> None:
    """Ask for frames that are there, and limits in order."""
    for name, camera in cameras.items():
        ask.link(("cameras", name, "frame"), camera.frame)
        for key in ("pan", "tilt"):
            low, high = getattr(camera, key)
            if low > high:
                ask.tell(("cameras", name, key), f"{key}: the first angle is above the second")


def _check_moving(document: PlatformDocument, ask: Finder) -> None:
    for name, appendage in document.appendages.items():
        here: tuple[Any, ...] = ("appendages", name)
        for k, joint in enumerate(appendage.joints):
            ask.joint((*here, "joints", k), joint)
        if not appendage.states:
            ask.tell((*here, "states"), f"appendage '{name}' has no state")
        for state, settings in appendage.states.items():
            ask.settings((*here, "states", state), settings)
            if set(settings) != set(appendage.joints):
                ask.tell(
                    (*here, "states", state),
                    f"state '{state}' does not set exactly the joints of '{name}'",
                    found=", ".join(settings),
                    accepted=", ".join(appendage.joints),
                )
    for name, mount in document.mounts.items():
        ask.link(("mounts", name, "frame"), mount.frame)
        ask.moved(("mounts", name, "joint"), mount.joint)
    for name, cart in document.carts.items():
        ask.moved(("carts", name, "joint"), cart.joint)
        ask.link(("carts", name, "body_frame"), cart.body_frame)


def check_crew(file: ModelFile[CrewDocument], problems: list[InputError]) -> None:
    """Check a crew document against the URDF of every size."""
    document = file.document
    if not document.sizes:
        problems.append(file.source.problem(("sizes",), "no size of body"))
    for size in document.sizes:
        found: list[InputError] = []
        model = file.model("sizes", size, "urdf")
        ask = Finder(file.source, model, found)
        for key in ("boots", "chest", "visor", "hands"):
            ask.link((key,), getattr(document, key))
        for key in ("shoulders", "gloves"):
            for k, link in enumerate(getattr(document, key)):
                ask.link((key, k), link)
        movable = [joint.name for joint in _way_up(model, document.boots) if joint.kind != "fixed"]
        if movable:
            ask.tell(("boots",), f"the boots of size '{size}' hang from the movable joint '{movable[0]}'")
        for posture, settings in document.postures.items():
            ask.settings(("postures", posture), settings)
        _check_groups(ask, document.groups)
        _check_cameras(document.cameras, ask)
        told = {str(problem) for problem in problems}
        problems.extend(problem for problem in found if str(problem) not in told)


def check_hardware(file: ModelFile[HardwareDocument], problems: list[InputError]) -> None:
    """Check hardware: base, handhold, fasteners and joints at rest."""
    document = file.document
    ask = Finder(file.source, file.model(), problems)
    ask.link(("base",), document.base)
    ask.link(("handhold",), document.handhold)
    ask.link(("socket",), document.socket)
    ask.settings(("rest",), document.rest)
    for key in ("before_carry", "after_seating"):
        for k, words in enumerate(getattr(document, key)):
            name = words.partition(" ")[0]
            if name not in ("tethered", "untethered"):
                ask.known((key, k), name, [*document.fasteners, "bolts", "connector"], "fastener")
    _check_groups(ask, document.groups)
    _check_near(ask, (), document.near)
    for name, fastener in document.fasteners.items():
        here = ("fasteners", name)
        if fastener.joint is not None and ask.moved((*here, "joint"), fastener.joint):
            for key in ("closed", "open"):
                value = getattr(fastener, key)
                if value is not None:
                    ask.value((*here, key), fastener.joint, value)


def check_restraint(file: ModelFile[RestraintDocument], problems: list[InputError]) -> None:
    """Check a restraint: its ends, and settings inside the travel of their joints."""
    document = file.document
    ask = Finder(file.source, file.model(), problems)
    ask.link(("mount",), document.mount)
    ask.link(("plate",), document.plate)
    _check_groups(ask, document.groups)
    _check_near(ask, (), document.near)
    for name, setting in document.settings.items():
        here = ("settings", name)
        if ask.moved((*here, "joint"), setting.joint):
            ask.value((*here, "lowest"), setting.joint, setting.lowest)
            ask.value((*here, "highest"), setting.joint, setting.highest)
        if setting.lowest > setting.highest:
            ask.tell(here, f"setting '{name}' has no steps", accepted="lowest <= highest")
