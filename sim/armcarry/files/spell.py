"""Moves by intent spelled out: what is meant becomes moves of the arm, from the ways in that worksites state."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from armcarry.files import names
from armcarry.files.documents.base import OwnWords
from armcarry.files.documents.bodies import HardwareDocument
from armcarry.files.documents.carries import INTENT_KINDS, Move
from armcarry.files.documents.intents import Bring, Fetch, Place, Ride
from armcarry.files.documents.platform import PlatformDocument, Worksite
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.fitting import Bare, led, stood
from armcarry.files.model_files import ModelFile
from armcarry.files.validate import Source
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write
from armcarry.texts import as_words

#: what may be said beside an intent: where it goes is for the moves that it becomes
OPTIONS = ("name", *OwnWords.model_fields, "pin")

#: the arm starts before the first worksite, whichever that is
EVERY = "*"

Moves = list[dict[str, Any]]
Point = Sequence[float]


@dataclass(frozen=True)
class Visit:
    """A worksite that the arm comes to: which, whether with something in hand, shifted how, and where that is meant.

    ``said`` is the station to which the script itself rolled the base just before, ``bare`` T_plate_mount where the tip
    comes without its restraint.
    """

    worksite: str
    loaded: bool
    path: YamlPath
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    said: float | None = None
    bare: Bare | None = None


@dataclass
class Names:
    """What a script's names mean: worksites, items, riders; problems are collected."""

    source: Source[ScenarioDocument]
    files: Mapping[YamlPath, ModelFile[Any]]
    problems: list[Any] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.platform: PlatformDocument = self.files["platform",].document
        #: frame by its full name -> seat there
        self.seat_at = {f"platform/{seat.frame}": name for name, seat in self.platform.seats.items()}

    def tell(self, path: YamlPath, problem: str, accepted: str | None = None) -> None:
        """Add a problem at a key of the script."""
        self.problems.append(self.source.problem(path, problem, accepted=accepted))

    def site(self, path: YamlPath, name: str) -> Worksite | None:
        """Return a worksite; a problem is added where there is none."""
        sites: dict[str, Worksite] = self.platform.worksites
        if name not in sites:
            self.tell(path, f"no worksite named '{name}'", names.accepted(name, sites, "worksite"))
        return sites.get(name)

    def thing(self, path: YamlPath, name: str) -> HardwareDocument | None:
        """Return the document of an item; a problem is added where there is none."""
        things = self.source.document.hardware
        if name not in things:
            self.tell(path, f"no hardware named '{name}'", names.accepted(name, things, "hardware"))
            return None
        document: HardwareDocument = self.files["hardware", name, "model"].document
        return document

    def seats_for(self, item: str) -> str:
        """Return the frames of seats that take an item, in words."""
        fits = self.names_of(item)
        frames = (f"platform/{seat.frame}" for seat in self.platform.seats.values() if seat.takes(*fits))
        return ", ".join(frames) or "none takes it"

    def names_of(self, item: str) -> tuple[str, str, str]:
        """Return the names by which a seat may know an item."""
        return item, self.source.document.hardware[item].model, self.files["hardware", item, "model"].path.stem

    def sites_for(self, item: str) -> str:
        """Return the worksites with a seat that takes an item, in words."""
        fits = self.names_of(item)
        seats = {name for name, seat in self.platform.seats.items() if seat.takes(*fits)}
        return ", ".join(name for name, site in self.platform.worksites.items() if site.seat in seats)

    def seat_of(self, path: YamlPath, at: str, what: str, named: str | None = None) -> str | None:
        """Return the seat into which an item goes at a worksite; a problem is added where none takes it."""
        seat = named or self.platform.worksites[at].seat
        if named is not None and named not in self.platform.seats:
            self.tell(path, f"no seat named '{named}'", names.accepted(named, self.platform.seats, "seat"))
            return None
        if seat is None or not self.platform.seats[seat].takes(*self.names_of(what)):
            takes = ", ".join(self.platform.seats[seat].accepts) if seat is not None else "nothing, it has no seat"
            other = f"an item or a model of a name that it accepts ({takes}), or accepts of a platform of your own"
            self.tell(path, f"'{at}' has no seat that takes '{what}'", self.sites_for(what) or other)
            return None
        return seat


class Ways:
    """Where the arm is, and the moves that bring it to a worksite and back off."""

    def __init__(self, known: Names, waits: str | None = None) -> None:
        """Args: known: names of the script; waits: worksite before which the arm starts, EVERY for the first of all."""
        self.known, self.waits = known, waits
        #: where the plate is all the way in, and how it came there
        self.at: Visit | None = None
        self.visits: list[Visit] = []

    def there(self, visit: Visit) -> bool:
        """Tell whether the arm stands in that place already."""
        at = self.at
        if at is None or at.bare != visit.bare:
            return False
        return (at.worksite, at.loaded, at.shift) == (visit.worksite, visit.loaded, visit.shift)

    def come(self, visit: Visit, *, straight: bool = False, pin: dict[str, str] | None = None) -> Moves:
        """Return the moves from wherever the arm is to a worksite, all the way in."""
        if self.there(visit):
            return []
        return [*self.leave(), *self.approach(visit, straight=straight, pin=pin), *self.enter(visit)]

    def approach(self, visit: Visit, *, straight: bool = False, pin: dict[str, str] | None = None) -> Moves:
        """Return the move to where one waits clear of a worksite."""
        self.visits.append(visit)
        there, self.waits = self.waits in (EVERY, visit.worksite), None
        if there:
            return []
        site, way = self.known.platform.worksites[visit.worksite], self.way(visit)
        words = as_words(visit.worksite)
        if straight:
            return [line(site, way[0]) | {"say": f"To {words}"}]
        goal = {"frame": f"platform/{site.stand}", **stood(way[0], visit.bare)}
        return [{"to_pose": goal, "say": f"To {words}", "way": "find", **({"pin": pin} if pin else {})}]

    def enter(self, visit: Visit) -> Moves:
        """Return the moves from where one waits to where one works."""
        site, words = self.known.platform.worksites[visit.worksite], as_words(visit.worksite)
        moves = [led(site.stand, point, visit.bare) | {"say": f"In to {words}"} for point in self.way(visit)[1:]]
        if visit.loaded and moves:
            moves[-1]["rate"] = site.last_rate
        self.at = visit
        return moves

    def leave(self) -> Moves:
        """Return the moves from a worksite back to where one waits clear of it; none where the arm is not at one."""
        if self.at is None:
            return []
        visit, self.at = self.at, None
        site = self.known.platform.worksites[visit.worksite]
        back = self.way(visit)[-2::-1]
        words = f"Back from {as_words(visit.worksite)}"
        moves = [led(site.stand, point, visit.bare) | {"say": words} for point in back]
        if visit.loaded and moves:
            moves[0]["rate"] = site.last_rate
        return moves

    def way(self, visit: Visit) -> list[tuple[float, ...]]:
        """Return the points of the way in that holds with or without something in hand."""
        points = way_of(self.known.platform.worksites[visit.worksite], visit.loaded)
        return [tuple(a + b for a, b in zip(point, visit.shift, strict=True)) for point in points]


class Speller:
    """Walks through the moves of the carries, knows where arm and items are by then, and spells intents out."""

    def __init__(self, known: Names, waits: str | None = None) -> None:
        self.known, self.ways = known, Ways(known, waits)
        script = known.source.document
        #: item -> seat it is in, None in hands
        self.seats = {name: known.seat_at.get(item.at) for name, item in script.hardware.items()}
        self.riders = [name for name, member in script.crew.items() if member.at == "arm"]

    def moves(self, path: YamlPath, move: Move, first: int) -> Moves | None:
        """Return the moves that an intent becomes, numbered on from ``first`` in the carry; None for a plain move."""
        if move.kind not in INTENT_KINDS:
            self._follow(path, move)
            return None
        extra = sorted(move.model_fields_set - {*OPTIONS, move.kind})
        if extra:
            self.known.tell((*path, extra[0]), f"{extra[0]} does not go with {move.kind}", f"{', '.join(OPTIONS)}")
        match getattr(move, move.kind):
            case Ride() as ride:
                found = self._ride((*path, "ride"), ride, move)
            case Fetch() as fetch:
                found = self._fetch((*path, "fetch"), fetch, move)
            case Place() as place:
                found = self._place((*path, "place", "at"), place, move)
            case Bring() as bring:
                found = self._bring((*path, "bring"), bring, move)
            case _:
                raise AssertionError(f"unreachable: {move.kind} is an intent without moves")
        return list(_named(found, move, first))

    def _follow(self, path: YamlPath, move: Move) -> None:
        """Keep account of a plain move: where arm and items are is no longer known, or known anew."""
        if move.to_worksite is not None and move.to_worksite in self.known.platform.worksites:
            self.ways.visits.append(Visit(move.to_worksite, False, (*path, "to_worksite")))
        if move.attach is not None and move.attach.what in self.seats:
            self.seats[move.attach.what] = None
        elif move.detach is not None and move.detach.what in self.seats:
            self.seats[move.detach.what] = self.known.seat_at.get(move.detach.to)
        elif move.kind not in ("hold", "attach", "detach", "appendage", "posture"):
            self.ways.at = self.ways.waits = None

    # -- the intents ---------------------------------------------------------------------------------------

    def _come(self, path: YamlPath, at: str, move: Move, *, loaded: bool, straight: bool) -> Moves:
        pin = {joint: write(value, "angle") for joint, value in move.pin.items()}
        return self.ways.come(Visit(at, loaded, path), straight=straight, pin=pin)

    def _ride(self, path: YamlPath, ride: Ride, move: Move) -> Moves:
        if self.known.site((*path, "to"), ride.to) is None:
            return []
        return self._come((*path, "to"), ride.to, move, loaded=False, straight=ride.straight)

    def _fetch(self, path: YamlPath, fetch: Fetch, move: Move) -> Moves:
        thing, rider = self.known.thing((*path, "what"), fetch.what), self._rider((*path, "by"), fetch.by)
        seat = self.seats.get(fetch.what)
        if thing is None or rider is None:
            return []
        if seat is None:
            at = self.known.source.document.hardware[fetch.what].at
            self.known.tell((*path, "what"), f"'{fetch.what}' is in no seat by then; it starts at {at}",
                            f"a seat of the platform for it: {self.known.seats_for(fetch.what)}")  # fmt: skip
            return []
        sites = [name for name, site in self.known.platform.worksites.items() if site.seat == seat]
        if not sites:
            self.known.tell((*path, "what"), f"no worksite says seat: {seat}", "a worksite with that seat")
            return []
        moves = self._come((*path, "what"), sites[0], move, loaded=False, straight=fetch.straight)
        takes = thing.takes.unfasten if fetch.takes is None else fetch.takes
        moves.append({"hold": write(takes, "time"), "say": f"Unfasten the {as_words(fetch.what)}"})
        hands = {"what": fetch.what, "to": f"{rider}/hands", "seat": True}
        moves.append({"attach": hands, "say": f"{as_words(fetch.what).capitalize()} in hand"})
        self.seats[fetch.what] = None
        self.ways.at = Visit(sites[0], True, path)
        return moves + self.ways.leave()

    def _place(self, path: YamlPath, place: Place, move: Move) -> Moves:
        """Spell out a place whose worksite stands at ``path``."""
        thing, site = self.known.thing((*path[:-1], "what"), place.what), self.known.site(path, place.at)
        if thing is None or site is None:
            return []
        into = self.known.seat_of(path, place.at, place.what)
        if into is None:
            return []
        moves = self._come(path, place.at, move, loaded=True, straight=place.straight)
        if place.waits and moves:
            words = f"Line up with the seat of {as_words(place.at)}"
            moves.insert(1 - len(self.ways.way(Visit(place.at, True, path))),
                         {"hold": write(place.waits, "time"), "say": words})  # fmt: skip
        seat = {"what": place.what, "to": f"platform/{self.known.platform.seats[into].frame}", "seat": True}
        takes = thing.takes.fasten if place.takes is None else place.takes
        what = as_words(place.what)
        moves += [
            {"hold": write(thing.takes.settle, "time"), "say": f"{what.capitalize()} against its seat"},
            {"detach": seat, "say": f"{what.capitalize()} seated"},
            {"hold": write(takes, "time"), "say": f"Fasten the {what}"},
        ]
        self.seats[place.what] = into
        self.ways.at = Visit(place.at, False, path)
        return moves + self.ways.leave()

    def _bring(self, path: YamlPath, bring: Bring, move: Move) -> Moves:
        fetch = Fetch(what=bring.what, by=bring.by, straight=bring.straight)
        moves = self._fetch(path, fetch, move)
        for k, (name, point) in enumerate(bring.along):
            site = self.known.site((*path, "along", k, 0), name)
            if site is not None:
                moves.append(line(site, point) | {"say": f"On towards {as_words(bring.to)}"})
        place = Place(what=bring.what, at=bring.to, straight=bool(bring.along))
        return moves + self._place((*path, "to"), place, move)

    def _rider(self, path: YamlPath, by: str | None) -> str | None:
        if by is not None and by in self.riders:
            return by
        if by is None and len(self.riders) == 1:
            return self.riders[0]
        whom = "nobody rides the arm" if not self.riders else f"who of {', '.join(self.riders)}?" if by is None else (
            f"'{by}' does not ride the arm"
        )
        self.known.tell(path, whom, ", ".join(self.riders) or "a crewmember with at: arm")
        return None


def way_of(site: Worksite, loaded: bool) -> Sequence[Point]:
    """Return the points of the plate on a way in, in the stand's frame."""
    return site.way_in_loaded if loaded and site.way_in_loaded else site.way_in


def line(site: Worksite, point: Point) -> dict[str, Any]:
    """Return a straight move of the plate to a point in the frame of a stand."""
    return led(site.stand, point)


def _named(moves: Moves, move: Move, first: int) -> Iterator[dict[str, Any]]:
    """Give moves a name that says what was meant and the own words, which go to the first of them."""
    meant = getattr(move, move.kind)
    said = {key: words for key in OwnWords.model_fields if (words := getattr(move, key))}
    what = meant.to if isinstance(meant, Ride) else meant.what
    for number, one in enumerate(moves):
        name = f"{move.name}_{number + 1}" if move.name is not None else f"{move.kind}_{what}_{first + number}"
        yield {**one, "name": name[:48], **(said if number == 0 else {})}
