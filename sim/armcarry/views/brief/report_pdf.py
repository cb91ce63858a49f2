"""The report on paper: the same facts and pictures as the HTML one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from armcarry.quantities import clock
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.brief.content import WHAT_IF, Briefing, Carry, briefing, margins
from armcarry.views.brief.paper import Paper, Size
from armcarry.views.brief.pictures import Pictures
from armcarry.views.words import CAUTION, verdict_word

_MARGIN_SHARES = (3, 3, 1.2, 1.3, 1.3, 1.3, 1.7, 1.5)
_FINDING_SHARES = (1.5, 1.6, 1.2, 6, 4)


def write_report_pdf(
    record: Record, findings: Sequence[Finding], pictures: Pictures, path: Path, size: Size = "A4"
) -> Path:
    """Write the report as PDF and return its path.

    Raises:
        MissingExtraError: ReportLab is not installed.
    """
    told = briefing(record, findings)
    paper = Paper(path, size, told.title, f"{told.title}: a rehearsal aid, no approval. {told.counts}.")
    _front(paper, told)
    for picture in pictures.views:
        paper.picture(picture.path, picture.words)
    if pictures.left_out:
        paper.text(f"Pictures were left out: {pictures.left_out}")
    paper.heading("Timeline")
    for picture in pictures.day:
        paper.picture(picture.path, picture.words)
    paper.table(told.timeline, (1, 1, 1.6, 2.2, 1.8, 3.4))
    for carry in told.carries:
        _carry(paper, record, carry, pictures)
    _tables(paper, told, pictures)
    paper.write()
    return path


def _front(paper: Paper, told: Briefing) -> None:
    paper.text(told.title, 22, True, after=8)
    paper.text(told.purpose, 10.5, after=8)
    paper.verdict(told.verdict, f"{verdict_word(told.verdict)}: {told.counts}")
    paper.text(told.tightest, 11, True, after=8)
    paper.box(CAUTION, "Cautions")
    paper.heading("Configuration")
    paper.table(told.configuration, (2, 5), 8.5)


def _carry(paper: Paper, record: Record, carry: Carry, pictures: Pictures) -> None:
    paper.new_page()
    paper.heading(f"Carry: {carry.title}")
    paper.text(f"{clock(carry.start_s)} to {clock(carry.end_s)}, {len(carry.moves)} moves")
    for picture in pictures.of(carry):
        paper.picture(picture.path, picture.words)
    paper.heading("Margins, tightest first", 12)
    paper.table(margins(record, carry.start_s, carry.end_s), _MARGIN_SHARES)


def _tables(paper: Paper, told: Briefing, pictures: Pictures) -> None:
    paper.heading("Margins of the whole run")
    paper.table(told.margins, _MARGIN_SHARES)
    paper.heading("Findings")
    paper.table(told.findings, _FINDING_SHARES)
    paper.heading("What if")
    made = {part.check: part.findings for part in told.what_ifs}
    for check, title in WHAT_IF.items():
        paper.heading(title, 12)
        for picture in pictures.of_check(check):
            paper.picture(picture.path, picture.words)
        if check in made:
            paper.table(made[check], _FINDING_SHARES)
        else:
            paper.text("This check was not made of this run.")
    paper.heading("Assumptions")
    count = len(told.assumptions.rows)
    paper.text(f"Each of these {count} numbers is invented; replace it before the result is relied on.")
    if told.assumptions.rows:
        paper.table(told.assumptions, (3, 3.4, 3))
    paper.heading("Provenance")
    paper.table(told.provenance, (2, 5))
