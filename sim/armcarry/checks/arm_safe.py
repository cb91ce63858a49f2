"""Is the arm made safe, brakes on and motors off, whenever people get on or off it or a rider works at a seat?"""

from __future__ import annotations

from armcarry.quantities import clock
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("arm_safe")


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for everybody who is too near an arm that is not safe; else one; none without a day.

    Not assessed where the rules do not say that the arm is made safe. A runaway is asked about only while it is not.
    """
    if record.plan is None:
        return ()
    book, whole = record.ledger, (0.0, record.duration_s)
    if not book.start.asked.arm_safe:
        words = "the rules do not say how long it takes to make the arm safe, so it counts as powered all day"
        return (_make.not_assessed("arm", words, "state arm_safe in the rules: make_safe and make_ready", at=whole),)
    found = [
        _make.failed(item.item, item.message, item.remedy, other=item.step, at=(item.start_s, item.end_s))
        for item in book.told_by("arm_safe")
    ]
    if not found:
        spans = book.spans(lambda page: page.arm, record.duration_s)
        safe_s = sum(end - start for start, end, mode in spans if mode == "safe")
        words = "whenever somebody gets on or off the arm, or a rider works at a seat, the arm is safe"
        found.append(_make.passed("arm", f"{words}; in all it is safe for {clock(safe_s)}", at=whole))
    return tuple(found)
