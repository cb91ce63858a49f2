"""Carts on the rail in a day by intent: who pushes them from where, and who rolls before whom."""

from __future__ import annotations

import numpy as np

from armcarry.files import names
from armcarry.files.documents.day_intents import TakeAlong
from armcarry.files.documents.steps import Step
from armcarry.files.item_acts import Item
from armcarry.files.spell_climbs import ClimbSpeller
from armcarry.files.spots import apart_m, spot
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import show, write
from armcarry.texts import as_words

#: what is left of somebody's reach while a cart is pushed, m
SPARE_M = 0.1
#: places along the way of a cart at which it is asked who reaches it, m
LOOKED_AT_M = 0.1
#: how long a cart is pushed over a whole way from one place; an assumption
PUSHED = {"least": "3 min", "likely": "5 min", "most": "9 min"}


class CartSpeller(ClimbSpeller):
    """Spells out the intents about carts, and keeps account of where they are."""

    def _take_along(self, path: YamlPath, along: TakeAlong) -> None:
        """Let a worker loosen what sits on a cart, push it from handrail to handrail, and make it fast."""
        if not self.person((*path, "by"), along.by) or not self.afoot((*path, "by"), along.by):
            return
        carts = self.known.platform.carts
        if along.cart not in carts:
            self.known.tell((*path, "cart"), f"no cart named '{along.cart}'", names.accepted(along.cart, carts, "cart"))
            return
        frame = f"platform/{carts[along.cart].body_frame}"
        on_it = next((item for item in self.items.values() if item.at == frame), None)
        if along.bolts and on_it is None:
            self.known.tell((*path, "bolts"), f"nothing sits on {along.cart} by then", "bolts: 0")
        pushes = self._pushes(path, along)
        for number, (place, to) in enumerate(pushes):
            self.walk(along.by, place)
            if not number:
                self._made_loose(along, on_it)
            self._push(along, to)
        if along.bolts and on_it is not None and pushes:
            self.out.acts(on_it.name, [along.by], [on_it.bolted(min(along.bolts, on_it.loose), "tight")])

    def _made_loose(self, along: TakeAlong, on_it: Item | None) -> None:
        """Loosen as many bolts as are tightened behind, as far as they are tight, but one: it is never free."""
        seat = self.known.platform.seats.get(self.known.seat_at.get("" if on_it is None else on_it.at) or "")
        if on_it is not None and seat is not None:
            more = min(along.bolts, seat.bolts - 1) - on_it.loose
            if more > 0:
                self.out.acts(on_it.name, [along.by], [on_it.bolted(more, "loose")])

    def _push(self, along: TakeAlong, to_m: float) -> None:
        here, to = self.slid_m.get(self.known.platform.carts[along.cart].joint, 0.0), write(to_m, "length")
        once = self.rolls(along.cart, here, to_m)
        push = self.out.add(f"push_{along.cart}", f"{as_words(along.cart)} to {to}", [along.by], after=once,
                            move_cart={"cart": along.cart, "to": to}, takes=PUSHED)  # fmt: skip
        self.rolled(push, along.cart, here, to_m)
        self.slide(along.cart, to_m)

    def _pushes(self, path: YamlPath, along: TakeAlong) -> list[tuple[str, float]]:
        """Return the places from which a cart is pushed in order, each with the station to which from there.

        From an end of a handrail as far as it stays within reach, then from the next; a problem is added where it is
        beyond reach of every one.
        """
        cart = self.known.platform.carts[along.cart]
        here, frame = self.slid_m.get(cart.joint, 0.0), f"platform/{cart.body_frame}"
        reach = self.reach_m(along.by) - SPARE_M
        if along.at is not None:
            return [(self.frame(along.at), along.to)]
        found: list[tuple[str, float]] = []
        while not found or here != along.to:
            place, far, to = self._pushed_farthest(along, frame, here, reach)
            if far > reach or (to == here and found):
                words = f"{along.cart} at {show(here, 'length')} is beyond reach of {along.by} from every handrail"
                self.known.tell(path, words, f"at: another place, or a station nearer to a handrail; the nearest end "
                                             f"is {place.removeprefix('platform/')}, {far:.2f} m from it, reach is "
                                             f"{reach:.2f} m")  # fmt: skip
                return []
            found.append((place, to))
            here = to
        return found

    def _pushed_farthest(self, along: TakeAlong, frame: str, here: float, reach: float) -> tuple[str, float, float]:
        """Return the place from which a cart is pushed farthest, how far it is from it at most, and to where.

        Of the cart its middle and its ends are within reach or not.
        Of places from which that is alike the one where somebody is, else the nearest.
        """
        platform, model = self.known.platform, self.known.files["platform",].model()
        joint = platform.carts[along.cart].joint
        count = max(1, int(abs(along.to - here) / LOOKED_AT_M))
        stations = [round(here + (along.to - here) * k / count, 2) for k in range(count)] + [along.to]
        half = platform.carts[along.cart].half_length
        at = [[spot(platform, model, frame, {**self.slid_m, joint: station + by}) for by in (-half, 0.0, half)]
              for station in stations]  # fmt: skip
        best: tuple[int, bool, float, str] | None = None
        now = self.places[along.by]
        for end in (f"platform/{end}" for rail in platform.handrails.values() for end in (rail.start, rail.end)):
            far = [round(min(apart_m(spot(platform, model, end), point) for point in points), 2) for points in at]
            goes = next((k for k, one in enumerate(far) if one > reach), len(far)) - 1
            best = max(best or (-1, False, -np.inf, now), (goes, end == now, -max(far[: max(goes, 0) + 1]), end),
                       key=lambda one: one[:3])  # fmt: skip
        if best is None:
            return now, np.inf, here
        return best[3], -best[2], stations[max(best[0], 0)]

    def _set_down(self, into: str, station: float) -> None:
        """Keep account of where on the rail the place of a cart is that takes something."""
        seat = self.known.platform.seats.get(into)
        for name, cart in self.known.platform.carts.items():
            if seat is not None and cart.body_frame == seat.frame:
                self.slide(name, station)

    def _follow_rolling(self, step: Step) -> None:
        """Keep account of a plain step in which the base rolls or a cart is pushed."""
        name = self.out.texts[-1]["name"]
        if step.move_cart is not None:
            cart = self.known.platform.carts.get(step.move_cart.cart)
            if cart is not None:
                self.rolled(name, step.move_cart.cart, self.slid_m.get(cart.joint, 0.0), step.move_cart.to)
            self.slide(step.move_cart.cart, step.move_cart.to)
        elif step.move_base is not None:
            self.ways.at = None
            self.rolled(name, self.mount, self.base, step.move_base.to)
            self.base = self.said = step.move_base.to
