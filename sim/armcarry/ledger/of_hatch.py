"""What must be true of the hatch: open for who passes, one at a time, nothing too wide, nothing forgotten outside."""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.ledger.change import Change, Found
from armcarry.ledger.state import Page

STATE_STEPS = "add steps of the worker at the hatch, hatch: {make: open} and hatch: {make: closed}"
STATE_RULES = "state hatch in the rules: passing, widest"


def hatch_open(change: Change) -> Iterator[Found]:
    """The hatch is open for whoever passes it."""
    for who in change.people():
        if not change.before.hatch:
            words = f"{who} passes the hatch; no step opens or closes it, so what is in and out then is not judged"
            yield Found(who, words, remedy=STATE_STEPS, unknown=True)
        elif change.before.hatch != "open":
            yield Found(who, f"{who} passes the hatch in {change.act.step} while it is closed",
                        remedy=f"put the step that opens the hatch before {change.act.step}",
                        cause="closed")  # fmt: skip


def one_at_a_time(change: Change) -> Iterator[Found]:
    """One body is in the hatch at a time."""
    people = change.people()
    if people and not change.before.asked.hatch_known:
        words = f"{people[0]} passes the hatch; how long that takes and what fits through, the rules do not say"
        yield Found(people[0], words, remedy=STATE_RULES, unknown=True)
        return
    before = [(who, step) for who, step in change.before.passing.items() if who not in people]
    before += [(who, change.act.step) for who in people[:-1]]
    for other, step in before[-1:]:
        words = f"{people[-1]} passes the hatch in {change.act.step} while {other} is still in it ({step})"
        yield Found(people[-1], words, remedy=f"let {people[-1]} pass once {other} is through")


def fits_through(change: Change) -> Iterator[Found]:
    """What somebody brings through the hatch fits through it."""
    widest = change.before.asked.widest_m
    for who in change.people():
        for item in change.before.brought_by(who):
            size = None if change.around is None else change.around.size_m(item)
            if size is not None and size[1] > widest:
                words = f"{item} is {size[1]:.2f} m wide in the hatch, {widest:g} m fits through"
                yield Found(item, words, remedy=f"leave {item} outside in a place, or bring it in parts")


def hatch_clear(change: Change) -> Iterator[Found]:
    """Nobody is in the hatch when it closes."""
    if change.act.make == "closed":
        for who in change.before.passing:
            yield Found(who, f"the hatch is closed in {change.act.step} while {who} is in it")


def people_in(change: Change) -> Iterator[Found]:
    """Whoever went out is inside when the hatch closes."""
    if change.act.make == "closed":
        for who in sorted(change.before.gone_out & set(change.before.people)):
            if not change.before.is_inside(who):
                yield Found(who, f"the hatch is closed in {change.act.step} while {who} is outside")


def items_in(change: Change) -> Iterator[Found]:
    """What went out is back in when the hatch closes, or has a place outside: a seat, or a tether to what stays."""
    if change.act.make == "closed":
        for item in sorted(change.before.gone_out - set(change.before.people)):
            if left_at(change.before, item) == "" and not _told_with(change.before, item):
                yield Found(item, f"{item} went out and has no place when the hatch is closed in {change.act.step}")


def _told_with(page: Page, item: str) -> bool:
    """Tell whether an item is brought by somebody who is outside too, or lies in a bag: then that is told."""
    state = page.states[item]
    brought = {who for who in state.hands | state.tethers if who in page.people}
    return state.seat in page.states or bool(brought & page.gone_out)


def left_at(page: Page, item: str) -> str:
    """Return where an item is that has a place, in words; empty where it has none."""
    state = page.states[item]
    anchors = sorted(to for to in state.tethers if to not in page.people)
    if page.is_inside(item):
        return "inside"
    if state.where == "seat":
        return f"in {state.seat}" if state.seat not in page.states or left_at(page, state.seat) else ""
    return f"tethered to {', '.join(anchors)}" if anchors else ""
