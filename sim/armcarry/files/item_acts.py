"""What hands do to an item before it is taken and after it is in a seat, as its document and the seat ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from armcarry.files.documents.bodies import Fastener, HardwareDocument
from armcarry.files.documents.platform import Seat
from armcarry.files.documents.steps import Step

#: bolts that are loose of something that a plain step seats
MANY = 99
#: words of a declaration that mean closed
_CLOSED = ("closed", "locked", "tight", "joined")


@dataclass(frozen=True)
class ItemAct:
    """One act of hands: the key of its step with what it says, a word for its name, and how long it takes."""

    kind: str
    says: dict[str, Any]
    word: str
    takes: Any = None


@dataclass
class Item:
    """An item by then: where it is, its fasteners, whether it is tethered."""

    name: str
    at: str
    stated: Mapping[str, str]
    document: HardwareDocument
    tethered: bool = False
    #: bolts of its seat that are loose by then
    loose: int = 0
    states: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, fastener in self.document.fasteners.items():
            self.states[name] = self.stated.get(name) or self._at_rest(fastener)

    def _at_rest(self, fastener: Fastener) -> str:
        rests = self.document.rest.get(fastener.joint or "", 0.0)
        opened = fastener.open is not None and fastener.open != fastener.closed and rests == fastener.open
        return "open" if fastener.joint is not None and opened else "closed"

    def follow(self, step: Step, seats: Mapping[str, str]) -> None:
        """Keep account of a plain step; ``seats`` are the frames of seats by name."""
        if step.take is not None:
            self.at = f"{step.actors[0]}/hands"
        elif step.hand_over is not None:
            self.at = f"{step.hand_over.to}/hands"
        elif step.bolt is not None and step.bolt.fastener is None:
            self.loose = max(0, self.loose + (step.bolt.count if step.bolt.make == "loose" else -step.bolt.count))
        elif step.seat is not None:
            self.loose = MANY
            self.at = f"platform/{seats[step.seat.into]}" if step.seat.into in seats else step.seat.into
        elif step.tether is not None or step.untether is not None:
            self.tethered = step.tether is not None
        for detail, made in ((step.lock, "closed"), (step.unlock, "open"), (step.fold_cover, "")):
            if detail is not None:
                self.states[detail.fastener] = made or getattr(detail, "make", "open")

    # -- acts ----------------------------------------------------------------------------------------------------

    def made(self, fastener: str, state: str) -> ItemAct:
        """Return the act that opens or closes a lock or cover, and keep account of it."""
        kind = self.document.fasteners[fastener].kind
        self.states[fastener] = state
        says = {"what": self.name, "fastener": fastener}
        if kind == "cover":
            return ItemAct("fold_cover", {**says, "make": state}, f"{fastener}_{state}", self.document.acts.fold)
        return ItemAct("lock" if state == "closed" else "unlock", says, f"{fastener}_{state}", self.document.acts.lock)

    def bolted(self, count: int, make: str) -> ItemAct:
        """Return the act that turns bolts of its seat."""
        self.loose = max(0, self.loose + (count if make == "loose" else -count))
        each = self.document.acts.tighten if make == "tight" else self.document.acts.loosen
        return ItemAct("bolt", {"what": self.name, "count": count, "make": make, "each": each}, f"bolts_{make}")

    def connected(self, count: int, make: str) -> ItemAct:
        """Return the act that joins or parts connectors of its seat."""
        each = self.document.acts.join if make == "joined" else self.document.acts.part
        return ItemAct("connect", {"what": self.name, "count": count, "make": make, "each": each}, f"plugs_{make}")

    def plain(self, kind: str) -> ItemAct:
        """Return an act that names the item alone: steady, take, let_go, tether, untether."""
        return ItemAct(kind, {"what": self.name}, kind, getattr(self.document.acts, kind))


def before_taking(item: Item, seat: Seat, tethered_first: bool) -> tuple[list[ItemAct], list[ItemAct]]:
    """Return what is done to an item before it is carried: with the arm off a little (covers), and beside it."""
    document, wanted = item.document, dict[str, str]()
    for name, fastener in document.fasteners.items():
        if not fastener.bonds_to_seat and set(fastener.needed_to) & {"carry", "grasp", "release"}:
            wanted[name] = fastener.state_needed
    wanted |= _declared(item, document.before_carry)
    todo = [(name, state) for name, state in wanted.items() if item.states[name] != state]
    first = [item.made(name, state) for name, state in todo if document.fasteners[name].kind == "cover"]
    rest = [item.made(name, state) for name, state in todo if document.fasteners[name].kind != "cover"]
    if seat.connectors:
        rest.append(item.connected(seat.connectors, "parted"))
    if not item.tethered and ("tethered" in document.before_carry or tethered_first):
        rest.append(item.plain("tether"))
        item.tethered = True
    elif seat.bolts and not item.tethered:
        rest.append(item.plain("steady"))
    if seat.bolts:
        rest.append(item.bolted(seat.bolts, "loose"))
    return first, [*rest, item.plain("take")]


def after_seating(
    item: Item, seat: Seat, into: str, station: str | None, bolts: int | None
) -> tuple[list[ItemAct], list[ItemAct]]:
    """Return what is done to an item at its seat, and what follows with the arm off a little (covers)."""
    document = item.document
    says = {"what": item.name, "into": into, **({} if station is None else {"station": station})}
    acts = [ItemAct("seat", says, "seat", document.acts.seat)]
    item.loose = seat.bolts
    count = seat.bolts if bolts is None else bolts
    if count:
        acts.append(item.bolted(count, "tight"))
    if seat.connectors:
        acts.append(item.connected(seat.connectors, "joined"))
    todo = [(name, s) for name, s in _declared(item, document.after_seating).items() if item.states[name] != s]
    last = [item.made(name, state) for name, state in todo if document.fasteners[name].kind == "cover"]
    acts += [item.made(name, state) for name, state in todo if document.fasteners[name].kind != "cover"]
    if item.tethered:
        acts.append(item.plain("untether"))
        item.tethered = False
    if 0 < count < seat.bolts:
        acts.append(item.plain("let_go"))
    return acts, last


def _declared(item: Item, conditions: list[str]) -> dict[str, str]:
    """Return what a document's declarations ask of the item's own fasteners: name -> open or closed."""
    found = {}
    for words in conditions:
        name, _, state = words.partition(" ")
        own = item.document.fasteners.get(name)
        if own is not None and not own.bonds_to_seat:
            found[name] = "closed" if state in _CLOSED else "open"
    return found
