"""Can the arm make every move of the script?"""

from __future__ import annotations

from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record


def check(record: Record) -> tuple[Finding, ...]:
    """Fail for each move that cannot be made, saying how far short it falls and what stops it."""
    failed = tuple(
        Finding(
            check="reach",
            verdict=Verdict.FAIL,
            subject=shortfall.title,
            other=shortfall.goal,
            message=f"{shortfall.title} cannot be made: {shortfall.reason}",
            start_s=shortfall.time_s,
            end_s=shortfall.time_s,
            value=shortfall.short_m,
            limit=0.0,
            unit="m",
            remedy=shortfall.remedy,
        )
        for shortfall in record.shortfalls
    )
    if failed:
        return failed
    moves = len(record.moves)
    return (
        Finding("reach", Verdict.PASS, "arm", f"all {moves} moves can be made", end_s=record.duration_s),
    )
