"""Telling broken truths: one wrong act is told once, with what follows from it, however many steps suffer from it.

An act is applied as it was meant, even where it could not be done so: an item goes to hands that were too far off, a
restraint from under its rider, a person into a restraint that is somewhere else. From then on whatever it moved is
where it cannot be, and truths that later break about it say no more than that. They are told with the act.
"""

from __future__ import annotations

from dataclasses import replace

from armcarry.ledger.change import JUST_S, Consequence, Violation
from armcarry.ledger.state import Act, Page

#: truths without which an act could not bring its item anywhere
_ITEM_MOVED = ("beside", "free_hands", "empty_when_moved", "receiver_holds", "held")
_MOVES_ITEM = ("take", "grip", "hand_over", "seat", "fit_restraint", "set_down")
#: the truth without which an item is nowhere in particular, and what is not so at the end then
_LOOSE, _BOLTS = "secured", "bolts_tight"
#: truths without which an act could not bring its people anywhere
_PERSON_MOVED = ("beside", "no_restraint", "restraint_taken", "in_another", "rider_out")
_MOVES_PERSON = ("climb_in", "carry")
#: what follows from it: truths about where an item or somebody is, and in whose hands; bolts, plugs and covers that
#: were forgotten are told all the same
_FOLLOWS = (
    "beside", "held", "free_hands", "receiver_holds", "secured", "seated", "seat_empty", "off_seat", "still", "tether",
    "in_a_place", "items_in", "tool_there", "tether_length", "holds_on", "empty_when_moved", "no_restraint",
    "restraint_taken", "in_another", "not_in_restraint", "rider_out", "rider_not_named", "restraint_on",
)
#: told of the step in which it becomes so, which need not be one that does anything wrong
_LASTING = ("tether_length", "holds_on")
#: checks that ask where a person is; what is in the hands is asked all the same
_OF_PLACES = ("schedule", "tethers", "arm_safe")


class Telling:
    """The broken truths of a ledger, in the order in which they are told."""

    def __init__(self) -> None:
        self._told: list[Violation] = []
        #: item or restraint, or person -> row of the broken truth since which it is where it cannot be, and since when
        self._items: dict[str, tuple[int, float]] = {}
        self._people: dict[str, tuple[int, float]] = {}
        self._loose: dict[str, tuple[int, float]] = {}
        #: the same of a tether that was hooked to what is out of reach: what, and to what
        self._hooked: dict[tuple[str, ...], tuple[int, float]] = {}

    @property
    def told(self) -> tuple[Violation, ...]:
        """All that was told so far, each with what follows from it."""
        return tuple(_in_one(item) for item in self._told)

    def tell(self, new: Violation, act: Act, page: Page) -> None:
        """Tell a broken truth: alone, with that of the same cause, or with the act that it follows from.

        Args:
            new: what an act breaks.
            act: that act, or another one at the instant at which it is so.
            page: before it.
        """
        if self._told_already(new):
            return
        row = None if new.unknown else self._follows_from(new, act.time_s, page)
        if row is None:
            row = len(self._told)
            self._told.append(new)
        else:
            old = self._told[row]
            also = Consequence(new.step, new.item, new.missing, new.topic, new.message)
            self._told[row] = replace(old, led_to=(*old.led_to, also))
        if not new.unknown:
            self._displace(row, new, act, page)

    def _follows_from(self, new: Violation, time_s: float, page: Page) -> int | None:
        """Return the row of the act that a broken truth follows from, None if it stands for itself."""
        known = []
        if new.missing in _FOLLOWS:
            known += [self._items[name] for name in new.about if name in self._items]
            if new.topic in _OF_PLACES:
                known += [self._people[name] for name in (new.item, *new.about) if name in self._people]
        if new.missing == "tether_length":
            known += [self._hooked[new.about]] if new.about in self._hooked else []
        if new.missing in (*_FOLLOWS, _BOLTS):  # what came loose is told as long as nothing holds it again
            known += [self._loose[name] for name in new.about if name in self._loose and not page.states[name].secured]
        return min((row for row, since_s in known if since_s <= time_s), default=None)

    def _told_already(self, new: Violation) -> bool:
        """Tell a broken truth with an earlier one that has the same cause; whether there is one."""
        for k, old in enumerate(self._told):
            if new.cause and (new.item, new.missing, new.cause) == (old.item, old.missing, old.cause):
                joint = ", " if "; the same in " in old.message else "; the same in "
                if new.step != old.step:
                    self._told[k] = replace(old, message=f"{old.message}{joint}{new.step}")
                return True
        return False

    def _displace(self, row: int, new: Violation, act: Act, page: Page) -> None:
        """Note what an act moved that it could not have moved."""
        items, people = set[str](), set[str]()
        if act.kind == "tether" and new.missing == "beside":
            for what in [act.item] if act.item else act.actors:
                for to in [act.to] if act.to else act.actors:
                    self._hooked.setdefault((what, to), (row, act.time_s))
        if new.missing == _LOOSE:
            self._loose.setdefault(new.item, (row, act.time_s + JUST_S))  # once the act is done
        if act.kind in _MOVES_ITEM and new.missing in _ITEM_MOVED:
            items |= {act.item or act.whose}
            people |= {page.occupant(act.item or act.whose)}
        if act.kind in _MOVES_PERSON and new.missing in _PERSON_MOVED:
            people |= {new.item}
            items |= {act.whose}
        for name in items - {""}:
            self._items.setdefault(name, (row, act.time_s))
        for name in people - {""}:
            self._people.setdefault(name, (row, act.time_s))
        old = self._told[row]
        self._told[row] = replace(old, displaced=tuple(sorted({*old.displaced, *items, *people} - {""})))


def _in_one(item: Violation) -> Violation:
    """Return a broken truth with what follows from it: of the same step in words, of others the steps' names."""
    besides = [also.message for also in item.led_to if also.step == item.step]
    later = dict.fromkeys(
        also.step for also in item.led_to if also.step != item.step and also.missing not in _LASTING
    )  # fmt: skip
    message = "; besides, ".join([item.message, *besides])
    return replace(item, message=f"{message}; so is not right either: {', '.join(later)}" if later else message)
