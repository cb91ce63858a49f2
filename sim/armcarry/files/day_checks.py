"""The steps of a day against the models its scenario names, so that a rehearsal finds every name it looks up."""

from __future__ import annotations

from armcarry.files import names
from armcarry.files.documents.bodies import HardwareDocument
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.files.documents.vary import LIGHT, SunAngle
from armcarry.files.script import PLATFORM, Script
from armcarry.files.yaml_text import YamlPath

#: kinds that only a crewmember's own body can do
OWN_BODY = ("translate", "enter_restraint", "leave_restraint", "fit_restraint")
#: kinds that take hands, which an operator inside or somebody on the ground does not have out there
_BY_HAND = (
    "steady", "take", "hand_over", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock",
    "fold_cover", "move_cart",
)
#: kinds that turn a fastener of an item; for bolts and connectors it may be left out, then it is the seat's
_FASTENS = ("lock", "unlock", "fold_cover", "bolt", "connect")


def check_day(script: Script) -> None:
    """Add every problem of the day: places, seats, fasteners, carts, stations, who does what, and relaxations."""
    day = script.document.day
    if day is None:
        return
    for k, step in enumerate(day.steps):
        here: YamlPath = ("day", "steps", k)
        _places(script, here, step)
        _people(script, here, step)
        _things(script, here, step)
        _rail(script, here, step)
        if step.needs in LIGHT and script.document.environment is None:
            script.tell((*here, "needs"), f"when there is {step.needs} is not known: no environment is stated",
                        accepted="an environment with start and orbit, or a window of the day")  # fmt: skip
        if step.sun is not None:
            _sun(script, (*here, "sun"), step.sun)
        for r, relaxation in enumerate(step.relax):
            script.patterns((*here, "relax", r, "bodies"), relaxation.bodies)
            if relaxation.through is not None:
                steps = [other.name for other in day.steps]
                script.known((*here, "relax", r, "through"), relaxation.through, steps, "step")
    for r, shared in enumerate(day.relax):
        script.patterns(("day", "relax", r, "bodies"), shared.bodies)


def _sun(script: Script, here: YamlPath, sun: SunAngle) -> None:
    if script.document.environment is None:
        script.tell(here, "where the sun stands is not known: no environment is stated",
                    accepted="an environment with start and orbit")  # fmt: skip
    if script.frame((*here, "frame"), sun.frame) and not sun.frame.startswith(f"{PLATFORM}/"):
        script.tell((*here, "frame"), "not a frame of the platform, so where the sun stands is not known ahead",
                    found=sun.frame, accepted=f"{PLATFORM}/...")  # fmt: skip


def _places(script: Script, here: YamlPath, step: Step) -> None:
    if step.move_vehicle is not None and script.document.vehicle == "absent":
        script.tell((*here, "move_vehicle"), "this scenario has no vehicle", accepted="vehicle: docked")
    if step.hatch is not None and script.platform.airlock is None:
        script.tell((*here, "hatch"), "the platform has no hatch", accepted="a platform with an airlock")
    named: list[tuple[YamlPath, str | None]] = [((*here, "at"), step.at)]
    if step.translate is not None:
        named.append(((*here, "translate", "to"), step.translate.to))
        named.append(((*here, "translate", "from"), step.translate.start))
    if step.leave_restraint is not None:
        named.append(((*here, "leave_restraint", "to"), step.leave_restraint.to))
    for path, place in named:
        if place is not None:
            _place(script, path, place)


def _place(script: Script, path: YamlPath, place: str) -> None:
    """Ask for a worksite, the airlock where the platform has one, or a frame by full name."""
    sites = [*script.platform.worksites, *([AIRLOCK] if script.platform.airlock is not None else [])]
    if "/" in place:
        script.frame(path, place)
    elif place not in sites:
        accepted = f"{names.accepted(place, sites, 'worksite')}; or a frame, as platform/..."
        script.tell(path, f"no worksite named '{place[:80]}'", accepted=accepted)


def _people(script: Script, here: YamlPath, step: Step) -> None:
    """Ask that bodies are crewmembers' and hands are theirs or the arm's."""
    crew = list(script.document.crew)
    able: tuple[str, ...] = (ARM, *crew)
    if step.kind in OWN_BODY:
        for k, actor in enumerate(step.actors):
            script.known((*here, "actors", k), actor, able, f"crewmember who can do {step.kind}")
        if not set(step.actors) & set(crew):
            script.tell((*here, "actors"), f"{step.kind} is done by a crewmember", accepted=", ".join(crew) or "none")
    for k, actor in enumerate(step.actors if step.kind in _BY_HAND else ()):
        script.known((*here, "actors", k), actor, able, "actor with hands")
    if step.hand_over is not None:
        script.known((*here, "hand_over", "to"), step.hand_over.to, able, "actor with hands")
        if set(step.actors) == {step.hand_over.to}:
            others = ", ".join(name for name in able if name != step.hand_over.to)
            script.tell((*here, "hand_over", "to"), f"{step.hand_over.to} hands over to nobody else", accepted=others)
    known = script.document.all_restraints
    for key in ("fit_restraint", "enter_restraint", "set_restraint"):
        about = getattr(step, key)
        if about is not None and not known:
            script.tell((*here, key), "this scenario has no restraint", accepted="a restraint")
        elif about is not None and about.which is not None:
            script.known((*here, key, "which"), about.which, known, "restraint")
    climbs = step.kind in ("enter_restraint", "leave_restraint")
    if climbs and step.takes is None and script.files["rules",].document.climbing is None:
        script.tell(here, f"step '{step.name}' needs takes", accepted="a time, or climbing in the rules")
    if step.call is not None and step.takes is None and script.files["rules",].document.arm_safe is None:
        script.tell(here, f"step '{step.name}' needs takes", accepted="a time, or call under arm_safe in the rules")
    if step.set_restraint is not None and known:
        name = step.set_restraint.which or next(iter(known))
        if name in known:
            script.restraint_settings((*here, "set_restraint", "settings"), name, step.set_restraint.settings)
    if step.move_appendage is not None:
        turned = step.move_appendage
        script.appendage((*here, "move_appendage", "appendage"), turned.appendage, turned.state)


def _things(script: Script, here: YamlPath, step: Step) -> None:
    if step.seat is not None:
        script.known((*here, "seat", "into"), step.seat.into, _takes(script, step.seat.what), "seat")
    for key in ("tether", "untether"):
        hooked = getattr(step, key)
        if hooked is not None and hooked.to is not None:
            _anchor(script, (*here, key, "to"), hooked.to)
    detail, fastener = getattr(step, step.kind), None
    if step.kind in _FASTENS:
        fastener = detail.fastener
    counted = step.kind in ("bolt", "connect")
    if counted:
        _count(script, here, step)
    if fastener is None:
        return
    document: HardwareDocument = script.files["hardware", detail.what, "model"].document
    known = [name for name, own in document.fasteners.items() if counted or not own.bonds_to_seat]
    script.known((*here, step.kind, "fastener"), fastener, known, f"fastener of '{detail.what}'")


def _count(script: Script, here: YamlPath, step: Step) -> None:
    """Ask that no more are turned than there are: on the item itself, or on the seat with most that takes it."""
    detail = getattr(step, step.kind)
    file = script.files["hardware", detail.what, "model"]
    own = file.document.fasteners.get(detail.fastener or "")
    model = script.document.hardware[detail.what].model
    kind = "bolts" if step.kind == "bolt" else "connectors"
    seats = [seat for seat in script.platform.seats.values() if seat.takes(detail.what, model, file.path.stem)]
    if own is not None and not own.bonds_to_seat:
        most, where = own.count, f"{detail.what} has {own.count} of '{detail.fastener}'"
    else:
        most = max((getattr(seat, kind) for seat in seats), default=0)
        where = f"no seat of {detail.what} has more than {most} {kind}"
    if detail.count > most:
        script.tell((*here, step.kind, "count"), where, found=detail.count, accepted=f"{most} at most")


def _takes(script: Script, what: str) -> list[str]:
    """Return the seats of hardware, or the sockets of a restraint: the arm's tip, those of worksites and hardware."""
    models = {name: script.files["hardware", name, "model"].document for name in script.document.hardware}
    if what not in script.document.all_restraints:
        bags = [name for name, one in models.items() if one.holds is not None and what in models and models[what].small]
        return [*script.platform.seats, *bags]
    sites = [site.socket for site in script.platform.worksites.values() if site.socket is not None]
    return [ARM, *sites, *(f"{name}/{one.socket}" for name, one in models.items() if one.socket is not None)]


def _anchor(script: Script, path: YamlPath, to: str) -> None:
    """Ask for what a tether is hooked to: a person, an item, the restraint, a handrail, or a frame by full name."""
    if "/" in to:
        script.frame(path, to)
    else:
        things = [name for name in script.models if name not in (PLATFORM, ARM)]
        script.known(path, to, [*things, *script.platform.handrails], "anchor")


def _rail(script: Script, here: YamlPath, step: Step) -> None:
    """Ask for carts of the platform, and stations inside the travel of what goes there."""
    platform = script.platform
    if step.move_cart is not None:
        path = (*here, "move_cart")
        if script.known((*path, "cart"), step.move_cart.cart, platform.carts, "cart"):
            script.station((*path, "to"), platform.carts[step.move_cart.cart].joint, step.move_cart.to)
    mount = platform.mounts.get(script.document.base.mount)
    if step.move_base is not None and mount is not None:
        path = (*here, "move_base")
        if mount.joint is None:
            travelling = ", ".join(name for name, other in platform.mounts.items() if other.joint is not None)
            problem = f"mount '{script.document.base.mount}' does not travel"
            script.tell(path, problem, accepted=f"a travelling mount: {travelling or 'the platform has none'}")
        else:
            script.station((*path, "to"), mount.joint, step.move_base.to)
    if step.seat is not None and step.seat.station is not None and step.seat.into in platform.seats:
        frame = platform.seats[step.seat.into].frame
        carts = [cart for cart in platform.carts.values() if cart.body_frame == frame]
        path = (*here, "seat", "station")
        if carts:
            script.station(path, carts[0].joint, step.seat.station)
        else:
            script.tell(path, f"seat '{step.seat.into}' is not that of a cart", accepted="no station")
