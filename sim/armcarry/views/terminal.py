"""What the terminal shows: progress on long work, and the findings as a table."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armcarry.planning.unfound import tells_of_it
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.texts import printable

if TYPE_CHECKING:
    from rich.console import RenderableType

    from armcarry.rehearsal import Progress
    from armcarry.timeline.plan import DayPlan


#: no table is made wider than this where nothing limits it, characters
WIDEST = 10_000
#: off a terminal, as in a log, what is being done is told no more often than this, s
TELL_EVERY_S = 15.0
#: less of all work than this is told without its share, as it would be none in whole percent
_LEAST_SHARE = 0.005


class Console:
    """Print to the terminal; quiet for --json."""

    def __init__(self, quiet: bool = False) -> None:
        """Args: quiet: print nothing."""
        from rich.console import Console as Rich

        self._told_s = time.monotonic()
        self.out = Rich(quiet=quiet, highlight=False, emoji=False)
        self.err = Rich(stderr=True, quiet=quiet, highlight=False, emoji=False)

    @contextmanager
    def progress(self) -> Iterator[Progress]:
        """Show one line of progress on the error stream while the work lasts; off a terminal a line now and then."""
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        words = TextColumn("{task.description:<32}", markup=False)
        shown = self.err.is_terminal  # elsewhere a bar would leave an empty line and nothing else
        if not shown:
            yield self._now_and_then
            return
        bar = Progress(words, BarColumn(), TimeElapsedColumn(), console=self.err, transient=True)
        with bar:
            task = bar.add_task("", total=1.0)
            yield lambda words, share: bar.update(task, description=words, completed=share)

    def _now_and_then(self, words: str, share: float) -> None:
        """Tell what is being done in a line of its own, where the last one was told long enough ago."""
        now = time.monotonic()
        if words and now - self._told_s >= TELL_EVERY_S:
            self._told_s = now
            told = f" ({share:.0%})" if share >= _LEAST_SHARE else ""
            self.err.print(f"{words}{told}", markup=False)

    def ready(self) -> None:
        """Get the kernels ready; where they have to be compiled first, say so and show that it goes on and how long."""
        from armcarry.clearance.ready import make_ready

        with self._waiting() as say:
            make_ready(say)

    @contextmanager
    def _waiting(self) -> Iterator[Callable[[str], None]]:
        """Yield what tells a sentence and from then on, on a terminal, keeps a line alive until the work is done."""
        from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

        columns = (SpinnerColumn(), TextColumn("{task.description}", markup=False), TimeElapsedColumn())
        line = Progress(*columns, console=self.err, transient=True)

        def say(words: str) -> None:
            # said even where the rest is quiet, and where no line is drawn
            print(words, file=sys.stderr)
            if self.err.is_terminal:
                line.start()
                line.add_task("compiling", total=None)

        try:
            yield say
        finally:
            if line.live.is_started:
                line.stop()

    def table(self, title: str, headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
        """Print a plain table."""
        from rich.markup import escape
        from rich.table import Table

        table = Table(title=escape(title), title_justify="left")
        for heading in headings:
            table.add_column(heading, overflow="fold")
        for row in rows:
            table.add_row(*map(escape, row))
        self.print_whole(table)

    def print_whole(self, what: RenderableType) -> None:
        """Print something in the width of the terminal; into a file or a pipe as wide as it needs, nothing cut off."""
        if self.out.is_terminal or "COLUMNS" in os.environ:
            self.out.print(what)
        else:
            usual = self.out.width
            self.out.width = WIDEST
            self.out.width = max(usual, self.out.measure(what).maximum)
            self.out.print(what)
            self.out.width = usual

    def findings(
        self, record: Record, findings: tuple[Finding, ...], summary: dict[str, Any], folder: Path, *,
        outcome: str = "", every: bool = False,
    ) -> None:
        """Print what failed in full and by cause, what was not assessed, what passed, and where the run was written.

        Args:
            record, findings, summary, folder: the run as it was kept.
            outcome: whether it came out as its scenario expects.
            every: print each finding in full instead.
        """
        from rich.markup import escape

        from armcarry.evidence.assumptions import in_short
        from armcarry.views import told

        self.out.print(printable(record.scene.loaded.scenario.title), style="bold", markup=False)
        self.unfound(record)
        if every:
            self.out.print(told.everything(findings))
        else:
            self.out.print(told.by_cause(findings, Verdict.FAIL))
            self.out.print(told.by_cause(findings, Verdict.NOT_ASSESSED))
            self.print_whole(told.passed(findings, self.out.width))
        self.line(_tightest(record))
        self.found(record)
        counted = f"{told.counted(findings)}; run of {clock(record.duration_s)}"
        self.line(f"{counted}; {summary['assumptions']} numbers are assumptions")
        decided = in_short(record, findings)
        if decided:
            self.line(printable(decided))
        if outcome:
            self.line(outcome)
        self.line(f"Written to {printable(str(folder))}{'' if every else '; --all prints every finding'}")
        self.out.print(f"[dim]{escape(summary['caution'])}[/dim]")

    def unfound(self, record: Record) -> None:
        """Print what could not be found for what the script leaves open: much of what fails may follow from it."""
        beside = record.scene.loaded.beside
        told = [] if beside is None or beside.found is None else beside.found.document.told
        lost = [words for words in told if tells_of_it(words)]
        if lost:
            self.line("Could not be found, and what fails below may follow from it:")
            for words in lost:
                self.line(f"  {words}")

    def found(self, record: Record) -> None:
        """Print what was found for what the script leaves open, and where it is kept."""
        beside = record.scene.loaded.beside
        if beside is None or beside.found is None or not beside.found.document.told:
            return
        self.line(f"Found for what the script leaves open ({printable(beside.found.source.path.name)}; armcarry expand "
                  "shows it in place):")  # fmt: skip
        for words in beside.found.document.told:
            if not tells_of_it(words):
                self.line(f"  {words}")

    def line(self, words: str) -> None:
        """Print a line as it is."""
        self.out.print(words, markup=False)

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


def _tightest(record: Record) -> str:
    row = record.tightest
    if row is None:
        return "Tightest clearance: no pair of bodies has a rule"
    if row.status == "contact":
        return f"Tightest clearance: {row.body_a} and {row.body_b} touch at {clock(row.time_s)}"
    spare = at_least(row.lower_m, row.required_m or 0.0, "m")
    beyond = ">" if row.status == "farther" else ""
    return (
        f"Tightest clearance: {row.body_a} to {row.body_b}, {beyond}{spare.said} at {clock(row.time_s)} "
        f"({spare.asked} required, {down(row.margin_m, 'm')} to spare)"
    )
