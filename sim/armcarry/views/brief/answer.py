"""What a briefing answers first: what fails, where and what to change; else what is tightest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from armcarry.quantities import clock
from armcarry.record.causes import causes, worst_s
from armcarry.record.figures import down, near
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.closest import asked, said
from armcarry.views.moments import worst_failures
from armcarry.views.pointed import gap_of, label_words, named
from armcarry.views.table import Table
from armcarry.views.words import WORST_FIRST, verdict_word

#: findings of one check that are told one by one, if they pass and if they do not
_ALIKE, _ALIKE_PASS = 25, 8


def findings_table(findings: Sequence[Finding]) -> Table:
    """Return findings as a table: what failed first, then what was not assessed, else in their order.

    Of many findings of one check with one verdict the first are told and the rest are counted. Where nothing is to be
    changed the column of remedies is left out.
    """
    rows, count = [], Counter((finding.check, finding.verdict) for finding in findings)
    told: Counter[tuple[str, Verdict]] = Counter()
    for finding in sorted(findings, key=lambda finding: WORST_FIRST.index(finding.verdict)):
        kind = (finding.check, finding.verdict)
        told[kind] += 1
        most = _ALIKE_PASS if finding.verdict is Verdict.PASS else _ALIKE
        if told[kind] > most:
            if told[kind] == count[kind]:
                more = f"and {count[kind] - most} more of this check in findings.json"
                rows.append((f"{palette.VERDICTS[finding.verdict][1]} {verdict_word(finding.verdict)}",
                             plain(finding.check), "", more, ""))
            continue
        verdict = f"{palette.VERDICTS[finding.verdict][1]} {verdict_word(finding.verdict)}"
        rows.append((verdict, plain(finding.check), clock(worst_s(finding)), finding.message, finding.remedy))
    columns = ("verdict", "check", "at", "what was found", "what to change")
    if not any(row[-1] for row in rows):
        return Table(columns[:-1], tuple(row[:-1] for row in rows))
    return Table(columns, tuple(rows))


def failures_table(findings: Sequence[Finding]) -> Table:
    """Return what fails, what comes of one cause together, with what to change and where the script says it."""
    failed = [finding for same in causes(findings, Verdict.FAIL).values() for finding in same]
    written = {id(finding): _from(finding) for finding in failed}
    return findings_table([replace(item, remedy="\n".join(filter(None, (item.remedy, written[id(item)]))))
                           for item in failed])


def _from(finding: Finding) -> str:
    cause = finding.cause
    return "" if cause is None else f"from {cause.kind} {cause.name}{f', {cause.written}' if cause.written else ''}"


def headline(record: Record, findings: Sequence[Finding]) -> str:
    """Return what fails worst, when, and what to change; of a run in which nothing fails its tightest clearance."""
    worst = next(iter(worst_failures(record, findings, 1)), None)
    if worst is None:
        worst = next((finding for finding in findings if finding.verdict is Verdict.FAIL), None)
    if worst is None:
        return tightest(record)
    count = sum(finding.verdict is Verdict.FAIL for finding in findings)
    which = "Fails" if count == 1 else "Fails first"
    value = label_words(worst, gap_of(record, worst)).removeprefix(palette.VERDICTS[worst.verdict][1]).strip()
    about = f", {named(worst)}" if named(worst) else ""
    helps = f" What helps: {worst.remedy}." if worst.remedy else ""
    return f"{which}: {plain(worst.check)} at {clock(worst_s(worst))}{about}: {value}.{helps}"


def tightest(record: Record) -> str:
    """Say which pair is tightest over the run, with its distance, when, and what is required."""
    row = record.tightest
    if row is None:
        return "No pair of bodies has a required clearance."
    pair = f"{plain(row.body_a)} and {plain(row.body_b)}"
    if row.lower_m == -np.inf:
        required = near(row.required_m or 0.0, "m")
        return f"Tightest clearance: {pair} touch at {clock(row.time_s)}; {required} is required."
    return (
        f"Tightest clearance: {pair} keep {said(row, row.lower_m)} at {clock(row.time_s)}; "
        f"{asked(row, row.lower_m).replace(' required', ' is required')} ({down(row.margin_m, 'mm')} to spare)."
    )
