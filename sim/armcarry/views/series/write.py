"""Writing an index page, a time line and a deck of several runs."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from armcarry.comparing.joined import Otherwise
from armcarry.files.atomic import inner_folder, write_text_atomic, writing
from armcarry.procedure.model import role
from armcarry.quantities import clock
from armcarry.record.finding import Verdict
from armcarry.record.frozen import NOT_FROZEN, frozen_state
from armcarry.views import palette, plots
from armcarry.views.brief.answer import findings_table
from armcarry.views.brief.deck import Deck
from armcarry.views.filled import figure, filled
from armcarry.views.series.chart import time_line
from armcarry.views.series.told import Told, join_table, unexplained
from armcarry.views.table import Table
from armcarry.views.words import CAUTION

LINE_WORDS = "One time line: who does what in each outing; hatched: the arm moves; dashed: as time permits"
#: what brief writes into a run that a reader opens from the index, in this order
_OPENED = (
    ("run.html", "the run in 3-D"), ("report.html", "report"), ("report.pdf", "report as PDF"),
    ("slides.pptx", "slides"),
    ("run.mp4", "movie"), ("everybody.pdf", "everybody's tasks"), ("script.md", "words to say"),
)  # fmt: skip


def joined_words(found: Sequence[Sequence[Otherwise]]) -> str:
    """Say whether each outing begins as the one before it ended; empty for one alone."""
    if not found:
        return ""
    bad, known = unexplained(found), sum(map(len, found))
    if not known:
        return "✓ Each outing begins as the one before it ended."
    if not bad:
        return f"✓ Each outing begins as the one before it ended, but for {known} that the series gives a reason for."
    return f"✕ {bad} stand otherwise at the start of an outing than the one before left them, for no stated reason."


def write_index(
    runs: Sequence[Told], found: Sequence[Sequence[Otherwise]], folder: Path, title: str, purpose: str = ""
) -> list[Path]:
    """Write ``index.html`` and ``time_line.png`` of several runs into a folder, and return their paths."""
    inner_folder(folder)
    line = plots.save(time_line(runs), folder / "time_line.png")
    html = filled(
        "series/index.html",
        title=title, purpose=purpose.strip(), caution=CAUTION, joined=joined_words(found), bad=unexplained(found),
        line=figure(line, LINE_WORDS),
        runs=[_run(run, folder, found[k - 1] if k and found else ()) for k, run in enumerate(runs)],
    )
    write_text_atomic(folder / "index.html", html)
    return [folder / "index.html", line]


def _run(run: Told, folder: Path, join: Sequence[Otherwise]) -> dict[str, Any]:
    state = frozen_state(run.folder)
    views = run.folder / "views"
    names = [*_OPENED, *((f"{kind}_{role(actor).replace(' ', '_')}.pdf", f"{kind}, {role(actor)}")
                         for kind in ("procedure", "cards") for actor in run.procedure.actors)]
    here = os.path.relpath(views, folder).replace(os.sep, "/")
    return {
        "title": run.title, "date": run.date, "words": run.words, "verdict": str(run.verdict),
        "sign": palette.VERDICTS[run.verdict][1], "lasts": clock(run.record.duration_s, 0), "folder": run.folder.name,
        "frozen": NOT_FROZEN if state is None else state.words, "join": join_table(join) if join else None,
        "files": [(quote(f"{here}/{name}"), words) for name, words in names if (views / name).is_file()],
        "tasks": _tasks(run),
    }


def _tasks(run: Told) -> Table:
    return Table(("no.", "from", "to", "who", "what", "where"), tuple(
        (task.number, clock(task.start_s, 0), clock(task.end_s, 0), ", ".join(map(role, task.actors)), task.title,
         task.place) for task in run.procedure.tasks
    ))


def write_series_deck(
    runs: Sequence[Told], found: Sequence[Sequence[Otherwise]], line: Path, path: Path, title: str, purpose: str
) -> Path:
    """Write one deck of all outings and return its path.

    Raises:
        MissingExtraError: python-pptx is not installed.
    """
    deck = Deck()
    words = [purpose.strip(), joined_words(found), *(f"{run.title}: {run.words}" for run in runs)]
    deck.text(deck.slide(title, "\n".join(words)), [text for text in words if text], 1.4, 20)
    deck.picture(deck.slide("All outings on one time line", LINE_WORDS), line, LINE_WORDS)
    for k, run in enumerate(runs):
        if k and found[k - 1]:
            slide = deck.slide(f"Otherwise at the start: {run.title}")
            deck.table(slide, join_table(found[k - 1]), (2, 3, 3, 4), 13)
        notes = "\n".join(f"{row[0]} {row[3]}: {row[4]}." for row in _tasks(run).rows)
        lasts = f"{run.date + ', ' if run.date else ''}{clock(run.record.duration_s, 0)}"
        first = deck.slide(run.title, notes)
        deck.text(first, [f"{palette.VERDICTS[run.verdict][1]} {run.words}", lasts,
                          run.record.scene.loaded.scenario.purpose.strip()], 1.4, 22)
        for picture, words_ in (("overview.png", "The scene at the start"), ("pictures/day.png", "Who does what when")):
            if (run.folder / "views" / picture).is_file():
                deck.picture(deck.slide(f"{run.title}: {words_.lower()}"), run.folder / "views" / picture, words_)
        failed = findings_table([f for f in run.findings if f.verdict is Verdict.FAIL])
        if failed.rows:
            short = Table(failed.columns[1:], tuple(tuple(cell[:150] for cell in row[1:]) for row in failed.rows[:7]))
            deck.table(deck.slide(f"{run.title}: what fails"), short, (1.6, 1.1, 6, 4), 12, len(failed.rows) - 7
                       if len(failed.rows) > 7 else 0)
    deck.text(deck.slide("Cautions"), [CAUTION], 1.5, 24)
    with writing(path) as place:
        deck.file.save(str(place))
    return path
