"""Is the arm made safe, brakes on and motors off, whenever people get on or off it or a rider works at a seat?"""

from __future__ import annotations

from armcarry.ledger.book import Ledger
from armcarry.quantities import clock
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("arm_safe")


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for everybody who is too near an arm that is not safe; else one.

    Without a day there is one only where somebody gets on or off, not assessed where nobody says that it is safe then.

    Not assessed where the rules do not say that the arm is made safe. A runaway is asked about only while it is not.
    """
    book, whole = record.ledger, (0.0, record.duration_s)
    if record.plan is None:
        return _boarded(book)
    if not book.start.asked.arm_safe:
        words = "the rules do not say how long it takes to make the arm safe, so it counts as powered all day"
        remedy = "state arm_safe in the rules: brakes, mode_change, check, call"
        return (_make.not_assessed("arm", words, remedy, at=whole),)
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


def _boarded(book: Ledger) -> tuple[Finding, ...]:
    unknown = book.unknown("arm_safe")
    if unknown:
        return tuple(
            _make.not_assessed(item.item, item.message, item.remedy, other=item.step, at=item.time_s)
            for item in unknown
        )
    pages = (book.start, *book.after)
    boarding = [act for act, before, after in zip(book.acts, pages, pages[1:], strict=False)
                if act.kind in ("get_in", "get_out") and before.riders() != after.riders()]  # fmt: skip
    if not boarding:
        return ()
    words = "whenever somebody gets on or off the arm, it stands long enough to be made safe before and ready after"
    return (_make.passed("arm", words, at=(boarding[0].time_s, boarding[-1].time_s)),)
