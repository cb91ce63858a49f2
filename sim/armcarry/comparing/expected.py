"""Do the findings come out as the scenario says they should?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from armcarry.files.documents.scenario import Expectation
from armcarry.files.names import matches
from armcarry.record.finding import Finding, Verdict
from armcarry.scene.names import pair_matches


def differences(expected: Iterable[Expectation], findings: Iterable[Finding]) -> tuple[str, ...]:
    """Compare findings with what a scenario expects and say every difference in one sentence.

    Every expectation must be met by at least one finding, and every finding that did not pass must be
    expected. So a scenario without expectations expects that everything passes.

    Args:
        expected: the scenario's ``expect``.
        findings: what the checks found.
    """
    expected, findings = tuple(expected), tuple(findings)
    unmet = [
        f"expected {item.verdict} of check '{item.check}' on {_names(item.subject, item.other)}, found none"
        for item in expected
        if not any(_meets(item, finding) for finding in findings)
    ]
    return (*unmet, *map(as_surprise, unexpected(expected, findings)))


def unexpected(expected: Iterable[Expectation], findings: Iterable[Finding]) -> list[Finding]:
    """Return what did not pass and is not expected."""
    items = tuple(expected)
    return [finding for finding in findings
            if finding.verdict is not Verdict.PASS and not any(_meets(item, finding) for item in items)]  # fmt: skip


def as_surprise(finding: Finding) -> str:
    """Say that a finding is not expected."""
    names = _names(finding.subject, finding.other)
    return f"unexpected {finding.verdict} of check '{finding.check}' on {names}: {finding.message}"


@dataclass(frozen=True)
class Outcome:
    """Whether a run gave what its scenario expects.

    Attributes:
        stated: how many verdicts the scenario states; none means that everything is expected to pass.
        differences: what came out otherwise, a sentence each.
    """

    stated: int
    differences: tuple[str, ...]

    @property
    def met(self) -> bool:
        """Whether nothing came out otherwise."""
        return not self.differences

    @property
    def line(self) -> str:
        """The same in one line; the first difference stands for all."""
        wanted = f"{self.stated} verdict{'s' if self.stated != 1 else ''} stated under expect" if self.stated else ""
        if self.met:
            return f"As the scenario expects: {wanted or 'everything passes'}"
        if not self.stated:
            others = "1 finding did" if len(self.differences) == 1 else f"{len(self.differences)} findings did"
            return f"The scenario states nothing under expect, so all was to pass: {others} not"
        more = f" (and {len(self.differences) - 1} more)" if len(self.differences) > 1 else ""
        return f"Not as the scenario expects: {self.differences[0]}{more}"

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        return {"met": self.met, "stated": self.stated, "differences": list(self.differences)}


def outcome(expected: Iterable[Expectation], findings: Iterable[Finding]) -> Outcome:
    """Compare findings with what a scenario expects, for its reader."""
    expected = tuple(expected)
    return Outcome(len(expected), differences(expected, findings))


def _meets(item: Expectation, finding: Finding) -> bool:
    if item.check != finding.check or item.verdict != finding.verdict:
        return False
    straight = matches(item.subject, finding.subject) and matches(item.other, finding.other)
    return straight or pair_matches((item.subject, item.other), (finding.subject, finding.other))


def _names(subject: str, other: str) -> str:
    return f"{subject} and {other}" if other and other != "*" else subject
