"""Is hardware always held, fastened or seated, and is each act on it done when it may be?"""

from __future__ import annotations

from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
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
    found = [_violation(violation) for violation in violations]
    return (*found, *(_in_order(record, item, ledger) for item in handled if item not in wrong))


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
