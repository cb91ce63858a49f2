"""One sheet for all: a timeline in columns, a column an actor, time going down, printed large or folded to pages.

Rows stand where anything begins, as high as their words need, so that a busy quarter of an hour is as easy to read as a
quiet one; what goes on stands over all rows that it lasts. On A3 two pages stand side by side with a fold between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from armcarry.errors import MissingExtraError
from armcarry.files.atomic import writing
from armcarry.files.documents.steps import ARM
from armcarry.procedure.model import Procedure, Task, role
from armcarry.quantities import clock
from armcarry.views import palette
from armcarry.views.brief.paper import BOLD_FONT, FONT, fonts

SheetSize = Literal["A3", "Letter"]
_MARGIN, _HEAD, _FOOT_PT = 36.0, 42.0, 26.0
#: width of the column of times, points
_TIMES = 46.0
_PT, _LEAD, _PAD = 6.8, 8.4, 3.0
_FOOT = "A rehearsal aid, no approval and no command: results support, and do not replace, the responsible authorities."


@dataclass(frozen=True)
class _Cell:
    """What an actor does from one row to another, its last one included."""

    column: int
    first: int
    last: int
    task: Task
    lines: tuple[str, ...]


class _Block:
    """One page of the timeline: where it stands on its sheet, and how large."""

    def __init__(self, left: float, bottom: float, wide: float, tall: float) -> None:
        self.left, self.bottom, self.wide, self.tall = left, bottom, wide, tall

    @property
    def room(self) -> float:
        """Height for rows."""
        return self.tall - _HEAD - _FOOT_PT


def write_sheet(procedure: Procedure, path: Path, size: SheetSize = "A3") -> Path:
    """Write the timeline of everybody and return its path.

    Raises:
        MissingExtraError: ReportLab is not installed.
    """
    try:
        from reportlab.lib import pagesizes

        from armcarry.views.brief.tagged import TaggedCanvas
    except ImportError as error:
        raise MissingExtraError("reportlab", "brief", "writing PDF") from error
    fonts()
    page = pagesizes.landscape(pagesizes.A3) if size == "A3" else pagesizes.LETTER
    blocks = _blocks(page[0], page[1], two=size == "A3")
    actors = [actor for actor in procedure.actors if actor != procedure.reader]
    starts = sorted({task.start_s for task in procedure.tasks})
    wide = (blocks[0].wide - _TIMES) / max(len(actors), 1)
    cells = _cells(procedure, actors, starts, wide)
    pages = _paged(_heights(cells, len(starts)), blocks[0].room)
    with writing(path) as place:
        canvas = TaggedCanvas(str(place), pagesize=page, invariant=1)
        canvas.setTitle(f"Everybody's tasks: {procedure.title}")
        canvas.setAuthor("armcarry")
        for number, rows in enumerate(pages):
            block = blocks[number % len(blocks)]
            if number and number % len(blocks) == 0:
                canvas.showPage()
            _draw(canvas, procedure, actors, block, rows, cells, starts, wide, (number + 1, len(pages)))
            if len(blocks) > 1 and number % len(blocks) == 0:
                _fold(canvas, *page)
        canvas.save()
    return path


def _blocks(wide: float, tall: float, two: bool) -> tuple[_Block, ...]:
    if not two:
        return (_Block(_MARGIN, _MARGIN, wide - 2 * _MARGIN, tall - 2 * _MARGIN),)
    half = wide / 2
    return tuple(_Block(left + _MARGIN, _MARGIN, half - 2 * _MARGIN, tall - 2 * _MARGIN) for left in (0.0, half))


def _cells(procedure: Procedure, actors: Sequence[str], starts: Sequence[float], wide: float) -> list[_Cell]:
    """Return the cells; where one actor does two things at once the earlier ends where the later begins."""
    found: list[_Cell] = []
    for column, actor in enumerate(actors):
        mine = [task for task in procedure.tasks if task.concerns(actor)]
        for k, task in enumerate(mine):
            first = starts.index(task.start_s)
            last = max((j for j, start in enumerate(starts) if start < task.end_s), default=first)
            if k + 1 < len(mine):
                last = min(last, max(starts.index(mine[k + 1].start_s) - 1, first))
            found.append(_Cell(column, first, max(last, first), task, _words(task, actor, wide)))
    return found


def _words(task: Task, actor: str, wide: float) -> tuple[str, ...]:
    from reportlab.lib.utils import simpleSplit

    others = [role(who) for who in dict.fromkeys((*task.actors, *task.riders)) if who != actor]
    rides = actor in task.riders and actor not in task.actors
    with_whom = f" ({'on the arm' if rides else 'with ' + ', '.join(others)})" if others else ""
    fails = " ✕" if task.fails else ""
    last = f" {clock(task.end_s - task.start_s, 0)}" if task.end_s > task.start_s else ""
    room = wide - 2 * _PAD - 10
    head = simpleSplit(f"☐ {task.number} {task.title}{fails}", BOLD_FONT, _PT, room)
    below = simpleSplit(f"{last.strip()}{with_whom}{', ' + task.place.partition(':')[0] if task.place else ''}",
                        FONT, _PT, room)  # fmt: skip
    return (*head, *(f"\t{line}" for line in below))


def _heights(cells: Sequence[_Cell], rows: int) -> list[float]:
    """Return how high each row is: as its cells need, the last row of a long cell taking what is missing."""
    heights = [2 * _LEAD + _PAD] * rows
    for cell in sorted(cells, key=lambda cell: cell.last - cell.first):
        need = len(cell.lines) * _LEAD + 2 * _PAD
        missing = need - sum(heights[cell.first : cell.last + 1])
        if missing > 0:
            heights[cell.last] += missing
    return heights


def _paged(heights: Sequence[float], room: float) -> list[list[tuple[int, float]]]:
    """Return the rows of each page with their heights; a row that is higher than a page gets one of its own."""
    pages: list[list[tuple[int, float]]] = [[]]
    used = 0.0
    for row, height in enumerate(heights):
        height = min(height, room)
        if used + height > room and pages[-1]:
            pages.append([])
            used = 0.0
        pages[-1].append((row, height))
        used += height
    return pages


def _draw(
    canvas: Any, procedure: Procedure, actors: Sequence[str], block: _Block, rows: Sequence[tuple[int, float]],
    cells: Sequence[_Cell], starts: Sequence[float], wide: float, page: tuple[int, int],
) -> None:
    from reportlab.lib.colors import HexColor

    top = block.bottom + block.tall
    canvas.setFillColor(HexColor(palette.INK))
    canvas.setFont(BOLD_FONT, 10)
    with canvas.mark("H1"):
        canvas.drawString(block.left, top - 12, f"Everybody's tasks: {procedure.title}"[:90])
    canvas.setFont(FONT, 6.5)
    canvas.drawString(block.left, block.bottom + 4, _FOOT)
    canvas.drawRightString(block.left + block.wide, block.bottom + 4, f"{page[0]} of {page[1]}")
    canvas.setFont(BOLD_FONT, 8)
    canvas.drawString(block.left, top - 32, "from start")
    for column, actor in enumerate(actors):
        canvas.drawString(block.left + _TIMES + column * wide + _PAD, top - 32, role(actor))
    y = top - _HEAD
    edges: dict[int, tuple[float, float]] = {}
    for row, height in rows:
        edges[row] = (y, y - height)
        _time(canvas, procedure, block, y, starts[row])
        y -= height
    for cell in cells:
        inside = [row for row in range(cell.first, cell.last + 1) if row in edges]
        if inside:
            box = (block.left + _TIMES + cell.column * wide, edges[inside[0]][0], edges[inside[-1]][1])
            # a screen reader reads column by column, each task with its actor and its time
            begins = clock(starts[cell.first], 0)
            with canvas.mark("P", f"{role(actors[cell.column])}, {begins}: {' '.join(cell.lines).replace(chr(9), '')}"):
                _cell(canvas, cell, box, wide, goes_on=inside[0] != cell.first)


def _time(canvas: Any, procedure: Procedure, block: _Block, y: float, start_s: float) -> None:
    from reportlab.lib.colors import HexColor

    canvas.setStrokeColor(HexColor(palette.GRID))
    canvas.setLineWidth(0.4)
    canvas.line(block.left, y, block.left + block.wide, y)
    canvas.setFillColor(HexColor(palette.INK))
    canvas.setFont(BOLD_FONT, _PT)
    canvas.drawString(block.left, y - _LEAD, clock(start_s, 0))
    if procedure.day_start_s:
        canvas.setFont(FONT, _PT - 1)
        canvas.drawString(block.left, y - 2 * _LEAD + 1, clock(start_s + procedure.day_start_s, 0))


def _cell(canvas: Any, cell: _Cell, box: tuple[float, float, float], wide: float, goes_on: bool) -> None:
    """Draw a cell: a frame, thick on the left where the arm moves, and its words; told by line, not by colour."""
    from reportlab.lib.colors import HexColor

    left, top, bottom = box
    canvas.setFillColor(HexColor("#F4F5F6" if ARM in cell.task.actors else palette.PAPER))
    canvas.setStrokeColor(HexColor(palette.FAINT_INK))
    canvas.setLineWidth(0.6)
    canvas.setDash(*((2, 2) if cell.task.optional else ()))
    canvas.rect(left + 1, bottom + 0.8, wide - 2, top - bottom - 1.6, stroke=1, fill=1)
    canvas.setDash()
    if ARM in cell.task.actors:
        canvas.setFillColor(HexColor(palette.INK))
        canvas.rect(left + 1, bottom + 0.8, 2.2, top - bottom - 1.6, stroke=0, fill=1)
    canvas.setFillColor(HexColor(palette.INK))
    lines = (f"… {cell.task.number} goes on",) if goes_on else cell.lines
    for k, line in enumerate(lines[: max(int((top - bottom - _PAD) // _LEAD), 1)]):
        canvas.setFont(FONT if line.startswith("\t") or goes_on else BOLD_FONT, _PT)
        canvas.drawString(left + _PAD + 3, top - _PAD - _LEAD * (k + 0.75), line.strip("\t"))


def _fold(canvas: Any, wide: float, tall: float) -> None:
    from reportlab.lib.colors import HexColor

    canvas.setStrokeColor(HexColor(palette.FAINT_INK))
    canvas.setLineWidth(0.4)
    canvas.setDash(1, 4)
    canvas.line(wide / 2, 12, wide / 2, tall - 12)
    canvas.setDash()
