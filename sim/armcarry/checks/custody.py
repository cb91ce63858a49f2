"""Is hardware always held, fastened or seated, and is each act on it done when it may be?"""

from __future__ import annotations

from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.timeline.acts import acts_of_day, acts_of_run, custody_at_start
from armcarry.timeline.custody import Violation
from armcarry.timeline.handling import Replay, replay

#: what to do about each missing precondition; a fastener's own name is answered in _remedy
REMEDIES = {
    "held": "let somebody take hold of it, steady it or tether it before",
    "still": "do it before the carry or after it",
    "off_seat": "take it off its seat, or let go of it, before the carry",
    "bolts_loose": "put the step that loosens its bolts before",
    "bolts_tight": "check the count of bolts, or add the step that tightens them",
    "connectors_parted": "put the step that parts its connectors before",
    "connectors_joined": "check the count of connectors",
    "seated": "put the step that seats it before",
    "seat_empty": "take out what sits there before",
    "seat_accepts": "choose a seat that takes it",
    "free_hands": "hand it over instead",
    "tether": "let the one who holds the tether take it off",
}
_make = Maker("custody")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a missing precondition, or one that all acts on an item were in order.

    Without a day nobody is said to turn bolts or join connectors; they are then taken as done in the
    pauses of the carry, and the finding says so.
    """
    if not record.scene.loaded.hardware:
        return ()
    result, note = _replayed(record)
    handled = sorted({act.item for act in result.acts if act.item})
    findings = [_violation(record, violation) for violation in result.violations]
    wrong = {violation.item for violation in result.violations}
    return (*findings, *(_in_order(record, item, result, note) for item in handled if item not in wrong))


def _replayed(record: Record) -> tuple[Replay, str]:
    loaded, plan = record.scene.loaded, record.plan
    if plan is None:
        start = custody_at_start(loaded, bonds=False)
        acts = acts_of_run(loaded, start, record.moves, record.events)
        return replay(start, acts), "; bolts and connectors are taken as done in the pauses, no step says by whom"
    start = custody_at_start(loaded)
    # what the moves of a carry attach and leave; what the steps take and seat is in the day already
    switches = {move.start_s for move in record.moves if move.kind in ("attach", "detach")}
    events = [event for event in record.events if event.time_s in switches]
    return replay(start, acts_of_day(plan.day, plan.schedule, start, loaded=loaded, events=events)), ""


def _violation(record: Record, violation: Violation) -> Finding:
    return _make.failed(
        violation.item,
        f"{violation.step}: {violation.message}",
        _remedy(record, violation),
        other=violation.step,
        at=violation.time_s,
    )


def _remedy(record: Record, violation: Violation) -> str:
    known = REMEDIES.get(violation.missing)
    if known is not None:
        return known
    fastener = record.scene.loaded.hardware[violation.item].document.fasteners[violation.missing]
    return f"put the step that makes its {violation.missing} {fastener.state_needed} before {violation.step}"


def _in_order(record: Record, item: str, result: Replay, note: str) -> Finding:
    state = result.end.states[item]
    where = f"in {state.seat}" if state.seat else f"held by {', '.join(sorted(state.hands)) or 'its tether'}"
    count = sum(act.item == item for act in result.acts)
    message = f"{item}: {count} acts in order, at the end it is {where}{note}"
    return _make.passed(item, message, at=(0.0, record.duration_s))
