"""Findings as lists show them: what failed by cause, then what was not assessed, then each check that passed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from armcarry.record.causes import causes
from armcarry.record.finding import Cause, Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views import palette


class Fold(NamedTuple):
    """Findings that fold away together: their verdict, what they share, and their rows in the list of findings."""

    verdict: Verdict
    title: str
    rows: tuple[int, ...]

    @property
    def words(self) -> str:
        """Sign, title and how many: ``✕ step seat pump: 12``."""
        return f"{palette.VERDICTS[self.verdict][1]} {self.title}: {len(self.rows)}"


def folded(findings: Sequence[Finding]) -> tuple[Fold, ...]:
    """Return the findings in folds: several of one cause together, what stands alone by its check."""
    where = {id(finding): k for k, finding in enumerate(findings)}
    found: dict[tuple[Verdict, str], list[int]] = {}
    for verdict in (Verdict.FAIL, Verdict.NOT_ASSESSED):
        for key, same in causes(findings, verdict).items():
            for finding in same:
                several = isinstance(key, Cause) and len(same) > 1
                title = f"{key.kind} {plain(key.name)}" if several else plain(finding.check)  # type: ignore[union-attr]
                found.setdefault((verdict, title), []).append(where[id(finding)])
    for finding in findings:
        if finding.verdict is Verdict.PASS:
            found.setdefault((Verdict.PASS, plain(finding.check)), []).append(where[id(finding)])
    return tuple(Fold(verdict, title, tuple(rows)) for (verdict, title), rows in found.items())


def people_in(record: Record, finding: Finding) -> tuple[str, ...]:
    """Return the people a finding is about: named by it as a whole word, or at work in the step that it comes from."""
    crew = record.scene.loaded.crew
    words = set(re.findall(r"\w+", " ".join((finding.subject, finding.other, finding.message))))
    step = finding.cause if finding.cause is not None and finding.cause.kind == "step" else None
    if step is not None and record.plan is not None:
        words |= {actor for slot in record.plan.schedule.slots if slot.name == step.name for actor in slot.actors}
    return tuple(name for name in crew if name in words)


def listed(findings: Sequence[Finding]) -> tuple[int, ...]:
    """Return the rows of the findings in the order in which lists show them."""
    return tuple(row for fold in folded(findings) for row in fold.rows)
