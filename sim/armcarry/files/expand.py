"""Moves by intent, spelled out: what is meant becomes the moves of the arm, each known by the line that meant it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from armcarry.files import names
from armcarry.files.documents.base import OwnWords
from armcarry.files.documents.bodies import HardwareDocument
from armcarry.files.documents.carries import INTENT_KINDS, Move
from armcarry.files.documents.intents import Bring, Fetch, Place, Ride
from armcarry.files.documents.platform import Worksite
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.model_files import ModelFile
from armcarry.files.validate import Source, raise_all, validate
from armcarry.files.yaml_text import YamlPath, YamlText
from armcarry.quantities import write

#: what may be said beside an intent: where it goes is for the moves that it becomes
OPTIONS = ("name", *OwnWords.model_fields, "pin")

Moves = list[dict[str, Any]]


def has_intents(script: ScenarioDocument) -> bool:
    """Tell whether a script holds moves by intent."""
    return any(move.kind in INTENT_KINDS for carry in script.carries for move in carry.moves)


def expanded(
    source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]]
) -> Source[ScenarioDocument]:
    """Return a script in which every move by intent has become moves of the arm.

    The lines of the new moves are those of the intent; the script that holds none is returned as it is.

    Args:
        source: the script.
        files: key in the script -> model file, as the loader opened them.

    Raises:
        InputError: an intent that cannot be: no such worksite, no seat, nobody who rides; InputErrors for several.
    """
    if not has_intents(source.document):
        return source
    spelled, lines, carries = _Speller(source, files), dict[YamlPath, int](), []
    for path, line in source.yaml.lines.items():
        if path[:1] != ("carries",) or len(path) < 4 or path[2] != "moves":
            lines[path] = line
    for k, carry in enumerate(source.document.carries):
        text, moves = source.yaml.data["carries"][k], list[dict[str, Any]]()
        for n, move in enumerate(carry.moves):
            here: YamlPath = ("carries", k, "moves", n)
            new = spelled.moves(here, move, len(moves) + 1)
            for number in range(len(moves), len(moves) + len(new or [0])):
                lines["carries", k, "moves", number] = source.yaml.line(here)
            if new is None:
                inner = {path: line for path, line in source.yaml.lines.items() if path[:4] == here}
                lines |= {("carries", k, "moves", len(moves), *path[4:]): line for path, line in inner.items()}
                new = [text["moves"][n]]
            moves += new
        carries.append({**text, "moves": moves} if carry.moves else text)
    raise_all(spelled.problems)
    yaml = YamlText(source.path, source.yaml.content, {**source.yaml.data, "carries": carries}, lines)
    return Source(validate(yaml, ScenarioDocument), yaml)


@dataclass
class _Speller:
    """Walks through the moves of a script, knows where arm and items are by then, and spells intents out."""

    source: Source[ScenarioDocument]
    files: Mapping[YamlPath, ModelFile[Any]]
    problems: list[Any] = field(default_factory=list)
    #: worksite at which the plate is all the way in, and how it came there
    at: tuple[str, bool] | None = None

    def __post_init__(self) -> None:
        self.platform = self.files["platform",].document
        #: frame by its full name -> seat there
        self.seat_at = {f"platform/{seat.frame}": name for name, seat in self.platform.seats.items()}
        #: item -> seat it is in, None in hands
        self.seats = {name: self.seat_at.get(item.at) for name, item in self.source.document.hardware.items()}
        self.riders = [name for name, member in self.source.document.crew.items() if member.at == "arm"]

    def tell(self, path: YamlPath, problem: str, accepted: str | None = None) -> None:
        self.problems.append(self.source.problem(path, problem, accepted=accepted))

    def moves(self, path: YamlPath, move: Move, first: int) -> Moves | None:
        """Return the moves that an intent becomes, numbered on from ``first`` in the carry; None for a plain move."""
        if move.kind not in INTENT_KINDS:
            self._follow(move)
            return None
        extra = sorted(move.model_fields_set - {*OPTIONS, move.kind})
        if extra:
            self.tell((*path, extra[0]), f"{extra[0]} does not go with {move.kind}", f"{', '.join(OPTIONS)}")
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

    def _follow(self, move: Move) -> None:
        """Keep account of a plain move: where arm and items are is no longer known, or known anew."""
        if move.attach is not None and move.attach.what in self.seats:
            self.seats[move.attach.what] = None
        elif move.detach is not None and move.detach.what in self.seats:
            self.seats[move.detach.what] = self.seat_at.get(move.detach.to)
        elif move.kind not in ("hold", "attach", "detach", "appendage", "posture"):
            self.at = None

    # -- the intents ---------------------------------------------------------------------------------------

    def _ride(self, path: YamlPath, ride: Ride, move: Move) -> Moves:
        site = self._site((*path, "to"), ride.to)
        return [] if site is None else self._in(ride.to, site, loaded=False, straight=ride.straight, move=move)

    def _fetch(self, path: YamlPath, fetch: Fetch, move: Move) -> Moves:
        thing, rider = self._thing((*path, "what"), fetch.what), self._rider((*path, "by"), fetch.by)
        seat = self.seats.get(fetch.what)
        if thing is None or rider is None:
            return []
        if seat is None:
            at = self.source.document.hardware[fetch.what].at
            self.tell((*path, "what"), f"'{fetch.what}' is in no seat by then; it starts at {at}",
                      f"a seat of the platform for it: {self._seats_for(fetch.what)}")  # fmt: skip
            return []
        sites = [name for name, site in self.platform.worksites.items() if site.seat == seat]
        if not sites:
            self.tell((*path, "what"), f"no worksite says seat: {seat}", "a worksite with that seat")
            return []
        site = self.platform.worksites[sites[0]]
        moves = self._in(sites[0], site, loaded=False, straight=fetch.straight, move=move)
        takes = thing.takes.unfasten if fetch.takes is None else fetch.takes
        moves.append({"hold": write(takes, "time"), "say": f"Unfasten the {_words(fetch.what)}"})
        hands = {"what": fetch.what, "to": f"{rider}/hands", "seat": True}
        moves.append({"attach": hands, "say": f"{_words(fetch.what).capitalize()} in hand"})
        self.seats[fetch.what] = None
        self.at = (sites[0], True)
        return moves + self._out()

    def _place(self, path: YamlPath, place: Place, move: Move) -> Moves:
        """Spell out a place whose worksite stands at ``path``."""
        thing, site = self._thing((*path[:-1], "what"), place.what), self._site(path, place.at)
        if thing is None or site is None:
            return []
        fits = self._names_of(place.what)
        if site.seat is None or not self.platform.seats[site.seat].takes(*fits):
            self.tell(path, f"'{place.at}' has no seat that takes '{place.what}'", self._that_take(fits))
            return []
        moves = self._in(place.at, site, loaded=True, straight=place.straight, move=move)
        seat = {"what": place.what, "to": f"platform/{self.platform.seats[site.seat].frame}", "seat": True}
        takes = thing.takes.fasten if place.takes is None else place.takes
        what = _words(place.what)
        moves += [
            {"hold": write(thing.takes.settle, "time"), "say": f"{what.capitalize()} against its seat"},
            {"detach": seat, "say": f"{what.capitalize()} seated"},
            {"hold": write(takes, "time"), "say": f"Fasten the {what}"},
        ]
        self.seats[place.what] = site.seat
        self.at = (place.at, False)
        return moves + self._out()

    def _bring(self, path: YamlPath, bring: Bring, move: Move) -> Moves:
        fetch = Fetch(what=bring.what, by=bring.by, straight=bring.straight)
        moves = self._fetch(path, fetch, move)
        for k, (name, point) in enumerate(bring.along):
            site = self._site((*path, "along", k, 0), name)
            if site is not None:
                moves.append(_line(site, point) | {"say": f"On towards {_words(bring.to)}"})
        place = Place(what=bring.what, at=bring.to, straight=bool(bring.along))
        return moves + self._place((*path, "to"), place, move)

    # -- ways in and out -----------------------------------------------------------------------------------

    def _in(self, name: str, site: Worksite, *, loaded: bool, straight: bool, move: Move) -> Moves:
        """Return the moves from wherever the arm is to a worksite, all the way in."""
        if self.at == (name, loaded):
            return []
        moves, way = self._out() if self.at is not None else [], _way(site, loaded)
        words = _words(name)
        if straight:
            moves.append(_line(site, way[0]) | {"say": f"To {words}"})
        else:
            goal = {"frame": f"platform/{site.stand}", "position": _position(way[0])}
            free: dict[str, Any] = {"to_pose": goal, "say": f"To {words}"}
            if move.pin:
                free["pin"] = {joint: write(value, "angle") for joint, value in move.pin.items()}
            moves.append(free)
        moves += [_line(site, point) | {"say": f"In to {words}"} for point in way[1:]]
        if loaded:
            moves[-1]["rate"] = site.last_rate
        self.at = (name, loaded)
        return moves

    def _out(self) -> Moves:
        """Return the moves from a worksite back to where one waits clear of it."""
        if self.at is None:
            return []
        name, loaded = self.at
        site = self.platform.worksites[name]
        back = _way(site, loaded)[-2::-1]
        moves = [_line(site, point) | {"say": f"Back from {_words(name)}"} for point in back]
        if loaded and moves:
            moves[0]["rate"] = site.last_rate
        self.at = None
        return moves

    # -- names ---------------------------------------------------------------------------------------------

    def _site(self, path: YamlPath, name: str) -> Worksite | None:
        sites: dict[str, Worksite] = self.platform.worksites
        if name not in sites:
            self.tell(path, f"no worksite named '{name}'", names.accepted(name, sites, "worksite"))
        return sites.get(name)

    def _thing(self, path: YamlPath, name: str) -> HardwareDocument | None:
        things = self.source.document.hardware
        if name not in things:
            self.tell(path, f"no hardware named '{name}'", names.accepted(name, things, "hardware"))
            return None
        document: HardwareDocument = self.files["hardware", name, "model"].document
        return document

    def _rider(self, path: YamlPath, by: str | None) -> str | None:
        if by is not None and by in self.riders:
            return by
        if by is None and len(self.riders) == 1:
            return self.riders[0]
        whom = "nobody rides the arm" if not self.riders else f"who of {', '.join(self.riders)}?" if by is None else (
            f"'{by}' does not ride the arm"
        )
        self.tell(path, whom, ", ".join(self.riders) or "a crewmember with at: arm")
        return None

    def _seats_for(self, item: str) -> str:
        fits = self._names_of(item)
        frames = (f"platform/{seat.frame}" for seat in self.platform.seats.values() if seat.takes(*fits))
        return ", ".join(frames) or "none takes it"

    def _names_of(self, item: str) -> tuple[str, str, str]:
        return item, self.source.document.hardware[item].model, self.files["hardware", item, "model"].path.stem

    def _that_take(self, fits: tuple[str, ...]) -> str:
        seats = {name for name, seat in self.platform.seats.items() if seat.takes(*fits)}
        return ", ".join(name for name, site in self.platform.worksites.items() if site.seat in seats) or "none does"


def _way(site: Worksite, loaded: bool) -> Sequence[Sequence[float]]:
    return site.way_in_loaded if loaded and site.way_in_loaded else site.way_in


def _line(site: Worksite, point: Sequence[float]) -> dict[str, Any]:
    return {"line": {"frame": f"platform/{site.stand}", "to": _position(point)}}


def _position(point: Sequence[float]) -> list[str]:
    return [write(value, "length") for value in point]


def _words(name: str) -> str:
    return name.replace("_", " ")


def _named(moves: Moves, move: Move, first: int) -> Iterator[dict[str, Any]]:
    """Give moves a name that says what was meant and the own words, which go to the first of them."""
    meant = getattr(move, move.kind)
    said = {key: words for key in OwnWords.model_fields if (words := getattr(move, key))}
    what = meant.to if isinstance(meant, Ride) else meant.what
    for number, one in enumerate(moves):
        name = f"{move.name}_{number + 1}" if move.name is not None else f"{move.kind}_{what}_{first + number}"
        yield {**one, "name": name[:48], **(said if number == 0 else {})}
