"""Is hardware always held, fastened or seated, and is each act on it done when it may be?"""

from __future__ import annotations

from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
from armcarry.ledger.of_hatch import left_at
from armcarry.ledger.state import Act
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("custody")
#: said where nobody's hands are described
NO_HANDS = "; bolts and connectors are taken as done in the pauses, no step says by whom"


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a missing precondition, or one that all acts on an item were in order.

    Without a day nobody is said to turn bolts or join connectors; they are then taken as done in the
    pauses of the carry, and the finding says so.
    """
    if not record.scene.loaded.hardware:
        return ()
    ledger = record.ledger
    violations = ledger.told_by("custody")
    handled = sorted({act.item for act in ledger.acts if act.item})
    wrong = {violation.item for violation in violations}
    wrong |= {also.item for violation in ledger.violations for also in violation.led_to}
    found = [_violation(violation) for violation in violations]
    found += [
        _make.not_assessed(item.item, f"{item.step}: {item.message}", item.remedy, other=item.step, at=item.time_s)
        for item in ledger.unknown("custody")
    ]
    found += [_inventory(record, act) for act in ledger.acts if act.kind == "hatch" and act.make == "closed"]
    return (*found, *(_in_order(record, item, ledger) for item in handled if item not in wrong))


def _inventory(record: Record, act: Act) -> Finding:
    """Say what had gone out by the time the hatch closed, and where it is; what has no place is told by itself."""
    page = record.ledger.at(act.time_s)
    items = sorted(page.gone_out - set(page.people))
    places = [f"{item} {left_at(page, item) or 'without a place'}" for item in items]
    words = f"the hatch is closed in {act.step}; of what went out: {', '.join(places) or 'nothing did'}"
    return _make.passed("hatch", words, other=act.step, at=act.time_s)


def _violation(violation: Violation) -> Finding:
    words = f"{violation.step}: {violation.message}"
    return _make.failed(violation.item, words, violation.remedy, other=violation.step, at=violation.time_s)


def _in_order(record: Record, item: str, ledger: Ledger) -> Finding:
    state = ledger.end.states[item]
    where = f"in {state.seat}" if state.seat else f"held by {', '.join(sorted(state.hands)) or 'its tether'}"
    where = "inside" if state.where == "inside" else where
    count = sum(act.item == item for act in ledger.acts)
    note = "" if ledger.end.asked.bonds else NO_HANDS
    message = f"{item}: {count} acts in order, at the end it is {where}{note}"
    return _make.passed(item, message, at=(0.0, record.duration_s))
