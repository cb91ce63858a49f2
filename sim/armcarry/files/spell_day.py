"""Steps of a day by intent spelled out: what is meant becomes steps and carries, from what hardware and places ask."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from armcarry.files import names
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.day_intents import (
    MEANT_KINDS,
    Board,
    BringItem,
    FetchItem,
    GiveBack,
    Going,
    Leave,
    PlaceItem,
    RideTo,
    Swap,
    TakeAlong,
)
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.files.item_acts import Item, after_seating, before_taking
from armcarry.files.script import RESTRAINT
from armcarry.files.spell import Moves, Names, Visit, Ways, spoken
from armcarry.files.step_list import Steps
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write

#: what may be said beside any intent, and what beside those that take a time of their own
OPTIONS = ("name", "title", "after", "before")
_TIMED = ("go_out", "go_in", "go", "board", "leave")


class DaySpeller:
    """Walks through the steps of a day, knows who and what is where by then, and spells intents out.

    Args:
        known: names of the script.
        stations: where the base is to stand for each worksite that is come to, in order, as it was found.
        waits: worksite before which the arm starts.
    """

    def __init__(self, known: Names, stations: Sequence[float | None], waits: str | None = None) -> None:
        self.known, self.ways, self.stations = known, Ways(known, waits), stations
        script: ScenarioDocument = known.source.document
        self.arm: ArmDocument = known.files["arm",].document
        self.base = script.base.station
        #: station to which the script itself has just rolled the base
        self.said: float | None = None
        self.items = {
            name: Item(name, item.at, item.fasteners, known.files["hardware", name, "model"].document)
            for name, item in script.hardware.items()
        }
        #: step that must have ended before the arm goes on: somebody gets off it
        self.held_by: str | None = None
        #: who -> worksite, airlock or frame; those aboard are at ARM
        self.places = {who: {"inside": AIRLOCK}.get(member.at, member.at) for who, member in script.crew.items()}
        taken = [step.name for step in script.day.steps] if script.day is not None else []
        self.out = Steps({*taken} - {""}, {carry.name for carry in script.carries})

    def spell(self, path: YamlPath, step: Step, text: dict[str, Any]) -> None:
        """Add what a step becomes to ``out``; a plain step stays as it is written, with a name."""
        self.out.at(path, step)
        if step.move_base is not None:  # nobody means it to roll with the arm at work
            self._fly("off", "back off", self.ways.leave())
        if step.kind not in MEANT_KINDS:
            self.out.plain(step, text)
            self._follow(path, step)
            return
        extra = sorted(
            key for key in step.model_fields_set - {*OPTIONS, step.kind} if key != "takes" or step.kind not in _TIMED
        )
        if extra:
            accepted = ", ".join((*OPTIONS, "takes") if step.kind in _TIMED else OPTIONS)
            self.known.tell((*path, extra[0]), f"{extra[0]} does not go with {step.kind}", accepted)
        here = (*path, step.kind)
        match getattr(step, step.kind):
            case list() as who:
                self._together(here, step, who)
            case Going() as go:
                self._go(here, go, step)
            case Board() as board:
                self._board(here, board, step)
            case Leave() as leave:
                self._leave(here, leave, step)
            case Swap() as swap:
                self._swap(here, swap)
            case RideTo() as ride:
                self._come((*here, "to"), Visit(ride.to, False, here, ride.shift, ride.base), ride.pin)
            case FetchItem() as fetch:
                self._fetch(here, fetch)
            case PlaceItem() as place:
                self._place(here, place)
            case BringItem() as bring:
                if self._fetch(here, FetchItem(what=bring.what, by=bring.by)):
                    self._place(here, PlaceItem(what=bring.what, at=bring.to, by=bring.by), at_key="to")
            case GiveBack() as back:
                self._give_back(here, back)
            case TakeAlong() as along:
                self._take_along(here, along)
        self.out.done()

    def _follow(self, path: YamlPath, step: Step) -> None:
        """Keep account of a plain step."""
        item = self.items.get(step.item or "")
        if step.carry is not None:
            self.ways.at = None
        elif step.move_base is not None:
            self.ways.at = None
            self.base = self.said = step.move_base.to
        elif step.translate is not None:
            self.places.update(dict.fromkeys(self._workers(step), step.translate.to))
        elif step.enter_restraint is not None:
            self.places.update(dict.fromkeys(self._workers(step), ARM))
        elif step.leave_restraint is not None:
            at = self.ways.at
            where = step.leave_restraint.to or (at.worksite if at is not None else "")
            self.places.update(dict.fromkeys(self._workers(step), where))
        elif item is not None:
            item.follow(step, {name: seat.frame for name, seat in self.known.platform.seats.items()})
            if step.take is not None and self.ways.at is not None:
                at = self.ways.at
                self.ways.at = Visit(at.worksite, True, path, at.shift)

    def _workers(self, step: Step) -> list[str]:
        return [actor for actor in step.actors if actor in self.places]

    @property
    def riders(self) -> list[str]:
        """Who is aboard by then."""
        return [who for who, place in self.places.items() if place == ARM]

    # -- people ------------------------------------------------------------------------------------------------

    def _together(self, path: YamlPath, step: Step, who: list[str]) -> None:
        """Come out of the hatch, or go to it and in, together."""
        known = [self._person((*path, k), name) for k, name in enumerate(who)]  # each is told that is not
        if not all(known):
            return
        out = step.kind == "go_out"
        for name in who if not out else ():
            self._walk(name, AIRLOCK)
        takes = self.known.platform.going_out if out else self.known.platform.going_in
        note = "out of the hatch, looked over" if out else "in, hatch closed, air let back in"
        self.out.add(step.kind, note, who, note=note, takes=step.takes or takes)
        self.places.update(dict.fromkeys(who, AIRLOCK))

    def _go(self, path: YamlPath, go: Going, step: Step) -> None:
        if self._person((*path, "who"), go.who) and self._afoot((*path, "who"), go.who):
            self._walk(go.who, self._frame(go.to), step)

    def _board(self, path: YamlPath, board: Board, step: Step) -> None:
        if not self._person((*path, "who"), board.who) or self.known.site((*path, "at"), board.at) is None:
            return
        if not self._afoot((*path, "who"), board.who):
            return
        if self.riders:
            self.known.tell((*path, "who"), f"{self.riders[0]} is on the arm by then", "leave or swap before it")
            return
        self._come((*path, "at"), Visit(board.at, False, path, said=board.base), board.pin)
        if self.places[board.who] != board.at:
            self._walk(board.who, board.at, follows=True)
        self._get_on(path, board.who, step)

    def _leave(self, path: YamlPath, leave: Leave, step: Step) -> None:
        who = self._rider((*path, "who"), leave.who)
        if who is None:
            return
        if leave.at is not None:
            if self.known.site((*path, "at"), leave.at) is None:
                return
            self._come((*path, "at"), Visit(leave.at, False, path, said=leave.base), leave.pin)
        self._get_off(path, who, None if leave.to is None else self._frame(leave.to), step)

    def _swap(self, path: YamlPath, swap: Swap) -> None:
        off = self._rider((*path, "off"), swap.off)
        if off is None or not self._person((*path, "on"), swap.on) or not self._afoot((*path, "on"), swap.on):
            return
        if swap.at is not None:
            if self.known.site((*path, "at"), swap.at) is None:
                return
            self._come((*path, "at"), Visit(swap.at, False, path, said=swap.base), swap.pin)
        at = self.ways.at
        named = None if at is None else self.known.platform.worksites[at.worksite].handrail
        rail = self.known.platform.handrails.get(named or "")
        if swap.waits is not None:
            self._walk(swap.on, self._frame(swap.waits))
        elif rail is not None and not self.places[swap.on].startswith("platform/"):
            self._walk(swap.on, f"platform/{rail.end}")
        to = f"platform/{rail.start}" if swap.to is None and rail is not None else swap.to
        self._get_off(path, off, None if to is None else self._frame(to), None)
        self._get_on(path, swap.on, None, follows=True)

    def _walk(self, who: str, to: str, step: Step | None = None, *, follows: bool = False) -> None:
        if self.places[who] != to:
            takes = None if step is None else step.takes
            short = to.removeprefix("platform/")
            self.out.add(f"{who}_to_{short}", f"to {spoken(short)}", [who], translate={"to": to}, takes=takes,
                         follows=follows)  # fmt: skip
            self.places[who] = to

    def _get_on(self, path: YamlPath, who: str, step: Step | None, *, follows: bool = False) -> None:
        document = self._restraint(path)
        if document is not None:
            takes = document.getting_in if step is None or step.takes is None else step.takes
            self.out.add(f"{who}_gets_on", "onto the arm", [who], enter_restraint={}, takes=takes, follows=follows)
            self.places[who] = ARM

    def _get_off(self, path: YamlPath, who: str, to: str | None, step: Step | None) -> None:
        document, at = self._restraint(path), self.ways.at
        if document is not None:
            takes = document.getting_out if step is None or step.takes is None else step.takes
            where = {} if to is None else {"to": to}
            self.held_by = self.out.add(f"{who}_gets_off", "off the arm", [who], leave_restraint=where, takes=takes)
            self.places[who] = to or (at.worksite if at is not None else "")

    def _restraint(self, path: YamlPath) -> Any:
        """Return the document of the restraint; a problem is added where the script has none."""
        script = self.known.source.document
        if not script.all_restraints:
            self.known.tell(path, "this scenario has no restraint", "restraint: {}")
            return None
        name = next(iter(script.all_restraints))
        key: YamlPath = ("restraint", "model") if name == RESTRAINT else ("restraints", name, "model")
        return self.known.files[key].document

    # -- the arm -----------------------------------------------------------------------------------------------

    def _come(
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
            moves += [] if visit.said is not None else self._gathered()
            self._fly("off", "back off", moves)
            self._roll(station)
            moves = []
        held = {joint: self._joint(joint, value) for joint, value in (pin or {}).items()}
        moves += self.ways.approach(visit, pin=held)
        if not only_near:
            moves += self.ways.enter(visit)
        self._fly(f"to_{visit.worksite}", f"to {spoken(visit.worksite)}", moves)

    def _gathered(self) -> Moves:
        """Return the move to the posture in which the base rolls, none where the arm's document says none."""
        travel = self.arm.travel
        settings = {joint: self._joint(joint, value) for joint, value in travel.items()}
        return [{"to_joints": settings, "say": "Arm gathered", "way": "find"}] if settings else []

    def _joint(self, joint: str, value: float) -> str:
        kinds = {one.name: one.kind for one in self.known.files["arm",].model().joints}
        return write(value, "length" if kinds.get(joint) == "prismatic" else "angle")

    def _enter(self, visit: Visit) -> None:
        self._fly(f"in_to_{visit.worksite}", f"in to {spoken(visit.worksite)}", self.ways.enter(visit))

    def _roll(self, station: float) -> None:
        mount = self.known.platform.mounts.get(self.known.source.document.base.mount)
        takes = None if mount is None else mount.rolling
        to = write(station, "length")
        crew, once = self._crew_of_arm(), self._once_off()
        self.out.add("base", f"base to {to}", crew, takes=takes, move_base={"to": to}, after=once)
        self.base = station

    def _fly(self, name: str, title: str, moves: Moves) -> None:
        if moves:
            self.out.fly(name, title, self._crew_of_arm(), moves, after=self._once_off())

    def _crew_of_arm(self) -> list[str]:
        return [ARM, *self.riders]

    def _once_off(self) -> list[str]:
        """Return what the arm must wait for to go on: that whoever gets off is off."""
        held, self.held_by = self.held_by, None
        return [] if held is None else [held]

    # -- hardware ------------------------------------------------------------------------------------------------

    def _fetch(self, path: YamlPath, fetch: FetchItem) -> bool:
        """Spell out a fetch; tell whether it could be."""
        thing, rider = self.known.thing((*path, "what"), fetch.what), self._rider((*path, "by"), fetch.by)
        if thing is None or rider is None:
            return False
        item = self.items[fetch.what]
        seat = self.known.seat_at.get(item.at)
        if seat is None:
            self.known.tell((*path, "what"), f"'{fetch.what}' is in no seat by then; it is at {item.at}",
                            f"a seat of the platform for it: {self.known.seats_for(fetch.what)}")  # fmt: skip
            return False
        at = fetch.at or next((n for n, site in self.known.platform.worksites.items() if site.seat == seat), None)
        if at is None:
            self.known.tell((*path, "what"), f"no worksite says seat: {seat}", "at: WORKSITE")
            return False
        if self.known.site((*path, "at"), at) is None:
            return False
        visit = Visit(at, False, path, fetch.shift, fetch.base)
        first, rest = before_taking(item, self.known.platform.seats[seat], self._tethers_first())
        if first:
            self._come((*path, "at"), visit, fetch.pin, only_near=True)
            self.out.acts(fetch.what, [rider], first)
            self._enter(visit)
        else:
            self._come((*path, "at"), visit, fetch.pin)
        self.out.acts(fetch.what, [rider], rest, at=at)
        self.ways.at = Visit(at, True, path, visit.shift)
        item.at = f"{rider}/hands"
        return True

    def _place(self, path: YamlPath, place: PlaceItem, at_key: str = "at") -> None:
        thing, rider = self.known.thing((*path, "what"), place.what), self._rider((*path, "by"), place.by)
        if thing is None or rider is None or self.known.site((*path, at_key), place.at) is None:
            return
        item = self.items[place.what]
        if not item.at.startswith(f"{rider}/"):
            self.known.tell((*path, "what"), f"{rider} does not hold '{place.what}' by then; it is at {item.at}",
                            f"fetch: {{what: {place.what}}} before it, or bring in place of it")  # fmt: skip
            return
        into = self.known.seat_of((*path, at_key), place.at, place.what, place.seat)
        if into is None:
            return
        seat = self.known.platform.seats[into]
        visit = Visit(place.at, True, path, place.shift, place.base)
        self._come((*path, at_key), visit, place.pin)
        station = None if place.station is None else write(place.station, "length")
        acts, last = after_seating(item, seat, into, station, place.bolts)
        self.out.acts(place.what, [rider], acts, at=place.at)
        item.at = f"platform/{seat.frame}"
        self.ways.at = Visit(place.at, False, path, visit.shift)
        if last:
            self._fly(f"off_{place.at}", "back off", self.ways.leave())
            self.out.acts(place.what, [rider], last)

    def _give_back(self, path: YamlPath, back: GiveBack) -> None:
        if self.known.thing((*path, "what"), back.what) is None:
            return
        home = self.known.seat_at.get(self.known.source.document.hardware[back.what].at)
        at = next((name for name, site in self.known.platform.worksites.items() if home and site.seat == home), None)
        if at is None:
            self.known.tell(
                (*path, "what"), f"'{back.what}' starts in no seat with a worksite", "bring, with to: WORKSITE"
            )
            return
        held = self.items[back.what].at.split("/", 1)[0] in self.riders
        if held or self._fetch(path, FetchItem(what=back.what, by=back.by)):
            self._place(path, PlaceItem(what=back.what, at=at, by=back.by), at_key="what")

    def _take_along(self, path: YamlPath, along: TakeAlong) -> None:
        if not self._person((*path, "by"), along.by) or not self._afoot((*path, "by"), along.by):
            return
        carts = self.known.platform.carts
        if along.cart not in carts:
            self.known.tell((*path, "cart"), f"no cart named '{along.cart}'", names.accepted(along.cart, carts, "cart"))
            return
        if along.at is not None:
            self._walk(along.by, self._frame(along.at))
        to = write(along.to, "length")
        far = {"cart": along.cart, "to": to}
        self.out.add(f"push_{along.cart}", f"{spoken(along.cart)} to {to}", [along.by], move_cart=far,
                     takes={"least": "3 min", "likely": "5 min", "most": "9 min"})  # fmt: skip
        frame = f"platform/{carts[along.cart].body_frame}"
        on_it = next((item for item in self.items.values() if item.at == frame), None)
        if along.bolts and on_it is None:
            self.known.tell((*path, "bolts"), f"nothing sits on {along.cart} by then", "bolts: 0")
        elif along.bolts and on_it is not None:
            self.out.acts(on_it.name, [along.by], [on_it.bolted(along.bolts, "tight")])

    def _tethers_first(self) -> bool:
        return bool(self.known.files["rules",].document.tethers.before_last_bolt)

    # -- names ---------------------------------------------------------------------------------------------------

    def _person(self, path: YamlPath, who: str) -> bool:
        if who not in self.places:
            self.known.tell(path, f"no crewmember named '{who}'", names.accepted(who, self.places, "crewmember"))
        return who in self.places

    def _afoot(self, path: YamlPath, who: str) -> bool:
        if self.places[who] == ARM:
            self.known.tell(path, f"{who} is on the arm by then", f"leave: {{who: {who}, at: WORKSITE}} before it")
        return self.places[who] != ARM

    def _rider(self, path: YamlPath, who: str | None) -> str | None:
        """Return who rides the arm; a problem is added where that is nobody, or not who is named."""
        riders = self.riders
        if who is None and riders:
            return riders[0]
        if who is not None and not self._person(path, who):
            return None
        if who is None or who not in riders:
            whom = f"'{who}' is not on the arm by then" if who is not None else "nobody is on the arm by then"
            named = who or next(iter(self.places), "ev1")
            instead = f"swap: {{off: {riders[0]}, on: {named}}}" if riders else f"board: {{who: {named}, at: WORKSITE}}"
            self.known.tell(path, whom, f"{instead} before it")
            return None
        return who

    def _frame(self, place: str) -> str:
        """Return a place as a plain step names it: the near end of a handrail by its frame."""
        rail = self.known.platform.handrails.get(place)
        if place in self.known.platform.worksites or rail is None:
            return place
        return f"platform/{rail.start}"
