"""Where people and carts are by then in a day by intent, and where somebody goes to be beside something."""

from __future__ import annotations

from collections.abc import Sequence

from armcarry.files.documents.platform import Handrail
from armcarry.files.own_body import reach_m
from armcarry.files.spell import Names
from armcarry.files.spots import apart_m, spot


class Whereabouts:
    """Places of people, and stations of carts.

    Attributes:
        known: names of the script.
        places: who -> worksite, airlock or frame; those aboard are at ARM.
        slid_m: joint of a cart -> its station.
    """

    known: Names
    places: dict[str, str]
    slid_m: dict[str, float]

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

    def reach_m(self, who: str) -> float:
        """Return how far from boots or gloves something may be that is beside somebody."""
        return reach_m(self.known.files["crew", who, "body"], self.known.source.document.crew[who])

    def beyond(self, who: str, points: Sequence[str]) -> bool:
        """Tell whether every one of some places is beyond reach of somebody, from where they are by then."""
        platform, model = self.known.platform, self.known.files["platform",].model()
        here = spot(platform, model, self.places[who])
        return min(apart_m(here, spot(platform, model, point, self.slid_m)) for point in points) > self.reach_m(who)

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
