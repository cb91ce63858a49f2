"""What each act changes on the page. It is applied as far as it can be, whether or not it should have been done.

So one step in the wrong place is one broken truth and not a train of them. Whatever is done, an item is in
exactly one place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from armcarry.errors import FrameError
from armcarry.ledger.state import TIP_SOCKET, Act, Fastened, ItemState, Page, Where


def apply(page: Page, act: Act) -> Page:
    """Return the page after an act; kinds that change nothing give the same page.

    Raises:
        FrameError: the act names an item, seat, restraint or fastener that does not exist.
    """
    if act.item and act.item not in page.states:
        raise FrameError("hardware", act.item, page.states)
    if act.kind not in _ACTS:
        return page
    changed = _ACTS[act.kind](page, act)
    return page if changed is page else _in_hands(changed)


def _item(page: Page, name: str, **changes: Any) -> Page:
    return replace(page, states={**page.states, name: replace(page.states[name], **changes)})


def _person(page: Page, name: str, **changes: Any) -> Page:
    if name not in page.people:
        return page
    return replace(page, people={**page.people, name: replace(page.people[name], **changes)})


def _in_hands(page: Page) -> Page:
    """Put into either hand what is held: what a hand holds already stays in it, the right hand is taken first."""
    people = dict(page.people)
    for name, person in people.items():
        held = [item for item, state in page.states.items() if name in state.hands and state.where != "adrift"]
        wanted = {item: page.hands_needed(item) for item in held}
        hands = {}
        for side in ("right", "left"):
            item = getattr(person, side)
            hands[side] = item if wanted.get(item, 0) > 0 else ""
            if hands[side]:
                wanted[item] -= 1
        for side in ("right", "left"):
            waiting = next((item for item, count in wanted.items() if count > 0), "")
            if waiting and not hands[side]:
                hands[side] = waiting
                wanted[waiting] -= 1
        people[name] = replace(person, right=hands["right"], left=hands["left"])
    return page if people == page.people else replace(page, people=people)


def _caught(state: ItemState) -> Where:
    """Return where an item is once a hand or a tether is on it."""
    return "held" if state.where in ("adrift", "inside") else state.where


# -- items ----------------------------------------------------------------------------------------------------


def _steady(page: Page, act: Act) -> Page:
    state = page.states[act.item]
    return _item(page, act.item, hands=state.hands | set(act.actors), where=_caught(state))


def _take(page: Page, act: Act) -> Page:
    return _item(page, act.item, where="held", seat="", hands=frozenset(act.actors))


def _grip(page: Page, act: Act) -> Page:
    """Who takes an item over has hold of it before the giver lets go."""
    state = page.states[act.item]
    return _item(page, act.item, hands=state.hands | {act.to}) if state.where == "held" else page


def _hand_over(page: Page, act: Act) -> Page:
    if page.states[act.item].where == "seat":
        return page
    return _item(page, act.item, where="held", hands=frozenset({act.to}))


def _seat(page: Page, act: Act) -> Page:
    if act.to not in page.seats:
        raise FrameError("seat", act.to, page.seats)
    state = page.states[act.item]
    hands = state.hands if page.seats[act.to].bolts else frozenset()  # a seat without bolts holds by its shape
    return _item(page, act.item, where="seat", seat=act.to, hands=hands, bolts_tight=0, connectors_joined=0)


def _fit(page: Page, act: Act) -> Page:
    socket = TIP_SOCKET if act.kind == "fit_restraint" else act.to
    if act.whose not in page.states or socket not in page.seats:
        return page
    return _item(page, act.whose, where="seat", seat=socket, hands=frozenset())


def _let_go(page: Page, act: Act) -> Page:
    state = page.states[act.item]
    hands = state.hands - set(act.actors)
    where: Where = state.where
    if where == "held" and not hands and not state.tethers:
        inside = any(page.people[who].inside for who in act.actors if who in page.people)
        where = "inside" if inside else "adrift"
    return _item(page, act.item, hands=hands, where=where)


def _tether(page: Page, act: Act) -> Page:
    anchors = {act.to} if act.to else set(act.actors)
    if not act.item:  # the actors' own safety tethers
        for who in act.actors:
            if who in page.people:
                page = _person(page, who, tethers=page.people[who].tethers | anchors)
                page = _length(page, who, act)
        return page
    state = page.states[act.item]
    page = _item(page, act.item, tethers=state.tethers | anchors, where=_caught(state))
    return _length(page, act.item, act)


def _length(page: Page, what: str, act: Act) -> Page:
    if act.length_m <= 0:
        return page
    own = {(what, anchor): act.length_m for anchor in ({act.to} if act.to else act.actors)}
    return replace(page, lengths={**page.lengths, **own})


def _untether(page: Page, act: Act) -> Page:
    anchors = {act.to} if act.to else set(act.actors)
    if not act.item:
        for who in act.actors:
            if who in page.people:
                page = _person(page, who, tethers=page.people[who].tethers - anchors)
        return page
    state = page.states[act.item]
    tethers = state.tethers - anchors
    loose = state.where == "held" and not state.hands and not tethers
    return _item(page, act.item, tethers=tethers, where="adrift" if loose else state.where)


def _bolt(page: Page, act: Act) -> Page:
    state = page.states[act.item]
    if act.make == "loose":
        return _item(page, act.item, bolts_tight=max(state.bolts_tight - act.count, 0))
    if state.where != "seat":
        return page
    holes = page.seats[state.seat].bolts
    tight = min(state.bolts_tight + act.count, holes)
    return _item(page, act.item, bolts_tight=tight, hands=frozenset() if tight == holes else state.hands)


def _connect(page: Page, act: Act) -> Page:
    state = page.states[act.item]
    if act.make == "parted":
        return _item(page, act.item, connectors_joined=max(state.connectors_joined - act.count, 0))
    if state.where != "seat":
        return page
    plugs = page.seats[state.seat].connectors
    return _item(page, act.item, connectors_joined=min(state.connectors_joined + act.count, plugs))


def made(act: Act) -> Fastened:
    """Return the state that a lock, unlock or fold_cover act leaves a fastener in."""
    return {"lock": "closed", "unlock": "open"}.get(act.kind, act.make)  # type: ignore[return-value]


def _fasten(page: Page, act: Act) -> Page:
    known = page.items[act.item].fasteners
    if act.fastener not in known:
        raise FrameError(f"fastener of {act.item}", act.fastener, known)
    state = page.states[act.item]
    new = tuple((key, made(act) if key == act.fastener else old) for key, old in state.fasteners)
    return _item(page, act.item, fasteners=new)


# -- the arm --------------------------------------------------------------------------------------------------


def _carry(page: Page, act: Act) -> Page:
    actors = set(act.actors)
    for item, state in page.states.items():
        if state.hands & actors and state.where == "held":
            page = _item(page, item, moving=act.step)
    return replace(page, flying={**page.flying, act.step: act.actors}, arm="driven")


def _arrive(page: Page, act: Act) -> Page:
    for item, state in page.states.items():
        if state.moving == act.step:
            page = _item(page, item, moving="")
    flying = {step: actors for step, actors in page.flying.items() if step != act.step}
    return replace(page, flying=flying, arm="driven" if flying else "holding")


def _make_safe(page: Page, act: Act) -> Page:
    return page if page.flying else replace(page, arm="safe")


def _make_ready(page: Page, act: Act) -> Page:
    return page if page.flying else replace(page, arm="holding")


# -- people ---------------------------------------------------------------------------------------------------


def _set_off(page: Page, act: Act) -> Page:
    for who in act.actors:
        page = _person(page, who, place="")
    return page


def _come(page: Page, act: Act) -> Page:
    for who in act.actors:
        page = _person(page, who, place=act.to)
    return page


def _go_out(page: Page, act: Act) -> Page:
    going = {name for who in act.actors if who in page.people for name in (who, *page.brought_by(who))}
    going |= {item for bag in going & set(page.states) for item in page.in_seat(bag)}
    return replace(_pass(page, act), gone_out=page.gone_out | going)


def _pass(page: Page, act: Act) -> Page:
    return replace(page, passing={**page.passing, **dict.fromkeys(act.actors, act.step)})


def _passed(page: Page, act: Act) -> Page:
    return replace(page, passing={who: step for who, step in page.passing.items() if who not in act.actors})


def _hatch(page: Page, act: Act) -> Page:
    outside = {who for who in page.gone_out & set(page.people) if not page.is_inside(who)}
    return replace(page, hatch=act.make, shut_out=frozenset(outside) if act.make == "closed" else page.shut_out)


def _climb(page: Page, act: Act) -> Page:
    for who in act.actors:
        page = _person(page, who, climbing=act.step)
    return page


def _get_in(page: Page, act: Act) -> Page:
    state = page.states.get(act.whose)
    if state is not None and (state.where != "seat" or not page.seats[state.seat].stand):
        page = _item(page, act.whose, where="seat", seat=TIP_SOCKET, hands=frozenset())  # as it was meant
    for who in act.actors:
        page = _person(page, who, restraint=act.whose, place="", climbing="")
    return page


def _get_out(page: Page, act: Act) -> Page:
    for who in act.actors:
        page = _person(page, who, restraint="", place=act.to, climbing="")
    return page


_ACTS: dict[str, Callable[[Page, Act], Page]] = {
    "steady": _steady, "take": _take, "grip": _grip, "hand_over": _hand_over, "seat": _seat, "let_go": _let_go,
    "tether": _tether, "untether": _untether, "bolt": _bolt, "connect": _connect,
    "lock": _fasten, "unlock": _fasten, "fold_cover": _fasten, "carry": _carry, "arrive": _arrive,
    "go_out": _go_out, "out": _passed, "go_in": _pass, "in": _passed, "hatch": _hatch,
    "set_off": _set_off, "come": _come, "climb_in": _climb, "climb_out": _climb, "get_in": _get_in,
    "get_out": _get_out, "fit_restraint": _fit, "set_down": _fit, "make_safe": _make_safe, "make_ready": _make_ready,
}
