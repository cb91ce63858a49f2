"""Can the arm make every move of the script?"""

from __future__ import annotations

from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("reach")


def check(record: Record) -> tuple[Finding, ...]:
    """Fail for each move that cannot be made, saying how far short it falls and what stops it."""
    failed = tuple(
        _make.failed(
            shortfall.title,
            f"{shortfall.title} cannot be made: {shortfall.reason}",
            shortfall.remedy,
            other=shortfall.goal,
            at=shortfall.time_s,
            value=shortfall.short_m,
            limit=0.0,
            unit="m",
        )
        for shortfall in record.shortfalls
    )
    if failed:
        return failed
    return (_make.passed("arm", f"all {len(record.moves)} moves can be made", at=(0.0, record.duration_s)),)
