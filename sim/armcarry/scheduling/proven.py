"""The best day that passes: rehearsed whole with every check, and another order asked for where it fails anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from armcarry.checks.clearance import too_near
from armcarry.comparing.expected import as_surprise, unexpected
from armcarry.files.atomic import write_text_atomic
from armcarry.planning.left_open import settle
from armcarry.record.finding import Finding, Findings, Verdict
from armcarry.record.record import Record
from armcarry.rehearsal import judge, rehearse
from armcarry.scene.build import build_scene
from armcarry.scheduling.best import Best, best_day
from armcarry.scheduling.day import sequence_key
from armcarry.scheduling.learning import learned_from
from armcarry.scheduling.problem import Objective
from armcarry.scheduling.solve import Effort
from armcarry.timeline.day_run import on_the_clock

Tell = Callable[[str, float], None]
#: orders that are rehearsed at most
TRIED = 16


@dataclass(frozen=True, eq=False)
class Proven:
    """A best day with what its rehearsal found.

    Attributes:
        findings: of the whole day in its new order.
        against: what failed that the script does not expect, a sentence each; of the order that was kept.
        refused: how many orders were rehearsed and not kept.
    """

    best: Best
    findings: Findings
    against: tuple[str, ...]
    refused: int

    @property
    def failed(self) -> tuple[Finding, ...]:
        """What failed, expected or not."""
        return tuple(finding for finding in self.findings if finding.verdict is Verdict.FAIL)

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        return {**self.best.as_dict(), "against": list(self.against), "refused": self.refused,
                "failed": [finding.as_dict() for finding in self.failed]}  # fmt: skip


def best_proven(path: Path, objective: Objective = "shortest", effort: Effort | None = None,
                tell: Tell | None = None) -> Proven:  # fmt: skip
    """Return the best day of a script that fails nothing it is not expected to fail, as far as one is found.

    Raises:
        InputErrors: statements of the script cannot hold together.
        MissingExtraError: OR-tools is not installed.
    """
    say = tell or (lambda words, share: None)
    best = best_day(path, objective, effort, lambda words, share: say(words, 0.3 * share))
    first: Proven | None = None
    for number in range(TRIED):
        record = _rehearsed(path, best, lambda words, share: say(words, 0.3 + 0.4 * share))
        near = unexpected(record.scene.loaded.scenario.expect, too_near(record.table.near))
        as_written = best.text == path.read_text(encoding="utf-8")
        if not near or as_written or number == TRIED - 1:  # nothing else is asked of what comes too near anyway
            findings = judge(record)
            near = unexpected(record.scene.loaded.scenario.expect, (one for one in findings if _fails(one)))
            tried = Proven(best, findings, tuple(map(as_surprise, near)), number)
            first = first or tried
            if not near or as_written:
                return tried
        taught = learned_from(record, near, best.change)
        learned = best.learned.and_also(taught)
        if learned == best.learned:
            learned = learned.bar(sequence_key(best.solved.orders))
        best = best_day(path, objective, effort, say, learned, best.before)
    assert first is not None  # noqa: S101  # the last is always judged whole
    return replace(first, refused=TRIED)


def _rehearsed(path: Path, best: Best, tell: Tell) -> Record:
    """Return the record of a best day; what was flown for it is not flown anew."""
    if best.walk is not None:
        return rehearse(best.after.scene, tell, run=on_the_clock(best.walk, best.after))
    return rehearse(build_scene(settle(path, keep=False, text=best.text.encode())), tell)


def _fails(finding: Finding) -> bool:
    return finding.verdict is Verdict.FAIL


def write_best(proven: Proven, target: Path) -> Path:
    """Write the script of a best day, and beside it what was found, as NAME.schedule.json; return that path."""
    import json

    told = target.with_suffix(".schedule.json")
    write_text_atomic(target, proven.best.text)
    write_text_atomic(told, json.dumps(proven.as_dict(), indent=1, ensure_ascii=False) + "\n")
    return told
