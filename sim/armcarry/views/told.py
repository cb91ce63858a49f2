"""Findings as the terminal tells them: failures in full and by their cause, what passed in a line a check."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from armcarry.quantities import clock
from armcarry.record.causes import causes, worst_s
from armcarry.record.finding import Cause, Finding, Verdict
from armcarry.views.words import figure

#: word and style of each verdict; the word carries the meaning, the colour only helps
WORDS = {
    Verdict.FAIL: ("FAIL", "bold red"),
    Verdict.NOT_ASSESSED: ("NOT ASSESSED", "bold yellow"),
    Verdict.PASS: ("pass", "green"),
}
#: narrower than this a table would break words, so that lines of text stand in its place
_TABLE_FROM = 72
#: pairs of owners named of what else comes from a cause; the rest is counted
_NAMED = 4


def everything(findings: Iterable[Finding]) -> Group:
    """Return every finding in full, one after the other."""
    return Group(*(_in_full(finding) for finding in findings))


def by_cause(findings: Sequence[Finding], verdict: Verdict) -> Group:
    """Return the findings of a verdict by what they come from: the first of each check in full, the others counted."""
    return Group(*(_cause(key, same) for key, same in causes(findings, verdict).items()))


def counted(findings: Sequence[Finding]) -> str:
    """Write how many findings have each verdict, and how many causes those have that did not pass."""
    counts = Counter(finding.verdict for finding in findings)
    parts = [f"{counts[Verdict.PASS]} passed"]
    for verdict, word in ((Verdict.FAIL, "failed"), (Verdict.NOT_ASSESSED, "not assessed")):
        few = len(causes(findings, verdict))
        of = f" of {few} cause{'s' if few != 1 else ''}" if few else ""
        parts.append(f"{counts[verdict]} {word}{of}")
    return ", ".join(parts)


def passed(findings: Iterable[Finding], width: int) -> RenderableType:
    """Return a line a check that passed: its tightest figure beside its limit, when, and on what."""
    rows = tightest_of_each(findings)
    if width < _TABLE_FROM:
        return Group(*(Text(" ".join(filter(None, ("pass", *row)))) for row in rows))
    table = Table(box=None, pad_edge=False, expand=True, padding=(0, 1, 0, 0))
    for heading in ("", "Check", "Tightest", "When"):
        table.add_column(heading, no_wrap=True, justify="right" if heading == "When" else "left")
    table.add_column("On", no_wrap=True, overflow="ellipsis", ratio=1)
    for row in rows:
        table.add_row(Text("pass", style="green"), *map(Text, row))
    return table


def tightest_of_each(findings: Iterable[Finding]) -> list[tuple[str, str, str, str]]:
    """Return check, figure, instant and names of the tightest of each check of which all passed."""
    by_check: dict[str, list[Finding]] = {}
    for finding in findings:
        by_check.setdefault(finding.check, []).append(finding)
    return [_row(same) for same in by_check.values() if all(item.verdict is Verdict.PASS for item in same)]


def _row(same: list[Finding]) -> tuple[str, str, str, str]:
    """Return check, figure, instant and names of the tightest of the findings of one check."""
    tightest = min(same, key=_room)
    names = _names(tightest)
    more = f" (and {len(same) - 1} more)" if len(same) > 1 else ""
    when = worst_s(tightest)
    return tightest.check, figure(tightest), clock(when) if when > 0 else "", names + more


def _names(finding: Finding) -> str:
    """Return what a finding is about: one body to another, else a thing and what of it."""
    names = [name for name in (finding.subject, finding.other) if name]
    return (" to " if any("/" in name for name in names) else ", ").join(names)


def _room(finding: Finding) -> float:
    """Return how far a finding is from its limit: a distance in metres, else a share; without figures last."""
    if finding.value is None or finding.limit is None:
        return float("inf")
    return abs(finding.value - finding.limit) / (1.0 if finding.unit == "m" else max(abs(finding.limit), 1e-9))


def _cause(key: Cause | int, same: list[Finding]) -> Group:
    """Return what comes from one cause: of each check the first finding in full, and how many more there are."""
    word, style = WORDS[same[0].verdict]
    parts: list[RenderableType] = []
    if isinstance(key, Cause) and len(same) > 1:
        where = f", {key.written}" if key.written else ""
        head = f"  {key.kind} {key.name}{where}: {len(same)} findings of this cause"
        parts.append(Text.assemble((word, style), head))
    by_check: dict[str, list[Finding]] = {}
    for finding in same:
        by_check.setdefault(finding.check, []).append(finding)
    for alike in by_check.values():
        parts.append(_in_full(alike[0], alone=len(same) == 1))
        if len(alike) > 1:
            parts.append(Padding(Text(_others(alike[1:]), style="dim"), (0, 0, 0, 2)))
    return Group(*parts)


def _others(rest: list[Finding]) -> str:
    """Count what else a check says of a cause, by the owners of the two bodies."""
    pairs = Counter(" to ".join(dict.fromkeys(_owner(name) for name in (f.subject, f.other) if name)) for f in rest)
    named = ", ".join(f"{count} of {names}" for names, count in pairs.most_common(_NAMED))
    left = sum(count for _, count in pairs.most_common()[_NAMED:])
    return f"and {len(rest)} more of {rest[0].check}: {named}{f', {left} of others' if left else ''}"


def _owner(name: str) -> str:
    return name.split("/", 1)[0]


def _in_full(finding: Finding, alone: bool = True) -> Group:
    """Return a finding in full, with where its cause was written unless a heading tells that."""
    word, style = WORDS[finding.verdict]
    when = f" {clock(worst_s(finding))}" if worst_s(finding) > 0 else ""
    parts: list[RenderableType] = [
        Text.assemble((word, style), f"  {finding.check}{when}"), Padding(Text(finding.message), (0, 0, 0, 2))
    ]
    if finding.remedy:
        parts.append(Padding(Text(finding.remedy, style="italic"), (0, 0, 0, 4)))
    if alone and finding.cause is not None and finding.cause.written:
        said = f"from {finding.cause.kind} {finding.cause.name}, {finding.cause.written}"
        parts.append(Padding(Text(said, style="dim"), (0, 0, 0, 4)))
    return Group(*parts)
