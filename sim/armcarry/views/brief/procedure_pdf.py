"""The procedure of one actor on paper: a box to tick, planned and actual time, and blank room for remarks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from armcarry.procedure.lines import Line, lines, opening
from armcarry.procedure.model import Procedure, Task, role
from armcarry.quantities import clock
from armcarry.views import palette
from armcarry.views.brief.paper import Paper, Size
from armcarry.views.table import Table
from armcarry.views.words import CAUTION

_FOOT = "A rehearsal aid, no approval and no command: results support, and do not replace, the responsible authorities."
_BOX = "☐"
#: widths of the columns, as shares: tick, number and times, what to do, remarks
_SHARES = (0.35, 1.65, 5.4, 1.5)
_HEAD = ("", "planned; actual", "task", "remarks")
_BOLD = ("fails", "caution")


def write_procedure_pdf(
    procedure: Procedure, actor: str, path: Path, size: Size = "A4", frozen: str = ""
) -> Path:
    """Write the printed procedure of one actor and return its path.

    Raises:
        MissingExtraError: ReportLab is not installed.
    """
    name = role(actor)
    paper = Paper(path, size, f"{name}: {procedure.title}", _FOOT)
    paper.text(f"Procedure: {name}", 18, True, after=4)
    paper.text(procedure.title, 12, True, after=2)
    paper.text(procedure.purpose, 9.5, after=6)
    if frozen:
        paper.text(frozen, 9.5, True, after=6)
    paper.box(CAUTION, "Cautions")
    for words in opening(procedure, actor):
        paper.text(f"• {words}", 9, after=2)
    if procedure.start:
        paper.heading("At the start", 12)
        paper.table(Table(("what", "where"), procedure.start), (2, 5), 8.5)
    paper.heading("Tasks", 15)
    rows = [row for task in procedure.of(actor) for row in _rows(paper, procedure, task, actor)]
    paper.rows(_HEAD, rows, _SHARES, 8)
    if procedure.left_out:
        paper.heading("Not done", 12)
        paper.table(Table(("task", "why"), tuple((item.title, item.why) for item in procedure.left_out)), (2, 5), 8.5)
    paper.write()
    return path


def _rows(paper: Paper, procedure: Procedure, task: Task, actor: str) -> list[list[Any]]:
    mine = [move for move in task.moves if actor == procedure.reader or move.concerns(actor)]
    found = [[paper.paragraph(_BOX, 13), _times(paper, procedure, task), _words(paper, procedure, task, actor), ""]]
    return found + [row for move in mine for row in _rows(paper, procedure, move, actor)]


def _times(paper: Paper, procedure: Procedure, task: Task) -> list[Any]:
    until = f" to {clock(task.end_s, 0)}" if task.end_s > task.start_s else ""
    words = [paper.paragraph(task.number, 8.5, True), paper.paragraph(f"{clock(task.start_s, 0)}{until}", 7.5)]
    if procedure.day_start_s and "." not in task.number:
        words.append(paper.paragraph(f"clock {clock(task.start_s + procedure.day_start_s, 0)}", 7.5))
    return [*words, paper.paragraph("actual ........ to ........", 7, colour=palette.FAINT_INK)]


def _words(paper: Paper, procedure: Procedure, task: Task, actor: str) -> list[Any]:
    place = f" — {task.place}" if task.place else ""
    optional = " (as time permits)" if task.optional else ""
    words = [paper.paragraph(f"{task.title}{place}{optional}", 9.5, True, after=1)]
    return words + [_line(paper, line) for line in lines(task, actor, procedure)]


def _line(paper: Paper, line: Line) -> Any:
    return paper.paragraph(line.text, 8.5, line.kind in _BOLD, after=0.5)
