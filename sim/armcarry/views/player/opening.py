"""Open a run to look at: a run folder, or a scenario that is rehearsed first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import reason
from armcarry.quantities import clock
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.record.store import load
from armcarry.rehearsal import judge, rehearse

Tell = Callable[[str, float], None]


@dataclass(frozen=True, eq=False)
class OpenedRun:
    """A run to look at.

    Attributes:
        path: the folder or file it came from.
        folder: where pictures of it go.
        name: short name for people.
    """

    record: Record
    findings: tuple[Finding, ...]
    path: Path
    folder: Path
    name: str


def open_run(path: Path, tell: Tell | None = None) -> OpenedRun:
    """Open a run folder, or rehearse a scenario file.

    Args:
        path: a run folder or a YAML file.
        tell: told what is being done.

    Raises:
        RecordError: the folder is damaged, foreign or missing; nothing else comes out of a bad folder.
        ArmcarryError: the scenario cannot be rehearsed.
    """
    path = Path(path)
    say = tell or (lambda words, share: None)
    must_exist(path)
    if not path.is_dir():
        record = rehearse(path, tell)
        say("checking", 0.95)
        return OpenedRun(record, judge(record), path, Path("runs") / path.stem / "views", path.stem)
    say(f"reading {path}", 0.0)
    try:
        record, findings = load(path)
        problem = _problem(record, findings)
    except ArmcarryError:
        raise
    except Exception as error:  # a folder from elsewhere may hold anything; say so instead of a traceback
        raise RecordError(f"{path} is damaged or not a run: {type(error).__name__}: {error}") from error
    if problem is not None:
        raise RecordError(f"{path} cannot be shown: {problem}")
    return OpenedRun(record, findings, path, path / "views", path.resolve().name)


def must_exist(path: Path) -> None:
    """Raise RecordError when there is nothing at a path."""
    try:
        there = path.exists()
    except OSError as error:  # a name too long, a folder above that may not be entered
        raise RecordError(f"cannot read {path}: {reason(error)}") from error
    if not there:
        raise RecordError(f"{path} does not exist; give a run folder or a scenario file")


def _problem(record: Record, findings: tuple[Finding, ...]) -> str | None:
    """Walk through what the window asks of a run, so that a bad one is found here and not on screen."""
    if not record.phases:
        return "it has no phases"
    for curve in record.curves:
        if len(curve.times_s) != len(curve.lower_m) + 1 or len(curve.lower_m) < 1:
            return f"its clearance curve '{curve.group}' has no cells"
    for finding in findings:
        clock(worst_s(finding))
        "".join((finding.check, finding.message, finding.remedy))
    for time_s in (record.motion.start_s, record.motion.end_s, *(phase.start_s for phase in record.phases)):
        record.body_poses(time_s)
    _ = record.plan  # worked out once and kept; what is wrong with the day comes out here
    names = {body.name for body in record.bodies}
    for name in record.table.names:
        if name not in names:
            return f"its clearance table names {name}, which its scene does not have"
    return None
