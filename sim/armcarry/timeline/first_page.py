"""The first page of the ledger: everybody and everything where a scenario says they start."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from armcarry.files.documents.bodies import HardwareDocument
from armcarry.ledger.state import (
    ARM,
    INSIDE,
    TIP_SOCKET,
    ArmMode,
    Asked,
    BoltRule,
    Fastened,
    FastenerRule,
    ItemRule,
    ItemState,
    Page,
    PersonState,
    SeatRule,
)
from armcarry.scene.build import PLATFORM, RESTRAINT

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario

_HANDS = {"one_hand": 1, "two_hands": 2}


def page_at_start(loaded: LoadedScenario, *, bonds: bool = True) -> Page:
    """Return where everybody and everything is at the start.

    Args:
        bonds: whether seats have bolts and connectors, fastened where something sits at the start. Without
            a day nobody turns them, so what a run does with them cannot be judged: pass False then.
    """
    seats = _seats(loaded, bonds)
    items, states = {}, {}
    for name, item in loaded.scenario.hardware.items():
        document = loaded.hardware[name].document
        own = {key: rule for key, rule in document.fasteners.items() if not rule.bonds_to_seat}
        rules = {key: FastenerRule(f.kind, tuple(f.needed_to), f.state_needed) for key, f in own.items()}
        items[name] = ItemRule(
            PurePosixPath(item.model).stem, rules, _HANDS[document.hold], bolts=_bolts(document),
            before_carry=tuple(document.before_carry), after_seating=tuple(document.after_seating),
        )
        fasteners = tuple((key, item.fasteners.get(key) or _at_rest(document, key)) for key in own)
        states[name] = _item_at(loaded, seats, item.at, fasteners)
    _restraints(loaded, seats, items, states)
    tethers = loaded.rules.tethers
    asked = Asked(
        bonds, tethers.before_last_bolt, tethers.item, tethers.person, loaded.rules.hands.speed_with_item
    )
    hatch, day = loaded.rules.hatch, loaded.scenario.day
    asked = replace(asked, hatch_known=hatch is not None, unreeled_m=tethers.unreeled or inf)
    if day is not None:
        asked = replace(asked, gap_m=day.rail_gap, ends_inside=day.ends == "inside")
    if hatch is not None:
        asked = replace(asked, passing_s=hatch.passing, widest_m=hatch.widest)
    safe = loaded.rules.arm_safe
    if bonds and safe is not None:
        asked = replace(asked, arm_safe=True, make_ready_s=safe.make_ready, make_safe_s=safe.make_safe)
    arm: ArmMode = "safe" if asked.arm_safe else "holding"
    return Page(items, seats, states, _people(loaded), asked, arm=arm, hatch=_hatch(loaded))


def _hatch(loaded: LoadedScenario) -> str:
    """Return how the hatch is at the start: the other way than the first step makes it; empty where none does."""
    steps = loaded.scenario.day.steps if loaded.scenario.day is not None else []
    made = next((step.hatch.make for step in steps if step.hatch is not None), None)
    return {"open": "closed", "closed": "open"}.get(str(made), "")


def _bolts(document: HardwareDocument) -> BoltRule:
    own = [one for one in document.fasteners.values() if one.kind == "bolts" and one.bonds_to_seat]
    return BoltRule(own[0].torque or 0.0, own[0].turns or 0.0, own[0].tool or "") if own else BoltRule()


def _seats(loaded: LoadedScenario, bonds: bool) -> dict[str, SeatRule]:
    """Return the seats of the platform, and the sockets of restraints: the arm's tip and those of worksites."""
    platform, script = loaded.platform.document, loaded.scenario
    carts = {cart.body_frame: name for name, cart in platform.carts.items()}
    seats = {
        name: SeatRule(tuple(seat.accepts), *((seat.bolts, seat.connectors) if bonds else (0, 0)),
                       f"{PLATFORM}/{seat.frame}", cart=carts.get(seat.frame, ""))
        for name, seat in platform.seats.items()
    }  # fmt: skip
    small = tuple(sorted({
        PurePosixPath(script.hardware[name].model).stem
        for name, item in loaded.hardware.items() if item.document.small
    }))  # fmt: skip
    for name, item in loaded.hardware.items():
        if item.document.holds is not None:
            seats[name] = SeatRule(small, frame=f"{name}/{item.document.base}", count=item.document.holds)
    takes = tuple(sorted({PurePosixPath(item.model).stem for item in script.all_restraints.values()}))
    if takes:
        seats[TIP_SOCKET] = SeatRule(takes, frame=f"{ARM}/{loaded.arm.document.tip}")
        sockets = {site.socket for site in platform.worksites.values() if site.socket is not None}
        seats.update({frame: SeatRule(takes, frame=f"{PLATFORM}/{frame}") for frame in sorted(sockets)})
        own = {name: item.document.socket for name, item in loaded.hardware.items() if item.document.socket is not None}
        seats.update({f"{name}/{link}": SeatRule(takes, frame=f"{name}/{link}") for name, link in own.items()})
    return seats


def _item_at(
    loaded: LoadedScenario, seats: dict[str, SeatRule], at: str, fasteners: tuple[tuple[str, Fastened], ...]
) -> ItemState:
    if at == "inside":
        return ItemState("inside", fasteners=fasteners)
    seat = next((name for name, rule in seats.items() if rule.frame == at), None)
    if seat is not None:
        rule = seats[seat]
        return ItemState("seat", seat, frozenset(), frozenset(), rule.bolts, rule.connectors, fasteners)
    holder = holder_at(loaded, at)
    hands = frozenset(() if holder is None else (holder,))
    return ItemState("held" if hands else "adrift", "", hands, fasteners=fasteners)


def _restraints(
    loaded: LoadedScenario, seats: dict[str, SeatRule], items: dict[str, ItemRule], states: dict[str, ItemState]
) -> None:
    for name, restraint in loaded.scenario.all_restraints.items():
        model = PurePosixPath(restraint.model).stem
        items[name] = ItemRule(model, hands=1, restraint=True)
        frame = seats[TIP_SOCKET].frame if restraint.at == ARM else restraint.at
        known = holder_at(loaded, frame) in loaded.crew or any(rule.frame == frame for rule in seats.values())
        if not known:  # where it stands at first takes it back
            seats[frame] = SeatRule((model,), frame=frame, stand=False)
        states[name] = _item_at(loaded, seats, frame, ())


def _people(loaded: LoadedScenario) -> dict[str, PersonState]:
    script = loaded.scenario
    sites = {f"{PLATFORM}/{site.stand}": name for name, site in loaded.platform.document.worksites.items()}
    people = {}
    for name, member in script.crew.items():
        thing = RESTRAINT if member.at == ARM else member.at.split("/", 1)[0]
        if thing == ARM or thing in loaded.restraints:
            people[name] = PersonState(restraint=thing)
        else:
            people[name] = PersonState(INSIDE if member.at == "inside" else sites.get(member.at, member.at))
    others = script.day.others if script.day is not None else []
    people.update({name: PersonState(INSIDE, away=True) for name in others})
    return people


def _at_rest(document: HardwareDocument, name: str) -> Fastened:
    """Return the state a fastener has at the item's rest position; closed where that says nothing."""
    fastener = document.fasteners[name]
    if fastener.joint is None or fastener.open is None or fastener.joint not in document.rest:
        return "closed"
    at = document.rest[fastener.joint]
    closed = fastener.closed if fastener.closed is not None else 0.0
    return "open" if abs(at - fastener.open) < abs(at - closed) else "closed"


def holder_at(loaded: LoadedScenario, link: str) -> str | None:
    """Return who holds what hangs from a link: a crewmember, or the arm; None for anything else."""
    instance = link.split("/", 1)[0]
    if instance in loaded.crew:
        return instance
    return ARM if instance in (ARM, RESTRAINT) else None
