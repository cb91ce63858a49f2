"""The report on paper: the same facts and pictures as the HTML one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from armcarry.comparing.flown import Flown
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.views.brief.content import (
    NONE_LEAST,
    Briefing,
    Carry,
    Table,
    briefing,
    margins,
    relaxed_margins,
)
from armcarry.views.brief.paper import Paper, Size
from armcarry.views.brief.pictures import Picture, Pictures
from armcarry.views.flown import flown_table, flown_words
from armcarry.views.ways_kept import WaysKept
from armcarry.views.words import CAUTION, verdict_word

#: share of the first page that its picture may take
_HERO = 0.3
_MARGIN_SHARES = (3, 3, 1.2, 1.3, 1.3, 1.3, 1.7, 1.5)
_RELAXED_SHARES = (*_MARGIN_SHARES[:6], 3.2)
_FINDING_SHARES = (1.5, 1.6, 1.2, 6, 4)
#: all ways on, and what is told of one of them
_WAYS_SHARES = {7: (0.4, 2.6, 1.2, 0.8, 0.8, 2.4, 5), 2: (1, 7)}


def write_report_pdf(
    record: Record, findings: Sequence[Finding], pictures: Pictures, path: Path, size: Size = "A4",
    frozen: str = "", flown: Sequence[Flown] = (), ways: WaysKept | None = None,
) -> Path:
    """Write the report as PDF and return its path.

    Args:
        frozen: what is said of whether this is the version to go by.
        flown: its steps beside the times at which they were flown.
        ways: ways on that were found for it.

    Raises:
        MissingExtraError: ReportLab is not installed.
    """
    told = briefing(record, findings)
    paper = Paper(path, size, told.title, f"{told.title}: a rehearsal aid, no approval. {told.counts}.")
    hero = pictures.hero(told.verdict is Verdict.FAIL)
    _front(paper, told, frozen, hero)
    for picture in (picture for picture in pictures.views if picture is not hero):
        paper.picture(picture.path, picture.words)
    if pictures.left_out:
        paper.text(f"Pictures were left out: {pictures.left_out}")
    paper.heading("Timeline", room=0.5 if pictures.day else 0.15)
    for picture in pictures.day:
        paper.picture(picture.path, picture.words)
    if told.day is not None:
        paper.table(told.day, (1, 1, 1.4, 4, 1.6, 1))
        paper.heading("Moves of the arm", 12)
    paper.table(told.timeline, (1, 1, 1.6, 3, 1.8, 2.6))
    if told.hands is not None:
        paper.heading("In hands, hooked to", 12)
        paper.table(told.hands, (1, 1, 1.6, 6))
    if flown:
        paper.heading("Flown against planned", 12)
        paper.text(flown_words(flown))
        paper.table(flown_table(flown), (3, 1.6, 2, 2, 1.2, 1.2, 2))
    if ways is not None:
        _ways(paper, ways)
    for carry in told.carries:
        _carry(paper, record, carry, pictures)
    _tables(paper, told, pictures)
    paper.write()
    return path


def _front(paper: Paper, told: Briefing, frozen: str, hero: Picture | None) -> None:
    paper.text(told.title, 22, True, after=8)
    paper.text(told.purpose, 10.5, after=8)
    paper.verdict(told.verdict, f"{verdict_word(told.verdict)}: {told.counts}")
    paper.text(told.headline, 11, True, after=8)
    if told.headline != told.tightest:
        paper.text(told.tightest, 9.5, after=6)
    if frozen:
        paper.text(frozen, 9.5, after=6)
    if hero is not None:
        paper.picture(hero.path, hero.words, _HERO)
    paper.box(CAUTION, "Cautions")
    if told.failed.rows:
        paper.heading("What fails")
        _findings(paper, told.failed)
    if told.decides.rows:
        paper.heading("What passes, each check at its tightest", 12)
        paper.table(told.decides, (2.4, 4, 1.5, 8), 7)
    paper.heading("Configuration", room=0.45)
    paper.table(told.configuration, (2, 5), 8.5)


def _ways(paper: Paper, ways: WaysKept) -> None:
    paper.heading("Ways on when the day goes wrong")
    paper.text(f"{ways.title}. Side by side over one time: {ways.page}")
    for title, table in ways.tables:
        paper.heading(title, 12)
        paper.table(table, _WAYS_SHARES.get(len(table.columns), (1,) * len(table.columns)))


def _carry(paper: Paper, record: Record, carry: Carry, pictures: Pictures) -> None:
    paper.new_page()
    paper.heading(f"Carry: {carry.title}")
    paper.text(carry.when)
    for picture in pictures.of(carry):
        paper.picture(picture.path, picture.words)
    paper.heading("Margins, least left after uncertainty first", 12)
    window = (carry.start_s, carry.end_s)
    _margins(paper, margins(record, *window), relaxed_margins(record, *window))


def _tables(paper: Paper, told: Briefing, pictures: Pictures) -> None:
    if len(told.carries) != 1:
        paper.heading("Margins of the whole run")
        _margins(paper, told.margins, told.relaxed)
    paper.heading("Uncertainty budget")
    paper.text(told.budget_words, after=6)
    paper.table(told.budget, (4, 1.5, 4))
    paper.heading("Findings")
    _findings(paper, told.findings)
    paper.heading("What if", room=0.5)
    for asked, findings, more in told.what_ifs:
        shown = pictures.of_check(asked.check)
        paper.heading(asked.title, 12, room=0.5 if shown else 0.15)
        for picture in shown:
            paper.picture(picture.path, picture.words)
        if more is not None:
            paper.table(more, asked.shares, 7)
        if findings is not None:
            _findings(paper, findings)
        else:
            paper.text("This check was not made of this run.")
    paper.heading("Assumptions", room=0.35)
    paper.text(f"Each of these {told.assumed} numbers is invented; replace it before the result is relied on.")
    for file, numbers in told.assumptions:
        paper.heading(file, 9.5)
        paper.table(_two_up(numbers), (4, 1.7, 4, 1.7), 7)
    paper.heading("Provenance")
    paper.table(told.provenance, (3, 4.6), 7)


def _margins(paper: Paper, kept: Table, relaxed: Table) -> None:
    if kept.rows:
        paper.table(kept, _MARGIN_SHARES)
    else:
        paper.text(NONE_LEAST)
    if relaxed.rows:
        paper.heading("Where less is required for a time", 12)
        paper.table(relaxed, _RELAXED_SHARES)


def _findings(paper: Paper, data: Table) -> None:
    paper.table(data, _FINDING_SHARES[: len(data.columns)])


def _two_up(data: Table) -> Table:
    """Return a table of two columns as one of four, its second half beside its first."""
    half = -(-len(data.rows) // 2)
    right = (*data.rows[half:], ("", ""))
    return Table(data.columns * 2, tuple((*row, *right[k]) for k, row in enumerate(data.rows[:half])))
