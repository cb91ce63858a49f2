"""What the terminal shows: progress on long work, and the findings as a table."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armcarry.quantities import clock, rounded_down
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.texts import printable

if TYPE_CHECKING:
    from armcarry.rehearsal import Progress
    from armcarry.timeline.plan import DayPlan

#: word and style of each verdict; the word carries the meaning, the colour only helps
_WORDS = {
    Verdict.FAIL: ("FAIL", "bold red"),
    Verdict.NOT_ASSESSED: ("NOT ASSESSED", "bold yellow"),
    Verdict.PASS: ("pass", "green"),
}
#: rows shown of one check and verdict; the rest stand in findings.json
_SHOWN = {Verdict.FAIL: 6, Verdict.NOT_ASSESSED: 6, Verdict.PASS: 2}


class Console:
    """Print to the terminal; quiet for --json."""

    def __init__(self, quiet: bool = False) -> None:
        """Args: quiet: print nothing."""
        from rich.console import Console as Rich

        self.out = Rich(quiet=quiet, highlight=False, emoji=False)
        self.err = Rich(stderr=True, quiet=quiet, highlight=False, emoji=False)

    @contextmanager
    def progress(self) -> Iterator[Progress]:
        """Show one line of progress on the error stream while the work lasts."""
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        words = TextColumn("{task.description:<32}", markup=False)
        bar = Progress(words, BarColumn(), TimeElapsedColumn(), console=self.err, transient=True)
        with bar:
            task = bar.add_task("", total=1.0)
            yield lambda words, share: bar.update(task, description=words, completed=share)

    def table(self, title: str, headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
        """Print a plain table."""
        from rich.markup import escape
        from rich.table import Table

        table = Table(title=escape(title), title_justify="left")
        for heading in headings:
            table.add_column(heading, overflow="fold")
        for row in rows:
            table.add_row(*map(escape, row))
        self.out.print(table)

    def findings(self, record: Record, findings: tuple[Finding, ...], summary: dict[str, Any], folder: Path) -> None:
        """Print the findings table, the tightest clearance and where the run was written."""
        from rich.markup import escape
        from rich.table import Table

        table = Table(title=escape(record.scene.loaded.scenario.title), title_justify="left", expand=True)
        table.add_column("Verdict", no_wrap=True)
        table.add_column("Check", no_wrap=True)
        table.add_column("When", no_wrap=True, justify="right")
        table.add_column("What was found", overflow="fold", ratio=1)
        for finding, more in _shortened(findings):
            word, style = _WORDS[finding.verdict]
            text = escape(finding.message)
            if finding.remedy:
                text += f"\n[italic]{escape(finding.remedy)}[/italic]"
            if more:
                text += f"\n[dim]and {more} more like it in findings.json[/dim]"
            table.add_row(f"[{style}]{word}[/{style}]", escape(finding.check), clock(finding.start_s), text)
        self.out.print(table)
        self.out.print(_tightest(record), soft_wrap=True, markup=False)
        counts = summary["counts"]
        self.out.print(
            f"{counts['pass']} passed, {counts['fail']} failed, {counts['not_assessed']} not assessed; "
            f"run of {clock(record.duration_s)}; {summary['assumptions']} numbers are assumptions",
            soft_wrap=True,
        )
        self.out.print(f"Written to {printable(str(folder))}", soft_wrap=True, markup=False)
        self.out.print(f"[dim]{escape(summary['caution'])}[/dim]", soft_wrap=True)

    def line(self, words: str) -> None:
        """Print a line as it is."""
        self.out.print(words, markup=False, soft_wrap=True)

    def slip(self, record: Record) -> None:
        """Print what the slips and failed steps of the day change, nothing when there are none."""
        plan = record.plan
        if plan is not None and (plan.slip or plan.failed):
            for line in slip_lines(plan):
                self.out.print(line, markup=False)


def slip_lines(plan: DayPlan) -> list[str]:
    """Say in a few lines what slips and failed steps change against the day as planned."""
    from armcarry.timeline.plan import without_slip
    from armcarry.timeline.schedule import compare

    report = compare(without_slip(plan), plan.schedule)
    moved = sorted(report.moved_s.items(), key=lambda item: -abs(item[1]))
    later = "later" if report.end_change_s >= 0 else "earlier"
    lines = [f"The day ends {clock(abs(report.end_change_s))} {later}, at {clock(plan.schedule.end_s)}."]
    for dropped in report.newly_dropped:
        instead = f"; {dropped.fallback} is done instead" if dropped.fallback else ""
        lines.append(f"Left out now: {dropped.name} ({dropped.why}){instead}.")
    lines += [f"Done now: {name}." for name in report.newly_done]
    if moved:
        name, by = moved[0]
        lines.append(f"{len(moved)} steps begin at another time, {name} by {clock(by)}.")
    return lines


def _shortened(findings: tuple[Finding, ...]) -> list[tuple[Finding, int]]:
    """Return the findings to show, each with how many of its check and verdict follow unseen."""
    shown: list[tuple[Finding, int]] = []
    by_kind: dict[tuple[str, Verdict], list[Finding]] = {}
    for finding in findings:
        by_kind.setdefault((finding.check, finding.verdict), []).append(finding)
    for same in by_kind.values():
        kept = same[: _SHOWN[same[0].verdict]]
        hidden = len(same) - len(kept)
        shown.extend((finding, hidden if finding is kept[-1] else 0) for finding in kept)
    return shown


def _tightest(record: Record) -> str:
    row = record.tightest
    if row is None:
        return "Tightest clearance: no pair of bodies moves against another"
    if row.status == "contact":
        return f"Tightest clearance: {row.body_a} and {row.body_b} touch at {clock(row.time_s)}"
    beyond = ">" if row.status == "farther" else ""
    return (
        f"Tightest clearance: {row.body_a} to {row.body_b}, {beyond}{rounded_down(row.lower_m):.3f} m "
        f"at {clock(row.time_s)} ({row.required_m:.3f} m required, {rounded_down(row.margin_m):+.3f} m to spare)"
    )
