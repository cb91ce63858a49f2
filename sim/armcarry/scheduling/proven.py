"""The best day that passes: rehearsed whole with every check, and another order asked for where it fails anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from armcarry.comparing.expected import outcome
from armcarry.files.atomic import write_text_atomic
from armcarry.planning.left_open import settle
from armcarry.record.finding import Finding, Findings, Verdict
from armcarry.rehearsal import judge, rehearse
from armcarry.scene.build import build_scene
from armcarry.scheduling.best import Best, best_day
from armcarry.scheduling.day import sequence_key
from armcarry.scheduling.problem import Objective
from armcarry.scheduling.solve import Effort

Tell = Callable[[str, float], None]
#: orders that are rehearsed at most
TRIED = 3


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
        scene = build_scene(settle(path, keep=False, text=best.text.encode()))
        findings = judge(rehearse(scene, lambda words, share: say(words, 0.3 + 0.65 * share)))
        failed = [finding for finding in findings if finding.verdict is Verdict.FAIL]
        told = outcome(scene.loaded.scenario.expect, failed).differences
        new = tuple(words for words in told if words.startswith("unexpected"))
        tried = Proven(best, findings, new, number)
        first = first or tried
        if not new or best.text == path.read_text(encoding="utf-8"):
            return tried
        barred = (*best.barred, sequence_key(best.solved.orders))
        best = best_day(path, objective, effort, say, barred, best.before)
    return replace(first, refused=TRIED) if first is not None else tried


def write_best(proven: Proven, target: Path) -> Path:
    """Write the script of a best day, and beside it what was found, as NAME.schedule.json; return that path."""
    import json

    told = target.with_suffix(".schedule.json")
    write_text_atomic(target, proven.best.text)
    write_text_atomic(told, json.dumps(proven.as_dict(), indent=1, ensure_ascii=False) + "\n")
    return told
