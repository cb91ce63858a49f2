"""Do the findings come out as the scenario says they should?"""

from __future__ import annotations

from collections.abc import Iterable

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
    surprises = [
        f"unexpected {finding.verdict} of check '{finding.check}' on {_names(finding.subject, finding.other)}: "
        f"{finding.message}"
        for finding in findings
        if finding.verdict is not Verdict.PASS and not any(_meets(item, finding) for item in expected)
    ]
    return (*unmet, *surprises)


def _meets(item: Expectation, finding: Finding) -> bool:
    if item.check != finding.check or item.verdict != finding.verdict:
        return False
    straight = matches(item.subject, finding.subject) and matches(item.other, finding.other)
    return straight or pair_matches((item.subject, item.other), (finding.subject, finding.other))


def _names(subject: str, other: str) -> str:
    return f"{subject} and {other}" if other and other != "*" else subject
