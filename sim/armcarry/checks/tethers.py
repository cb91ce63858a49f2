"""Does nobody and nothing go farther than its tether is long, and is a new one hooked before the old is unhooked?"""

from __future__ import annotations

from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("tethers")


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for every tether that is too short or unhooked too soon; else one for all.

    Nothing is assessed, and said once, where a day states no safety tether of a person; without a day nobody is
    said to hook anything.
    """
    book = record.ledger
    found = [
        _make.failed(item.item, item.message, item.remedy, other=item.step, at=item.time_s)
        for item in book.told_by("tethers")
    ]
    if record.plan is None:
        return tuple(found)
    pages, whole = (book.start, *book.after), (0.0, record.duration_s)
    hooked = {(what, to) for page in pages for what, to, _ in page.tethers()}
    if hooked and not found and not book.told_elsewhere("tethers"):
        words = f"at no instant is any of {len(hooked)} tethers asked to be longer than it is, proven over the motion"
        found.append(_make.passed("tethers", words, at=whole))
    without = [who for who in record.scene.loaded.crew if not any(page.people[who].tethers for page in pages)]
    if without:
        words = f"no safety tether of {', '.join(without)} is stated, so whether they are kept hooked on is not judged"
        remedy = "add steps such as tether: {to: porch_rail} and untether: {to: porch_rail} of the worker"
        found.append(_make.not_assessed("crew", words, remedy, at=whole))
    return tuple(found)
