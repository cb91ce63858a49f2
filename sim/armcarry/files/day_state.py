"""Who and what is where in a day by intent, and the steps that bring people and the arm somewhere else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from armcarry.files import names
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.found import FoundDocument, FoundPlace
from armcarry.files.documents.platform import Handrail
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.files.item_acts import Item
from armcarry.files.script import RESTRAINT
from armcarry.files.spell import Moves, Names, Visit, Ways, spoken
from armcarry.files.spots import apart_m, spot
from armcarry.files.step_list import Steps
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write


@dataclass(frozen=True)
class Exchange:
    """A step in which people get on or off the arm from or to places that may be found.

    Attributes:
        path: of the step by intent.
        kind: swap, fit or stow.
        at: worksite where it is, None where the arm is by then.
        steps: the steps of getting on and off that it becomes; of fit and stow the last with the restraint.
        said: which of on, off and shift the script says.
        who: takes the restraint in hand.
    """

    path: YamlPath
    kind: str
    at: str | None
    steps: tuple[str, ...]
    said: tuple[str, ...] = ()
    who: str = ""


class DayState:
    """Who and what is where in a day so far, and how people and the arm come somewhere else.

    Args:
        known: names of the script.
        found: what was found for it.
        waits: worksite before which the arm starts.
    """

    def __init__(self, known: Names, found: FoundDocument | None, waits: str | None = None) -> None:
        self.known, self.ways = known, Ways(known, waits)
        #: where the base is to stand for each worksite that is come to, in order
        self.stations: Sequence[float | None] = [] if found is None else found.stations
        #: where people get on and off, for each exchange in order
        self.found_places: Sequence[FoundPlace | None] = [] if found is None else found.places
        self.found_settings: Mapping[str, float] = {} if found is None else found.settings
        self.exchanges: list[Exchange] = []
        script: ScenarioDocument = known.source.document
        self.arm: ArmDocument = known.files["arm",].document
        self.base = script.base.station
        #: station to which the script itself has just rolled the base
        self.said: float | None = None
        self.items = {
            name: Item(name, item.at, item.fasteners, known.files["hardware", name, "model"].document)
            for name, item in script.hardware.items()
        }
        #: joint of a cart -> its station
        carts = known.platform.carts
        self.slid_m = {carts[name].joint: at for name, at in script.carts.items() if name in carts}
        #: who went through the hatch last, and the step
        self.passed: tuple[str, str] | None = None
        #: step that must have ended before the arm goes on: somebody gets off it
        self.held_by: str | None = None
        #: who -> how many steps there were when they last got off the arm
        self.got_off: dict[str, int] = {}
        #: who -> worksite, airlock or frame; those aboard are at ARM
        self.places = {who: {"inside": AIRLOCK}.get(member.at, member.at) for who, member in script.crew.items()}
        #: where the one restraint is while it is not on the arm; with several of them the ledger alone tells
        self.off_arm = ""
        for one in script.all_restraints.values() if len(script.all_restraints) == 1 else ():
            self.off_arm = "" if one.at == ARM else one.at
        taken = [step.name for step in script.day.steps] if script.day is not None else []
        self.out = Steps({*taken} - {""}, {carry.name for carry in script.carries})

    def workers(self, step: Step) -> list[str]:
        """Return the crewmembers among the actors of a step."""
        return [actor for actor in step.actors if actor in self.places]

    @property
    def riders(self) -> list[str]:
        """Who is aboard by then."""
        return [who for who, place in self.places.items() if place == ARM]

    def walk(self, who: str, to: str, step: Step | None = None, *, follows: bool = False) -> None:
        """Let somebody go along the handrails, unless they are there; one after the other through the hatch."""
        if self.places[who] != to:
            takes = None if step is None else step.takes
            short = to.removeprefix("platform/")
            passes = AIRLOCK in (to, self.places[who])
            linked = step is not None and bool(step.after or step.before)
            before = self.passed if passes and not linked else None
            once = [] if before is None or before[0] == who else [before[1]]
            name = self.out.add(f"{who}_to_{short}", f"to {spoken(short)}", [who], translate={"to": to}, takes=takes,
                                follows=follows, after=once)  # fmt: skip
            if passes:  # whom the script links to something else nobody waits for: it might be in a circle
                self.passed = None if linked else (who, name)
            self.places[who] = to

    def found_place(self) -> FoundPlace:
        """Return from and to where people get on and off at the next exchange, as far as that was found."""
        number = len(self.exchanges)
        kept = self.found_places[number] if number < len(self.found_places) else None
        return kept or FoundPlace()

    def get_on(self, path: YamlPath, who: str, step: Step | None, *, follows: bool = False) -> str:
        """Let somebody get into the restraint on the arm; return the step's name, empty where that cannot be."""
        document = self.restraint(path)
        if self.off_arm:
            held = self.off_arm.endswith("/hands")
            words = "a step with fit_restraint before it" if held else f"fit: {{who: {who}}} before it, or in its place"
            self.known.tell(path, f"the restraint is not on the arm by then, it is at {self.off_arm}", words)
            self.places[who], self.off_arm = ARM, ""  # told once
        elif document is not None:
            takes = document.getting_in if step is None or step.takes is None else step.takes
            self.places[who] = ARM
            says: dict[str, Any] = {"enter_restraint": {}, "takes": takes}
            return self.out.add(f"{who}_gets_on", "onto the arm", [who], **says, follows=follows)
        return ""

    def get_off(self, path: YamlPath, who: str, to: str | None, step: Step | None) -> str:
        """Let the rider get off; the arm goes on once they are off. Return the step's name, empty for none."""
        document, at = self.restraint(path), self.ways.at
        if document is not None:
            takes = document.getting_out if step is None or step.takes is None else step.takes
            place = to or (at.worksite if at is not None else "")
            where = {"to": place} if place else {}
            self.held_by = self.out.add(f"{who}_gets_off", "off the arm", [who], leave_restraint=where, takes=takes)
            self.places[who] = place
            self.got_off[who] = len(self.out.texts)
            return self.held_by
        return ""

    def restraint(self, path: YamlPath) -> Any:
        """Return the document of the restraint; a problem is added where the script has none."""
        script = self.known.source.document
        if not script.all_restraints:
            self.known.tell(path, "this scenario has no restraint", "restraint: {}")
            return None
        name = next(iter(script.all_restraints))
        key: YamlPath = ("restraint", "model") if name == RESTRAINT else ("restraints", name, "model")
        return self.known.files[key].document

    def come(
        self, path: YamlPath, visit: Visit, pin: Mapping[str, float] | None = None, *, only_near: bool = False
    ) -> None:
        """Bring the arm to a worksite, its base first if it must stand elsewhere for that."""
        if self.known.site(path, visit.worksite) is None or self.ways.there(visit):
            return
        moves = self.ways.leave()
        visit, self.said = replace(visit, said=self.said if visit.said is None else visit.said), None
        number = len(self.ways.visits)
        station = visit.said
        if station is None and number < len(self.stations):
            station = self.stations[number]
        if station is not None and station != self.base:
            moves += [] if visit.said is not None else self.gathered()
            self.fly("off", "back off", moves)
            self.roll(station)
            moves = []
        held = {joint: self.joint(joint, value) for joint, value in (pin or {}).items()}
        moves += self.ways.approach(visit, pin=held)
        if not only_near:
            moves += self.ways.enter(visit)
        self.fly(f"to_{visit.worksite}", f"to {spoken(visit.worksite)}", moves)

    def gathered(self) -> Moves:
        """Return the move to the posture in which the base rolls; it stays as it is where no such posture is found."""
        travel = self.arm.travel
        settings = {joint: self.joint(joint, value) for joint, value in travel.items()}
        return [{"to_joints": settings, "say": "Arm gathered", "way": "find"}]

    def joint(self, joint: str, value: float) -> str:
        """Return a joint position as it is written."""
        kinds = {one.name: one.kind for one in self.known.files["arm",].model().joints}
        return write(value, "length" if kinds.get(joint) == "prismatic" else "angle")

    def enter(self, visit: Visit) -> None:
        """Bring the arm from where it waits to where one works."""
        self.fly(f"in_to_{visit.worksite}", f"in to {spoken(visit.worksite)}", self.ways.enter(visit))

    def roll(self, station: float) -> None:
        """Roll the base to a station."""
        mount = self.known.platform.mounts.get(self.known.source.document.base.mount)
        takes = None if mount is None else mount.rolling
        to = write(station, "length")
        crew, once = self.crew_of_arm(), self.once_off()
        self.out.add("base", f"base to {to}", crew, takes=takes, move_base={"to": to}, after=once)
        self.base = station

    def fly(self, name: str, title: str, moves: Moves) -> None:
        """Add a carry of the arm with whoever is aboard, if it moves at all."""
        if moves:
            self.out.fly(name, title, self.crew_of_arm(), moves, after=self.once_off())

    def crew_of_arm(self) -> list[str]:
        """Return who takes part when the arm moves."""
        return [ARM, *self.riders]

    def once_off(self) -> list[str]:
        """Return what the arm must wait for to go on: that whoever gets off is off."""
        held, self.held_by = self.held_by, None
        return [] if held is None else [held]

    def person(self, path: YamlPath, who: str) -> bool:
        """Tell whether there is a crewmember of this name; a problem is added where there is none."""
        if who not in self.places:
            self.known.tell(path, f"no crewmember named '{who}'", names.accepted(who, self.places, "crewmember"))
        return who in self.places

    def afoot(self, path: YamlPath, who: str) -> bool:
        """Tell whether a crewmember is off the arm; a problem is added where they are on it."""
        if self.places[who] == ARM:
            self.known.tell(path, f"{who} is on the arm by then", f"leave: {{who: {who}, at: WORKSITE}} before it")
        return self.places[who] != ARM

    def rider(self, path: YamlPath, who: str | None) -> str | None:
        """Return who rides the arm; a problem is added where that is nobody, or not who is named."""
        riders = self.riders
        if who is None and riders:
            return riders[0]
        if who is not None and not self.person(path, who):
            return None
        if who is None or who not in riders:
            whom = f"'{who}' is not on the arm by then" if who is not None else "nobody is on the arm by then"
            named = who or next(iter(self.places), "ev1")
            instead = f"swap: {{off: {riders[0]}, on: {named}}}" if riders else f"board: {{who: {named}, at: WORKSITE}}"
            self.known.tell(path, whom, f"{instead} before it")
            return None
        return who

    def beside(self, frame: str, who: str) -> str:
        """Return where somebody goes to work on what sits in a frame: its worksite, else the nearest end of a handrail.

        Who is at an end that is no farther from it stays there.
        """
        platform, model = self.known.platform, self.known.files["platform",].model()
        seat = self.known.seat_at.get(frame)
        site = next((name for name, one in platform.worksites.items() if seat is not None and one.seat == seat), None)
        if site is not None:
            return site
        there = spot(platform, model, frame, self.slid_m)
        ends = [f"platform/{end}" for rail in platform.handrails.values() for end in (rail.start, rail.end)]
        known = [self.places[who], *ends] if self.places[who] in ends else ends
        away = {end: round(apart_m(spot(platform, model, end), there), 2) for end in known}
        return min(away, key=lambda end: away[end], default=self.places[who])

    def slide(self, cart: str, station: float) -> None:
        """Keep account of where a cart is."""
        if cart in self.known.platform.carts:
            self.slid_m[self.known.platform.carts[cart].joint] = station

    def hands(self, path: YamlPath, who: str | None) -> str | None:
        """Return whose hands do something: who is named, off the arm too, else the one who rides it."""
        return who if who is not None and self.places.get(who, ARM) != ARM else self.rider(path, who)

    def still_free(self, path: YamlPath, what: str, into: str) -> None:
        """Add a problem where something else is in a seat by then."""
        seat = self.known.platform.seats.get(into)
        for other in self.items.values():
            if seat is not None and other.name != what and other.at == f"platform/{seat.frame}":
                out = f"a step before it that takes {other.name} out"
                self.known.tell(path, f"{other.name} is in {into} by then", out)

    def ends(self, rail: Handrail, who: str) -> tuple[str, str]:
        """Return the ends of a handrail as places, the one nearer to where somebody comes from first."""
        model = self.known.files["platform",].model()
        ends = [f"platform/{rail.end}", f"platform/{rail.start}"]
        here, *there = (spot(self.known.platform, model, place) for place in (self.places[who], *ends))
        return (ends[0], ends[1]) if apart_m(here, there[0]) <= apart_m(here, there[1]) else (ends[1], ends[0])

    def frame(self, place: str) -> str:
        """Return a place as a plain step names it: the near end of a handrail by its frame."""
        rail = self.known.platform.handrails.get(place)
        if place in self.known.platform.worksites or rail is None:
            return place
        return f"platform/{rail.start}"
