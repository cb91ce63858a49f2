"""Places that say who may come how near to what: worksites, seats, handrails, zones, restraint, hardware, the arm."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from armcarry.files.documents.zones import Near
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene

#: word for what a person holds
LOAD = "load"
#: whose distance to a place counts: boots of a person or the restraint's plate, a person's hands, an item's base
Asks = Literal["boots", "hands", "item"]


@dataclass(frozen=True)
class Place:
    """A point or a line, how far it holds, and what it grants.

    Attributes:
        name: as findings say it: ``bay_7``, ``pump_box``.
        frame: link in the middle of it; one end of a line.
        other_end: link at the other end of a line, None for a point.
        within_m: how far it holds; None for everywhere.
        asks: whose distance counts.
        accepts: items it is about, for a seat.
        owner: instance that says it; bodies without a slash are its own.
        near: what it grants.
    """

    name: str
    frame: str
    other_end: str | None
    within_m: float | None
    asks: Asks
    accepts: tuple[str, ...]
    owner: str
    near: tuple[Near, ...]

    def bodies(self, near: Near) -> str:
        """Return the pattern, by full names, of the bodies that may be come near to."""
        return "|".join(word if "/" in word else f"{self.owner}/{word}" for word in (near.to or "*").split("|"))


def places_of(scene: Scene) -> tuple[Place, ...]:
    """Return every place of a scene that grants something."""
    return tuple(place for place in _all(scene) if place.near)


def _all(scene: Scene) -> Iterator[Place]:
    loaded, platform = scene.loaded, scene.loaded.platform.document

    def on(frame: str) -> str:
        return f"{PLATFORM}/{frame}"

    for name, site in platform.worksites.items():
        yield Place(name, on(site.stand), None, site.within, "boots", (), PLATFORM, tuple(site.near))
    for name, zone in platform.zones.items():
        end = None if zone.end is None else on(zone.end)
        yield Place(name, on(zone.frame), end, zone.within, "boots", (), PLATFORM, tuple(zone.near))
    for name, rail in platform.handrails.items():
        yield Place(name, on(rail.start), on(rail.end), rail.within, "hands", (), PLATFORM, tuple(rail.near))
    for name, seat in platform.seats.items():
        accepts = tuple(
            item
            for item, thing in loaded.hardware.items()
            if seat.takes(item, loaded.scenario.hardware[item].model, thing.path.stem)
        )
        yield Place(name, on(seat.frame), None, seat.within, "item", accepts, PLATFORM, tuple(seat.near))
    for name, restraint in loaded.restraints.items():
        document = restraint.document
        frame = f"{name}/{document.plate}"
        yield Place(name, frame, None, document.within, "boots", (), name, tuple(document.near))
    for name, thing in loaded.hardware.items():
        frame = f"{name}/{thing.document.base}"
        yield Place(name, frame, None, thing.document.within, "hands", (), name, tuple(thing.document.near))
    yield Place(ARM, scene.arm_base, None, None, "boots", (), ARM, tuple(loaded.arm.document.near))


def patterns_of(subject: str, groups: Mapping[str, Sequence[str]] | None, held: Sequence[str], who: str) -> str:
    """Return the pattern, by full names, of the bodies that ``who`` speaks of; empty for none.

    ``restraint`` speaks of restraints alone, ``load`` of what a person holds, all other words of the subject: its
    groups, or its bodies by pattern.

    Args:
        subject: who or what is there.
        groups: groups of its bodies; None for a restraint.
        held: items that the subject holds.
        who: the words, | between them.
    """
    found: list[str] = []
    for word in who.split("|"):
        if groups is None or word == RESTRAINT:
            found += [f"{subject}/*"] if groups is None and word == RESTRAINT else []
        elif word == LOAD:
            found += [f"{item}/*" for item in held]
        else:
            found += [f"{subject}/{body}" for body in groups.get(word, [word])]
    return "|".join(found)
