"""Does a logged motion say enough, and what was assumed where it does not?"""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.record.figures import near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.timeline.log_facts import Logged, Step

_make = Maker("log")


def check(record: Record) -> tuple[Finding, ...]:
    """Tell gaps, rows left out, whole turns between rows and what the log leaves open; nothing for a planned run."""
    if record.logged is None:
        return ()
    return tuple(_findings(record, record.logged))


def _findings(record: Record, log: Logged) -> Iterator[Finding]:
    pieces = "straight" if log.pieces == "linear" else "monotone cubic"
    yield _make.passed(
        log.name,
        f"{log.rows} rows from {log.first} as logged, {pieces} "
        f"pieces between them; largest step {_amount(record, log.largest)} of {log.largest.joint} up to line "
        f"{log.largest.line}; straight and cubic pieces differ by {near(log.between_rad, 'rad', 3)} at most; the first "
        f"row is {near(log.start_off, 'rad', 2)} from the script's start ({log.start_joint})",
        at=(0.0, record.duration_s), value=log.largest.by, unit="rad" if _turns(record, log.largest.joint) else "m",
    )
    if log.changed or log.passed_over:
        done = [f"{joint} {words}" for joint, words in log.changed.items()]
        passed = [f"columns passed over: {', '.join(log.passed_over)}"] if log.passed_over else []
        yield _make.passed(
            "columns", f"as the file of columns says: {'; '.join([*done, *passed])}", at=(0.0, record.duration_s)
        )
    for jump in log.jumps:
        yield _make.failed(
            jump.joint,
            f"{log.name}:{jump.line}: {jump.joint} steps by {near(jump.by_rad, 'rad')} from one row to the next, "
            "as a logger does that wraps angles; it is replayed as written",
            "log joint angles that count on beyond half a turn, or say wraps: true of the column in a file of columns",
            at=jump.time_s, value=abs(jump.by_rad), unit="rad",
        )
    for gap in log.gaps:
        yield _open(
            log, f"{log.name}:{gap.line}: no row for {gap.end_s - gap.start_s:.3g} s; the motion there is assumed",
            "supply the missing rows", gap.start_s, gap.end_s,
        )
    for row in log.left_out:
        yield _open(log, f"row left out: {row}", "supply the row as it was")
    for move in log.unmarked:
        yield _open(
            log, f"no row says when '{move}' happens, so it is left out of the run",
            f"write {move} in the column 'move' of the row where it happens",
        )
    yield _open(
        log, "accelerations: between rows they are those of the pieces and not of the arm, so joint_rate judges rates "
        "alone", "take them from the arm's own records",
    )
    if record.scene.loaded.scenario.day is not None:
        yield _open(log, "the day of the script: a log holds the motion alone", "rehearse the script without a log")


def _open(log: Logged, message: str, remedy: str, start_s: float = 0.0, end_s: float = 0.0) -> Finding:
    return _make.not_assessed(log.name, message, remedy, at=(start_s, end_s))


def _turns(record: Record, joint: str) -> bool:
    return bool(record.scene.tree.revolute[record.scene.tree.column(joint)])


def _amount(record: Record, step: Step) -> str:
    return near(step.by, "rad", 2) if _turns(record, step.joint) else near(step.by, "m", 4)
