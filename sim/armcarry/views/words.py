"""Words that every view shares: counts of verdicts, the caution."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from armcarry.record.figures import of_finding
from armcarry.record.finding import Finding, Verdict
from armcarry.views import palette

CAUTION = (
    "A rehearsal aid: results support, and do not replace, analysis and approval by the responsible robotics, "
    "safety and medical authorities and local rules. Never use it to command hardware. Clearances are proven for "
    "the bodies, motion and tolerances of this script only; numbers marked as assumptions must be replaced first."
)

#: verdicts in the order in which they weigh
WORST_FIRST = (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS)
_WORDS = {Verdict.PASS: "pass", Verdict.FAIL: "fail", Verdict.NOT_ASSESSED: "not assessed"}


def verdict_word(verdict: Verdict) -> str:
    """Return a verdict as people read it."""
    return _WORDS[verdict]


def overall(findings: Sequence[Finding]) -> Verdict:
    """Return fail if anything failed, else not assessed if anything was not, else pass."""
    seen = {finding.verdict for finding in findings}
    return next((v for v in WORST_FIRST if v in seen), Verdict.PASS)


def worst_verdict(findings: Iterable[Finding], check: str) -> str:
    """Write sign and word of the worst verdict of a check behind a title; nothing where it was not run."""
    verdicts = {finding.verdict for finding in findings if finding.check == check}
    for verdict in (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS):
        if verdict in verdicts:
            return f"   {palette.VERDICTS[verdict][1]} {_WORDS[verdict]}"
    return ""


def counted(findings: Iterable[Finding]) -> str:
    """Write how many findings have each verdict: ``1 fail, 2 not assessed, 9 pass``."""
    count = Counter(finding.verdict for finding in findings)
    return ", ".join(f"{count[v]} {_WORDS[v]}" for v in (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS))


def figure(finding: Finding) -> str:
    """Write what a finding found beside its limit: ``0.214 m (>= 0.300 m)``; nothing where it has no two numbers."""
    found = of_finding(finding)
    if found is None:
        return ""
    if finding.unit and not found.unit:  # a count of things, or a share of something
        return f"{found.value:g} {finding.unit}"
    if found.value == found.limit:
        return f"{found.said}, the limit"
    return f"{found.said} ({'>=' if found.at_least else '<='} {found.asked})"
