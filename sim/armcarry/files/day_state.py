"""Who and what is where in a day by intent, and the steps that bring people and the arm somewhere else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from armcarry.files import names
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.found import FoundDocument, FoundPlace
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.files.item_acts import Item
from armcarry.files.rail_order import RailOrder
from armcarry.files.script import RESTRAINT
from armcarry.files.spell import Moves, Names, Visit, Ways
from armcarry.files.step_list import Steps
from armcarry.files.whereabouts import Whereabouts
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write
from armcarry.texts import as_words


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


class DayState(Whereabouts):
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
        #: station to which the script itself has just rolled the base
        self.said: float | None = None
        self.items = {
            name: Item(name, item.at, item.fasteners, known.files["hardware", name, "model"].document)
            for name, item in script.hardware.items()
        }
        #: joint of a cart -> its station
        carts = known.platform.carts
        self.slid_m = {carts[name].joint: at for name, at in script.carts.items() if name in carts}
        self.sits(script.base.mount, script.base.station)
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
        #: plain steps that may be done at another time than where they are written, or not at all
        self.elsewhere = set() if script.day is None else script.day.elsewhere
        taken = [step.name for step in script.day.steps] if script.day is not None else []
        self.out = Steps({*taken} - {""}, {carry.name for carry in script.carries})

    def sits(self, mount: str, station: float | None) -> None:
        """Put the base on a mount, at a station along it where that is known."""
        self.mount, self.base = mount, station
        self.rail = RailOrder(self.known.platform, mount)

    def workers(self, step: Step) -> list[str]:
        """Return the crewmembers among the actors of a step."""
        return [actor for actor in step.actors if actor in self.places]

    @property
    def riders(self) -> list[str]:
        """Who is aboard by then."""
        return [who for who, place in self.places.items() if place == ARM]

    def walk(
        self, who: str, to: str, step: Step | None = None, *, follows: bool = False, after: Sequence[str] = ()
    ) -> None:
        """Let somebody go along the handrails, unless they are there; one after the other through the hatch."""
        if self.places[who] != to:
            takes = None if step is None else step.takes
            short = to.removeprefix("platform/")
            passes = AIRLOCK in (to, self.places[who])
            linked = bool(after) or (step is not None and bool(step.after or step.before))
            before = self.passed if passes and not linked else None
            once = [] if before is None or before[0] == who else [before[1]]
            name = self.out.add(f"{who}_to_{short}", f"to {as_words(short)}", [who], translate={"to": to}, takes=takes,
                                follows=follows, after=[*once, *after])  # fmt: skip
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
        stays = visit.said is None or visit.said == self.base
        if self.known.site(path, visit.worksite) is None or (stays and self.ways.there(visit)):
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
        self.fly(f"to_{visit.worksite}", f"to {as_words(visit.worksite)}", moves)

    def gathered(self) -> Moves:
        """Return the move to the posture in which the base rolls; it stays as it is where no such posture is found."""
        settings = {joint: self.joint(joint, value) for joint, value in self.arm.travel.items()}
        return [{"to_joints": settings, "say": "Arm gathered", "way": "find"}]

    def joint(self, joint: str, value: float) -> str:
        """Return a joint position as it is written."""
        kinds = {one.name: one.kind for one in self.known.files["arm",].model().joints}
        return write(value, "length" if kinds.get(joint) == "prismatic" else "angle")

    def enter(self, visit: Visit) -> None:
        """Bring the arm from where it waits to where one works."""
        self.fly(f"in_to_{visit.worksite}", f"in to {as_words(visit.worksite)}", self.ways.enter(visit))

    def roll(self, station: float) -> None:
        """Roll the base to a station."""
        mount = self.known.platform.mounts.get(self.mount)
        takes = None if mount is None else mount.rolling
        to = write(station, "length")
        once = [*self.once_off(), *self.rolls(self.mount, self.base, station)]
        name = self.out.add("base", f"base to {to}", self.crew_of_arm(), takes=takes, move_base={"to": to}, after=once)
        self.rolled(name, self.mount, self.base, station)
        self.base = station

    def rolls(self, what: str, here: float | None, to: float) -> list[str]:
        """Return what must be done before the base or a cart rolls, in the order of the script; none against its links.

        A step that waits for a later one is not done in the order of the script.
        """
        known, step = self.out.names, self.out.step
        other = here is None or known & {*step.before} or {*step.after} - known
        return [] if other or here is None else self.rail.waits_for(what, here, to)

    def rolled(self, name: str, what: str, here: float | None, to: float) -> None:
        """Note that the base or a cart rolls in a step."""
        if here is not None and not {*self.out.step.after} - self.out.names:
            self.rail.rolls(name, what, here, to)

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
