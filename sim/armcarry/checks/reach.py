"""Can the arm make every move of the script?"""

from __future__ import annotations

from armcarry.motion.path import NEAR_START
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
    words = f"all {len(record.moves)} moves can be made{_spare_joint(record)}"
    return (_make.passed("arm", words, at=(0.0, record.duration_s)),)


def _spare_joint(record: Record) -> str:
    """Say which way the spare joint took in straight lines: move by move where it is not the plain one."""
    ways: dict[str, list[str]] = {}
    for move in record.moves:
        if move.spare:
            ways.setdefault(move.spare.replace("arm/", ""), []).append(move.title)
    told = [f"{way} in {', '.join(moves)}" for way, moves in ways.items() if way != NEAR_START]
    return f"; spare joint {'; '.join(told)}" if told else ""
