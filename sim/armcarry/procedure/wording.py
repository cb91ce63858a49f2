"""What each kind of step tells its people: what to do, what is seen when it is right, and what is said when it is done.

One row a kind. A row gives three plain sentences; what the scenario says itself (``say``, ``see``) takes their place
or stands beside them, which ``tasks.py`` decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from armcarry.files.documents.bodies import Fastener
from armcarry.files.documents.step_parts import Bolt
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.files.loaded import LoadedScenario
from armcarry.ledger.state import Page
from armcarry.quantities import clock, show
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain


@dataclass(frozen=True)
class Said:
    """What to do, what is seen when it is right, what is said when it is done."""

    do: str
    see: str
    done: str


@dataclass(frozen=True)
class Asked:
    """A step with what its words are made of: the documents, the pages before and after it."""

    step: Step
    loaded: LoadedScenario
    before: Page
    after: Page

    @property
    def item(self) -> str:
        """The item it is about, in words."""
        return plain(self.step.item or "")

    def place(self, name: str | None) -> str:
        """Return a worksite, seat or frame as people say it, in few words."""
        return place_words(self.loaded, name).partition(":")[0]


def place_words(loaded: LoadedScenario, name: str | None) -> str:
    """Return a worksite, seat, socket or frame as people say it; empty for none."""
    if not name:
        return ""
    sites = loaded.platform.document.worksites
    if name in sites:
        return sites[name].title
    if name == "arm":
        return "the tip of the arm"
    for rail, ends in loaded.platform.document.handrails.items():
        if name in (rail, f"{PLATFORM}/{ends.start}", f"{PLATFORM}/{ends.end}"):
            return f"handrail {plain(rail)}"
    return "the hatch" if name == AIRLOCK else plain(name)


def said_of(asked: Asked) -> Said:
    """Return the sentences of a step."""
    return _WORDS[asked.step.kind](asked)


def bolt_facts(asked: Asked) -> tuple[tuple[str, str], ...]:
    """Return count, tool, torque and turns of bolts and connectors; what nobody states is left out."""
    step = asked.step
    detail = step.bolt or step.connect
    if detail is None:
        return ()
    known = _fastener(asked, "bolts" if step.bolt is not None else "connector")
    found = [("how many", str(detail.count))] if detail.count > 1 else []
    if isinstance(detail, Bolt):
        tool = plain(detail.tool) if detail.tool else "" if known is None else known.driver
        torque = detail.torque or (None if known is None else known.torque)
        turns = detail.turns or (None if known is None else known.turns)
        found += [("tool", tool)] if tool else []
        # how hard a bolt was turned tight is worth knowing to whoever loosens it
        words = "torque" if detail.make == "tight" else "was turned tight to"
        found += [(words, show(torque, "torque", 1))] if torque else []
        found += [("turns of each", f"{turns:g}")] if turns else []
    return tuple(found)


def _fastener(asked: Asked, kind: str) -> Fastener | None:
    """Return what the hardware says of the bolts or connectors that a step is about."""
    detail = asked.step.bolt or asked.step.connect
    if detail is None or detail.what not in asked.loaded.hardware:
        return None
    own = asked.loaded.hardware[detail.what].document.fasteners
    if detail.fastener is not None:
        return own.get(detail.fastener)
    return next((fastener for fastener in own.values() if fastener.kind == kind and fastener.bonds_to_seat), None)


def _translate(asked: Asked) -> Said:
    where = asked.place(asked.step.translate.to if asked.step.translate else None)
    return Said(f"Go along the handrails to {where}.", f"Both hands on the rail at {where}.", f"At {where}.")


def _fit(asked: Asked) -> Said:
    return Said("Fit the foot restraint to the tip of the arm.", "It is in its socket and does not give.",
                "Foot restraint is on the arm.")


def _set(asked: Asked) -> Said:
    detail = asked.step.set_restraint
    turned = {} if detail is None else detail.settings
    settings = ", ".join(f"{plain(name)} {show(angle, 'angle', 1)}" for name, angle in turned.items())
    return Said(f"Turn the foot restraint: {settings}.", f"It stands at {settings}.", "Foot restraint is set.")


def _enter(asked: Asked) -> Said:
    return Said("Step into the foot restraint.", "Both heels are held; the boots do not come out when pulled.",
                "Boots are in.")


def _leave(asked: Asked) -> Said:
    to = asked.place(asked.step.leave_restraint.to if asked.step.leave_restraint else None)
    where = f" to {to}" if to else ""
    return Said(f"Take a handrail in hand, then climb out of the foot restraint{where}.",
                "Both boots are out and both hands are on the rail.", "Off the arm, hands on the rail.")


def _carry(asked: Asked) -> Said:
    return Said("The arm does not move: the carry was not flown.", "", "Arm stands.")


def _steady(asked: Asked) -> Said:
    return Said(f"Put a hand on {asked.item} while it is still fastened.", f"A hand holds {asked.item}.",
                f"Hand on {asked.item}.")


def _take(asked: Asked) -> Said:
    state = asked.before.states.get(asked.step.item or "")
    seat = "" if state is None else asked.place(state.seat)
    off = f" off {seat}" if seat else ""
    return Said(f"Lift {asked.item}{off}.", "It comes free without force and nothing hangs on to it.",
                f"{capital(asked.item)} in hand.")


def _hand_over(asked: Asked) -> Said:
    to = plain(asked.step.hand_over.to) if asked.step.hand_over else ""
    return Said(f"Hand {asked.item} to {to}; let go when {to} says so.", f"{to} holds it with both hands.",
                f"{capital(asked.item)} is with {to}.")


def _seat(asked: Asked) -> Said:
    into = asked.place(asked.step.seat.into if asked.step.seat else None)
    return Said(f"Bring {asked.item} into {into}.", "It touches its seat all round and does not rock.",
                f"{capital(asked.item)} is in its seat.")


def _let_go(asked: Asked) -> Said:
    return Said(f"Take the hand off {asked.item}.", "It stays where it is.", f"Hands off {asked.item}.")


def _tether(asked: Asked) -> Said:
    detail = asked.step.tether
    what = asked.item or "your safety tether"
    to = asked.place(detail.to) if detail is not None and detail.to else "yourself"
    return Said(f"Hook the tether of {what} to {to}." if asked.item else f"Hook your safety tether to {to}.",
                "The hook is shut; it does not come off when pulled.", f"{capital(what)} is tethered.")


def _untether(asked: Asked) -> Said:
    what = f"the tether of {asked.item}" if asked.item else "your safety tether"
    return Said(f"Unhook {what}.", "The hook is off and stowed.", f"{capital(what)} is off.")


def _bolt(asked: Asked) -> Said:
    detail = asked.step.bolt
    assert detail is not None  # noqa: S101 - the row is that of bolts
    state = asked.after.states.get(detail.what)
    seat = asked.after.seats.get("" if state is None else state.seat)
    bolts = f"{detail.count} bolt{'s' if detail.count != 1 else ''}"
    fastener = _fastener(asked, "bolts")
    if fastener is not None and asked.step.bolt is not None:
        own = asked.loaded.hardware[detail.what].document.fasteners
        name = next(key for key, value in own.items() if value is fastener)
        bolts = f"{detail.count} {plain(name) if detail.count != 1 else plain(name).removesuffix('s')}"
    verb = "Tighten" if detail.make == "tight" else "Loosen"
    if detail.fastener is not None or seat is None or state is None:
        done = f"{capital(bolts)} {detail.make}."
        return Said(f"{verb} {bolts} of {asked.item}.", done, done)
    left = f"{state.bolts_tight} of {seat.bolts} tight"
    return Said(f"{verb} {bolts} of {asked.item}.", f"{capital(left)}.", f"{capital(bolts)} {detail.make}; {left}.")


def _connect(asked: Asked) -> Said:
    detail = asked.step.connect
    assert detail is not None  # noqa: S101 - the row is that of connectors
    plugs = "the connector" if detail.count == 1 else f"{detail.count} connectors"
    if detail.make == "joined":
        return Said(f"Join {plugs} of {asked.item}.", "Fully home, its lock closed.", f"{capital(plugs)} joined.")
    return Said(f"Part {plugs} of {asked.item}.", "Apart, and its cap on.", f"{capital(plugs)} parted.")


def _lock(asked: Asked) -> Said:
    detail = asked.step.lock or asked.step.unlock
    lock = "" if detail is None else plain(detail.fastener)
    verb, state = ("Close", "closed") if asked.step.lock is not None else ("Open", "open")
    return Said(f"{verb} the {lock} of {asked.item}.", f"The {lock} is {state} and stays so when pushed.",
                f"{capital(lock)} {state}.")


def _fold(asked: Asked) -> Said:
    detail = asked.step.fold_cover
    make = "open" if detail is None else detail.make
    cover = "cover" if detail is None else plain(detail.fastener)
    return Said(f"Fold the {cover} of {asked.item} {make}.", f"The {cover} is {make} and stays so.",
                f"{capital(cover)} {make}.")


def _cart(asked: Asked) -> Said:
    detail = asked.step.move_cart
    cart, to = ("the cart", "") if detail is None else (plain(detail.cart), show(detail.to, "length", 2))
    return Said(f"Push {cart} along the rail to {to}.", f"It stands at {to}.", f"{capital(cart)} stands at {to}.")


def _base(asked: Asked) -> Said:
    to = "" if asked.step.move_base is None else show(asked.step.move_base.to, "length", 2)
    return Said(f"The trolley under the arm rolls to {to} on the rail.", f"The trolley stands at {to}, brakes on.",
                f"Trolley stands at {to}.")


def _appendage(asked: Asked) -> Said:
    detail = asked.step.move_appendage
    what, state = ("it", "") if detail is None else (plain(detail.appendage), plain(detail.state))
    return Said(f"Turn {what} to {state}.", f"{capital(what)} stands {state}.", f"{capital(what)} is {state}.")


def _vehicle(asked: Asked) -> Said:
    detail = asked.step.move_vehicle
    if detail is None or detail.to == "docked":
        return Said("The vehicle comes in to its dock.", "The vehicle is docked.", "Vehicle docked.")
    place = ", ".join(show(value, "length", 1) for value in detail.to)
    return Said(f"The vehicle goes to {place} of its dock.", "The vehicle holds there.", "Vehicle is there.")


def _hatch(asked: Asked) -> Said:
    detail = asked.step.hatch
    made, words = ("open", "") if detail is None else (detail.make, detail.words)
    do = "Open" if made == "open" else "Close"
    besides = f": {words}" if words else ""
    return Said(f"{do} the hatch{besides}.", f"The hatch is {made}.", f"Hatch {made}.")


def _call(asked: Asked) -> Said:
    detail = asked.step.call
    to, words = ("all", "") if detail is None else (", ".join(map(plain, detail.to)), detail.words)
    return Said(f'Say to {to}: "{words}"', "It is said back.", words)


def _inspect(asked: Asked) -> Said:
    what = asked.step.inspect or ""
    return Said(f"Look at {what}.", "", f"{capital(asked.step.title or 'it')}: looked at, as it should be.")


def _wait(asked: Asked) -> Said:
    detail = asked.step.wait_for
    words = "" if detail is None else detail.what
    if detail is not None and detail.until is not None:
        words = f"{words} until {clock(detail.until)}".strip()
    if detail is not None and detail.steps:
        words = f"{words} for {', '.join(map(plain, detail.steps))}".strip()
    return Said(f"Wait {words}.".replace(" .", "."), "", "Going on.")


def _note(asked: Asked) -> Said:
    title = asked.step.title or plain(asked.step.name)
    return Said(sentence(asked.step.note or title), "", f"{capital(title)}: done.")


_WORDS: dict[str, Callable[[Asked], Said]] = {
    "translate": _translate, "fit_restraint": _fit, "set_restraint": _set, "enter_restraint": _enter,
    "leave_restraint": _leave, "carry": _carry, "steady": _steady, "take": _take, "hand_over": _hand_over,
    "seat": _seat, "let_go": _let_go, "tether": _tether, "untether": _untether, "bolt": _bolt, "connect": _connect,
    "lock": _lock, "unlock": _lock, "fold_cover": _fold, "move_cart": _cart, "move_base": _base,
    "move_appendage": _appendage, "move_vehicle": _vehicle, "hatch": _hatch, "call": _call, "inspect": _inspect,
    "wait_for": _wait, "note": _note,
}


def capital(words: str) -> str:
    """Return words with a capital first."""
    return words[:1].upper() + words[1:]


def sentence(words: str) -> str:
    """Return words as a sentence: a capital first, a full stop last."""
    words = capital(words.strip())
    return words if not words or words[-1] in ".!?" else f"{words}."


