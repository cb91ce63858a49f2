"""The report as one HTML file, pictures inside, everything from the run escaped."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from armcarry.comparing.flown import Flown
from armcarry.evidence.methods import as_html
from armcarry.files.atomic import write_text_atomic
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.brief.content import NONE_LEAST, Answer, Carry, briefing, margins, relaxed_margins
from armcarry.views.brief.pictures import Picture, Pictures
from armcarry.views.filled import figure, filled
from armcarry.views.flown import flown_table, flown_words
from armcarry.views.ways_kept import WaysKept
from armcarry.views.words import CAUTION, verdict_word


def write_report(
    record: Record, findings: Sequence[Finding], pictures: Pictures, path: Path, frozen: str = "",
    flown: Sequence[Flown] = (), ways: WaysKept | None = None,
) -> Path:
    """Write the report and return its path.

    Args:
        frozen: what is said of whether this is the version to go by.
        flown: its steps beside the times at which they were flown.
        ways: ways on that were found for it.
    """
    from markupsafe import Markup

    told = briefing(record, findings)
    hero = pictures.hero(told.verdict is Verdict.FAIL)
    html = filled(
        "brief/report.html",
        title=told.title,
        told=told,
        sign=palette.VERDICTS[told.verdict][1],
        word=verdict_word(told.verdict),
        caution=CAUTION,
        frozen=frozen,
        flown=flown_table(flown) if flown else None,
        flown_words=flown_words(flown),
        ways=ways,
        left_out=pictures.left_out,
        none_least=NONE_LEAST,
        hero=None if hero is None else _inside(hero),
        views=[_inside(picture) for picture in pictures.views if picture is not hero],
        day=[_inside(picture) for picture in pictures.day],
        what_ifs=[_what_if(answer, pictures) for answer in told.what_ifs],
        methods=[(name, Markup(page)) for name, page in as_html(finding.check for finding in findings)],  # noqa: S704
        sections=[_section(record, carry, pictures) for carry in told.carries],
    )
    write_text_atomic(path, html)
    return path


def _what_if(answer: Answer, pictures: Pictures) -> dict[str, Any]:
    return {
        "title": answer.asked.title,
        "pictures": [_inside(picture) for picture in pictures.of_check(answer.asked.check)],
        "findings": answer.findings,
        "more": answer.more,
    }


def _section(record: Record, carry: Carry, pictures: Pictures) -> dict[str, Any]:
    return {
        "title": f"Carry: {carry.title}",
        "when": carry.when,
        "pictures": [_inside(picture) for picture in pictures.of(carry)],
        "margins": margins(record, carry.start_s, carry.end_s),
        "relaxed": relaxed_margins(record, carry.start_s, carry.end_s),
    }


def _inside(picture: Picture) -> dict[str, str]:
    return figure(picture.path, picture.words)
