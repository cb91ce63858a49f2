"""Steps of a day by intent spelled out: what is meant becomes steps and carries, from what hardware and places ask."""

from __future__ import annotations

from typing import Any

import numpy as np

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
from armcarry.files.meeting import meeting_shift
from armcarry.files.spell import Visit, way_of
from armcarry.files.spell_carts import CartSpeller
from armcarry.files.spots import apart_m, spot
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write

Shift = tuple[float, float, float]

#: what may be said beside any intent, and what beside those that take a time of their own
OPTIONS = ("name", "title", "after", "before", *OwnWords.model_fields)
#: plain steps that are done beside something: whoever is afoot goes there first
BESIDE = ("steady", "take", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover",
          "inspect", "note")  # fmt: skip
#: who is farther beside a worksite than this works elsewhere, m
BESIDE_M = 0.3
_TIMED = ("go_out", "go_in", "go", "board", "leave")


class DaySpeller(CartSpeller):
    """Walks through the steps of a day, knows who and what is where by then, and spells intents out."""

    def spell(self, path: YamlPath, step: Step, text: dict[str, Any]) -> None:
        """Add what a step becomes to ``out``; a plain step stays as it is written, with a name."""
        self.out.at(path, step)
        if step.move_base is not None:  # nobody means it to roll with the arm at work
            self.fly("off", "back off", self.ways.leave())
        if step.kind not in MEANT_KINDS:
            self._come_beside(path, step)
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
        elif step.move_cart is not None or step.move_base is not None:
            self._follow_rolling(step)
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

    def _come_beside(self, path: YamlPath, step: Step) -> None:
        """Let whoever is afoot go to where a plain step is done, if they are beyond reach of it.

        What may vary, and what is done in the place of something else, is left where the script has it.
        """
        if step.kind not in BESIDE or step.name in self.elsewhere:
            return
        sites, item = self.known.platform.worksites, self.items.get(step.item or "")
        into = None if step.seat is None else self.known.platform.seats.get(step.seat.into)
        frame = item.at if item is not None and into is None else "" if into is None else f"platform/{into.frame}"
        for who in self.workers(step):
            if step.at in sites:
                points = [str(step.at), *(f"platform/{point}" for point in sites[str(step.at)].work_points.values())]
                place = str(step.at)
            elif step.at is None and frame in self.known.seat_at:
                points, place = [frame], self.beside(frame, who)
            else:
                continue
            if self.places[who] == ARM:
                self._rides_there(path, who, place)
            elif place != self.places[who] and self.beyond(who, points):
                self.walk(who, place, after=step.after)

    def _rides_there(self, path: YamlPath, who: str, site: str) -> None:
        """Add a problem where the arm has somebody at another worksite by then, beyond reach of the one."""
        at = self.ways.at
        if at is not None and site in self.known.platform.worksites and at.worksite != site:
            model = self.known.files["platform",].model()
            here, there = (spot(self.known.platform, model, one) for one in (at.worksite, site))
            if apart_m(here, there) > self.reach_m(who) + float(np.linalg.norm(at.shift)):
                self.known.tell(path, f"{who} is on the arm at {at.worksite} by then, not at {site}",
                                f"ride: {{to: {site}}} before it, or somebody else")  # fmt: skip

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
        afoot = self.places[who] != ARM
        shift = self._meeting(who, fetch.what, seat, at, fetch.shift, loaded=False)
        visit = Visit(at, False, path, shift, fetch.base)
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
        afoot = self.places[who] != ARM
        shift = self._meeting(who, place.what, into, place.at, place.shift, loaded=True, station=place.station)
        visit = Visit(place.at, True, path, shift, place.base)
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

    def _meeting(
        self, who: str, what: str, seat: str, site: str, said: Shift, *, loaded: bool, station: float | None = None
    ) -> tuple[float, float, float]:
        """Return how far beside its place the plate stands, as said, else so that the rider's hands meet the item."""
        if any(said) or self.places[who] != ARM:
            return said
        frame, slid = self.known.platform.seats[seat].frame, dict(self.slid_m)
        for cart in self.known.platform.carts.values():
            if station is not None and cart.body_frame == frame:
                slid[cart.joint] = station
        point = way_of(self.known.platform.worksites[site], loaded)[-1]
        return meeting_shift(self.known, who, what, seat, site, point, slid)

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

    def _tethers_first(self) -> bool:
        return bool(self.known.files["rules",].document.tethers.before_last_bolt)


def _worked_at(visit: Visit) -> str | None:
    """Return the worksite at which hands work; None well beside it, where its work points are not."""
    return None if np.linalg.norm(visit.shift) > BESIDE_M else visit.worksite
