"""Steps of a day by intent spelled out: what is meant becomes steps and carries, from what hardware and places ask."""

from __future__ import annotations

from typing import Any

from armcarry.files import names
from armcarry.files.documents.base import OwnWords
from armcarry.files.documents.day_intents import (
    MEANT_KINDS,
    Board,
    BringItem,
    FetchItem,
    Fit,
    GiveBack,
    Going,
    Leave,
    PlaceItem,
    RideTo,
    Stow,
    Swap,
    TakeAlong,
)
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.files.item_acts import after_seating, before_taking
from armcarry.files.spell import Visit, spoken
from armcarry.files.spell_climbs import ClimbSpeller
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write

#: what may be said beside any intent, and what beside those that take a time of their own
OPTIONS = ("name", "title", "after", "before", *OwnWords.model_fields)
_TIMED = ("go_out", "go_in", "go", "board", "leave")


class DaySpeller(ClimbSpeller):
    """Walks through the steps of a day, knows who and what is where by then, and spells intents out."""

    def spell(self, path: YamlPath, step: Step, text: dict[str, Any]) -> None:
        """Add what a step becomes to ``out``; a plain step stays as it is written, with a name."""
        self.out.at(path, step)
        if step.move_base is not None:  # nobody means it to roll with the arm at work
            self.fly("off", "back off", self.ways.leave())
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
            case Fit() as fit:
                self._fit(here, fit)
            case Stow() as stow:
                self._stow(here, stow)
            case RideTo() as ride:
                self.come((*here, "to"), Visit(ride.to, False, here, ride.shift, ride.base), ride.pin)
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
        if step.seat is not None and step.seat.station is not None:
            self._set_down(step.seat.into, step.seat.station)
        if step.fit_restraint is not None:
            self.off_arm = ""
        elif step.item in self.known.source.document.all_restraints:
            if step.take is not None:
                self.off_arm = f"{step.actors[0]}/hands"
            elif step.seat is not None:
                self.off_arm = "" if step.seat.into == ARM else step.seat.into
        elif step.carry is not None:
            self.ways.at = None
        elif step.move_cart is not None:
            self.slide(step.move_cart.cart, step.move_cart.to)
        elif step.move_base is not None:
            self.ways.at = None
            self.base = self.said = step.move_base.to
        elif step.translate is not None:
            self.places.update(dict.fromkeys(self.workers(step), step.translate.to))
        elif step.enter_restraint is not None:
            self.places.update(dict.fromkeys(self.workers(step), ARM))
        elif step.leave_restraint is not None:
            at = self.ways.at
            where = step.leave_restraint.to or (at.worksite if at is not None else "")
            self.places.update(dict.fromkeys(self.workers(step), where))
        elif item is not None:
            if step.seat is not None:
                self.still_free((*path, "seat", "into"), item.name, step.seat.into)
            item.follow(step, {name: seat.frame for name, seat in self.known.platform.seats.items()})
            if step.take is not None and self.ways.at is not None:
                at = self.ways.at
                self.ways.at = Visit(at.worksite, True, path, at.shift)

    def _together(self, path: YamlPath, step: Step, who: list[str]) -> None:
        """Come out of the hatch, or go to it and in, together."""
        known = [self.person((*path, k), name) for k, name in enumerate(who)]  # each is told that is not
        if not all(known):
            return
        out = step.kind == "go_out"
        # whoever gets off the arm last would keep those afoot waiting beside it
        for name in sorted(who, key=lambda name: self.got_off.get(name, -1)) if not out else ():
            self.walk(name, AIRLOCK)
        takes = self.known.platform.going_out if out else self.known.platform.going_in
        note = "out of the hatch, looked over" if out else "in, hatch closed, air let back in"
        hatch = {"make": "open" if out else "closed", "words": note}
        self.out.add(step.kind, note, who, hatch=hatch, takes=step.takes or takes)
        self.places.update(dict.fromkeys(who, AIRLOCK))

    def _go(self, path: YamlPath, go: Going, step: Step) -> None:
        if self.person((*path, "who"), go.who) and self.afoot((*path, "who"), go.who):
            item = self.items.get(go.to)
            self.walk(go.who, self.frame(go.to) if item is None else self.beside(item.at, go.who), step)

    def _fetch(self, path: YamlPath, fetch: FetchItem) -> bool:
        """Spell out a fetch; tell whether it could be."""
        thing, who = self.known.thing((*path, "what"), fetch.what), self.hands((*path, "by"), fetch.by)
        if thing is None or who is None:
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
        visit, afoot = Visit(at, False, path, fetch.shift, fetch.base), self.places[who] != ARM
        first, rest = before_taking(item, self.known.platform.seats[seat], afoot or self._tethers_first())
        if afoot:  # both hands go along the rails, and what is brought trails on the own tether
            self._only_by_arm(path, fetch)
            self.walk(who, at, follows=True)
            self.out.acts(fetch.what, [who], [*first, *rest], at=at)
        else:
            self.come((*path, "at"), visit, fetch.pin, only_near=bool(first))
            if first:
                self.out.acts(fetch.what, [who], first)
                self.enter(visit)
            self.out.acts(fetch.what, [who], rest, at=_worked_at(visit))
            self.ways.at = Visit(at, True, path, visit.shift)
        item.at = f"{who}/hands"
        return True

    def _place(self, path: YamlPath, place: PlaceItem, at_key: str = "at") -> None:
        thing, who = self.known.thing((*path, "what"), place.what), self.hands((*path, "by"), place.by)
        if thing is None or who is None or self.known.site((*path, at_key), place.at) is None:
            return
        item = self.items[place.what]
        if not item.at.startswith(f"{who}/"):
            self.known.tell((*path, "what"), f"{who} does not hold '{place.what}' by then; it is at {item.at}",
                            f"fetch: {{what: {place.what}}} before it, or bring in place of it")  # fmt: skip
            return
        into = self.known.seat_of((*path, at_key), place.at, place.what, place.seat)
        if into is None:
            return
        self.still_free((*path, at_key), place.what, into)
        seat = self.known.platform.seats[into]
        station = None if place.station is None else write(place.station, "length")
        visit, afoot = Visit(place.at, True, path, place.shift, place.base), self.places[who] != ARM
        if afoot:
            self._only_by_arm(path, place)
            self.walk(who, place.at, follows=True)
        else:
            self.come((*path, at_key), visit, place.pin)
        acts, last = after_seating(item, seat, into, station, place.bolts)
        self.out.acts(place.what, [who], acts, at=_worked_at(visit))
        item.at = f"platform/{seat.frame}"
        if place.station is not None:
            self._set_down(into, place.station)
        if afoot:
            self.out.acts(place.what, [who], last, at=place.at)
            return
        self.ways.at = Visit(place.at, False, path, visit.shift)
        if last:
            self.fly(f"off_{place.at}", "back off", self.ways.leave())
            self.out.acts(place.what, [who], last)

    def _set_down(self, into: str, station: float) -> None:
        """Keep account of where on the rail the place of a cart is that takes something."""
        seat = self.known.platform.seats.get(into)
        for name, cart in self.known.platform.carts.items():
            if seat is not None and cart.body_frame == seat.frame:
                self.slide(name, station)

    def _only_by_arm(self, path: YamlPath, meant: FetchItem | PlaceItem) -> None:
        """Tell of what says how the arm comes, where somebody goes along the handrails."""
        for key in sorted(meant.model_fields_set & {"base", "pin", "shift"}):
            self.known.tell((*path, key), f"{key} does not go with somebody who is off the arm", "without it")

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
        held = self.items[back.what].at.split("/", 1)[0] in {*self.riders, back.by}
        if held or self._fetch(path, FetchItem(what=back.what, by=back.by)):
            self._place(path, PlaceItem(what=back.what, at=at, by=back.by), at_key="what")

    def _take_along(self, path: YamlPath, along: TakeAlong) -> None:
        if not self.person((*path, "by"), along.by) or not self.afoot((*path, "by"), along.by):
            return
        carts = self.known.platform.carts
        if along.cart not in carts:
            self.known.tell((*path, "cart"), f"no cart named '{along.cart}'", names.accepted(along.cart, carts, "cart"))
            return
        frame = f"platform/{carts[along.cart].body_frame}"
        self.walk(along.by, self.beside(frame, along.by) if along.at is None else self.frame(along.at))
        self.slide(along.cart, along.to)
        to = write(along.to, "length")
        far = {"cart": along.cart, "to": to}
        self.out.add(f"push_{along.cart}", f"{spoken(along.cart)} to {to}", [along.by], move_cart=far,
                     takes={"least": "3 min", "likely": "5 min", "most": "9 min"})  # fmt: skip
        on_it = next((item for item in self.items.values() if item.at == frame), None)
        if along.bolts and on_it is None:
            self.known.tell((*path, "bolts"), f"nothing sits on {along.cart} by then", "bolts: 0")
        elif along.bolts and on_it is not None:
            self.out.acts(on_it.name, [along.by], [on_it.bolted(along.bolts, "tight")])

    def _tethers_first(self) -> bool:
        return bool(self.known.files["rules",].document.tethers.before_last_bolt)


def _worked_at(visit: Visit) -> str | None:
    """Return the worksite at which hands work; None beside it, where its work points are not."""
    return None if any(visit.shift) else visit.worksite
