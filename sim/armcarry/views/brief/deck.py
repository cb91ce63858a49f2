"""The briefing as slides: the same pictures, the movie, few words in large type."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from armcarry.errors import MissingExtraError
from armcarry.files.atomic import writing
from armcarry.procedure.model import role
from armcarry.quantities import clock
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.texts import shown
from armcarry.views import palette
from armcarry.views.brief.content import Table, briefing, margins
from armcarry.views.brief.made import Made
from armcarry.views.brief.pictures import Pictures
from armcarry.views.brief.step_pictures import TaskPicture
from armcarry.views.words import CAUTION, verdict_word

_WIDE_IN, _TALL_IN, _EDGE_IN = 13.333, 7.5, 0.5
_ACROSS_IN = _WIDE_IN - 2 * _EDGE_IN
#: letters of a title that fit on one line at 30 points
_TITLE_LETTERS = 44
#: rows of a table that stay readable from the back of a room
_ROWS, _ROW_IN = 12, 0.4
#: rows whose cells take several lines
_LONG_ROWS = 7
#: letters of such a cell
_CELL_LETTERS = 120
#: so many tasks have a slide each; of more, steps have
_TASKS = 40
#: height of a task's panels, lines of words about it, and letters that fit on one
_PANELS_IN, _TASK_LINES, _TASK_LETTERS = 3.9, 6, 115
#: a panel alone is so high, and has the words beside it, each cut to so many letters
_PANEL_IN, _BESIDE_LETTERS = 5.3, 90
#: broader than this are two panels
_ONE_PANEL = 2.0
#: width of the picture on the first slide
_HERO_IN = 7.4
#: slides of what failed, and carries of which every plot is shown: a room sits through no more
_FINDING_SLIDES, _CARRIES = 4, 4


class Deck:
    """Slides of 16:9, plain ground, dark text."""

    def __init__(self) -> None:
        """Open an empty deck.

        Raises:
            MissingExtraError: python-pptx is not installed.
        """
        try:
            from pptx import Presentation
            from pptx.util import Inches
        except ImportError as error:
            raise MissingExtraError("python-pptx", "brief", "writing slides") from error
        self._inches = Inches
        self.file: Any = Presentation()
        self.file.slide_width, self.file.slide_height = Inches(_WIDE_IN), Inches(_TALL_IN)

    def slide(self, title: str, notes: str = "") -> Any:
        """Add a slide with a title, and what its presenter says below it, and return it."""
        slide = self.file.slides.add_slide(self.file.slide_layouts[5])  # title only
        heading = slide.shapes.title
        self._place(heading, _EDGE_IN, 0.25, _WIDE_IN - 2 * _EDGE_IN, 0.85)
        # one line: a second one would lie over what stands below
        self._write(heading.text_frame, [_cut(title, 88)], min(30.0, 30.0 * _TITLE_LETTERS / len(title)), bold=True)
        if notes:
            slide.notes_slide.notes_text_frame.text = "\n".join(shown(line) for line in notes.splitlines())
        return slide

    def text(
        self, slide: Any, lines: Sequence[str], top_in: float, size: float, colour: str = palette.INK,
        wide_in: float = _ACROSS_IN, left_in: float = _EDGE_IN,
    ) -> None:
        """Write lines across a slide, or across less of it."""
        box = slide.shapes.add_textbox(0, 0, 0, 0)
        self._place(box, left_in, top_in, wide_in, _TALL_IN - top_in - 0.4)
        self._write(box.text_frame, lines, size, colour=colour)

    def picture(self, slide: Any, path: Path, words: str) -> None:
        """Put a picture below the title, as large as it fits, with its caption."""
        from PIL import Image

        with Image.open(path) as opened:
            aspect = opened.size[0] / opened.size[1]
        tall = _TALL_IN - 1.15 - 0.55
        wide = min(tall * aspect, _WIDE_IN - 2 * _EDGE_IN)
        left, size = (_WIDE_IN - wide) / 2, (self._inches(wide), self._inches(wide / aspect))
        placed = slide.shapes.add_picture(str(path), self._inches(left), self._inches(1.15), *size)
        placed._element.nvPicPr.cNvPr.set("descr", shown(words))  # for who cannot see it
        self.text(slide, [words], _TALL_IN - 0.55, 14, palette.FAINT_INK)

    def hero(self, slide: Any, path: Path, words: str) -> float:
        """Put a picture to the right of a slide and return how wide the words beside it may be, in."""
        from PIL import Image

        with Image.open(path) as opened:
            aspect = opened.size[0] / opened.size[1]
        left = _WIDE_IN - _EDGE_IN - _HERO_IN
        size = (self._inches(_HERO_IN), self._inches(_HERO_IN / aspect))
        placed = slide.shapes.add_picture(str(path), self._inches(left), self._inches(1.4), *size)
        placed._element.nvPicPr.cNvPr.set("descr", shown(words))
        return left - 1.5 * _EDGE_IN

    def panels(self, slide: Any, path: Path, words: str) -> tuple[float, float]:
        """Put the panels of a task below the title, with words for who cannot see them; return right and lower end."""
        from PIL import Image

        with Image.open(path) as opened:
            aspect = opened.size[0] / opened.size[1]
        wide = min(_WIDE_IN - 2 * _EDGE_IN, (_PANEL_IN if aspect < _ONE_PANEL else _PANELS_IN) * aspect)
        size = (self._inches(wide), self._inches(wide / aspect))
        placed = slide.shapes.add_picture(str(path), self._inches(_EDGE_IN), self._inches(1.15), *size)
        placed._element.nvPicPr.cNvPr.set("descr", shown(words))
        return _EDGE_IN + wide, 1.15 + wide / aspect

    def stretch(self, slide: Any, start: float, end: float, words: str) -> None:
        """Draw along the foot of a slide which stretch of the run, in shares of it, the slide is about."""
        from pptx.dml.color import RGBColor
        from pptx.enum.shapes import MSO_SHAPE

        wide = _WIDE_IN - 2 * _EDGE_IN
        for left, share, colour in ((0.0, 1.0, palette.GRID), (start, max(end - start, 0.004), palette.BLUE)):
            share = min(share, 1.0 - min(left, 0.996))
            left = min(left, 0.996)
            bar = slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, 0, 0, 0, 0)
            self._place(bar, _EDGE_IN + left * wide, _TALL_IN - 0.34, share * wide, 0.12)
            bar.fill.solid()
            bar.fill.fore_color.rgb = RGBColor.from_string(colour.removeprefix("#"))
            bar.line.fill.background()
            bar._element.nvSpPr.cNvPr.set("descr", words)

    def movie(self, slide: Any, path: Path, poster: Path | None) -> None:
        """Put the movie on a slide."""
        wide, tall = 10.0, 5.625
        slide.shapes.add_movie(
            str(path), self._inches((_WIDE_IN - wide) / 2), self._inches(1.25), self._inches(wide), self._inches(tall),
            poster_frame_image=None if poster is None else str(poster), mime_type="video/mp4",
        )

    def table(
        self, slide: Any, data: Table, shares: Sequence[float], size: float = 13, left_out: int = 0
    ) -> None:
        """Put the first rows of a table on a slide, and say how many more there are, with ``left_out`` others."""
        from pptx.util import Pt

        rows = data.rows[:_ROWS]
        width = _WIDE_IN - 2 * _EDGE_IN
        frame = slide.shapes.add_table(
            len(rows) + 1, len(data.columns), self._inches(_EDGE_IN), self._inches(1.2), self._inches(width),
            self._inches(_ROW_IN * (len(rows) + 1)),
        )
        for k, share in enumerate(shares):
            frame.table.columns[k].width = self._inches(width * share / sum(shares))
        for r, row in enumerate([data.columns, *rows]):
            for c, words in enumerate(row):
                cell = frame.table.cell(r, c)
                cell.margin_left = cell.margin_right = Pt(4)
                self._fill(cell, r)
                self._write(cell.text_frame, [words], size, bold=r == 0)
        left_out += len(data.rows) - len(rows)
        if left_out:
            more = f"and {left_out} more in the report"
            self.text(slide, [more], _TALL_IN - 0.5, 12, palette.FAINT_INK)

    def _fill(self, cell: Any, row: int) -> None:
        from pptx.dml.color import RGBColor

        cell.fill.solid()
        shade = palette.GRID if row == 0 else palette.PAPER
        cell.fill.fore_color.rgb = RGBColor.from_string(shade.removeprefix("#"))

    def _place(self, shape: Any, left: float, top: float, wide: float, tall: float) -> None:
        shape.left, shape.top = self._inches(left), self._inches(top)
        shape.width, shape.height = self._inches(wide), self._inches(tall)

    def _write(
        self, frame: Any, lines: Sequence[str], size: float, bold: bool = False, colour: str = palette.INK
    ) -> None:
        from pptx.dml.color import RGBColor
        from pptx.enum.text import MSO_ANCHOR, PP_ALIGN
        from pptx.util import Pt

        frame.word_wrap, frame.vertical_anchor = True, MSO_ANCHOR.TOP
        for k, line in enumerate(lines):
            paragraph = frame.paragraphs[0] if k == 0 else frame.add_paragraph()
            paragraph.alignment, paragraph.space_after = PP_ALIGN.LEFT, Pt(size / 3 if len(lines) > 1 else 0)
            run = paragraph.add_run()
            run.text = shown(line)
            run.font.size, run.font.bold = Pt(size), bold
            run.font.color.rgb = RGBColor.from_string(colour.removeprefix("#"))


def write_deck(
    record: Record, findings: Sequence[Finding], pictures: Pictures, path: Path, movie: Path | None = None,
    made: Made | None = None, tasks: Mapping[str, TaskPicture] | None = None,
) -> Path:
    """Write the slides and return their path.

    Args:
        record, findings: the run.
        pictures: drawn before; the slides show all of them, of a day with many carries only the clearance of each.
        path: the file to write.
        movie: an MP4 to put in, if there is one.
        made: the words of the run, where they are made already.
        tasks: the pictures of its tasks by number, where they were drawn.

    Raises:
        MissingExtraError: python-pptx is not installed.
    """
    told, deck, said = briefing(record, findings), Deck(), made or Made(record, findings)
    sign = palette.VERDICTS[told.verdict][1]
    whole = said.between(record.motion.start_s, record.motion.end_s)
    first = deck.slide(told.title, f"{told.purpose.strip()}\n{verdict_word(told.verdict)}: {told.counts}.\n{CAUTION}")
    hero = pictures.hero(told.verdict is Verdict.FAIL)
    beside = None if hero is None else deck.hero(first, hero.path, hero.words)
    answer = [f"{sign} {verdict_word(told.verdict)}: {told.counts}", told.headline, _cut(told.purpose)]
    deck.text(first, answer, 1.4, 24 if beside is None else 20, wide_in=beside or _ACROSS_IN)
    deck.text(first, [CAUTION], 5.8, 14, palette.FAINT_INK)
    _findings(deck, findings)
    for picture in pictures.failed:
        deck.picture(deck.slide(picture.title, f"{picture.words}."), picture.path, picture.words)
    stands = "\n".join(f"{row[0]}: {row[1]}." for row in told.configuration.rows)
    deck.table(deck.slide("Configuration", stands), told.configuration, (2, 5), 14)
    for picture in pictures.views[:1]:
        deck.picture(deck.slide("The scene", _starts(said)), picture.path, picture.words)
    if movie is not None:
        deck.movie(deck.slide("The run", whole), movie, pictures.views[0].path if pictures.views else None)
    for picture in pictures.day:
        deck.picture(deck.slide("The day", whole), picture.path, picture.words)
    for carry in told.carries:
        when = f"{clock(carry.start_s)} to {clock(carry.end_s)}"
        notes = said.between(carry.start_s, carry.end_s)
        shown = pictures.of(carry)
        for picture in shown if len(told.carries) <= _CARRIES else shown[-1:]:
            deck.picture(deck.slide(f"{carry.title}: {when}", notes), picture.path, picture.words)
        table = _short(margins(record, carry.start_s, carry.end_s))
        if table.rows and len(told.carries) <= _CARRIES:
            deck.table(deck.slide(f"Margins of {carry.title}", notes), table, (3, 3, 1.2, 1.3, 1.3, 1.3, 1.9))
    _tasks(deck, said, tasks or {})
    for picture in (picture for picture in pictures.views[1:] if picture not in pictures.failed):
        deck.picture(deck.slide(picture.title, f"{picture.words}."), picture.path, picture.words)
    for picture in pictures.what_ifs:
        title = f"What if: {picture.title[0].lower()}{picture.title[1:]}"
        deck.picture(deck.slide(title, f"{picture.words}."), picture.path, picture.words)
    invented = f"{told.assumed} numbers of this run are assumptions."
    deck.text(deck.slide("Cautions", f"{CAUTION}\n{invented}"), [CAUTION, invented], 1.5, 24)
    with writing(path) as place:
        deck.file.save(str(place))
    return path


def _tasks(deck: Deck, made: Made, pictures: Mapping[str, TaskPicture]) -> None:
    """Add a slide a task: its picture, who does it when, what to do and to watch; of many, a slide a step."""
    steps = made.procedure.tasks
    leaves = [leaf for step in steps for leaf in (step.moves or (step,))]
    chosen = leaves if len(leaves) <= _TASKS else steps
    start_s, whole_s = made.record.motion.start_s, max(made.record.duration_s, 1e-9)
    spoken = {cue.number: cue for cue in made.cues}
    for task in chosen:
        first = task if task.number in pictures or not task.moves else task.moves[0]
        cue, picture = spoken.get(task.number), pictures.get(first.number)
        slide = deck.slide(f"{task.number}  {task.title}", made.between(task.start_s, task.end_s) or task.title)
        right, below = (_WIDE_IN, 1.05) if picture is None else deck.panels(slide, picture.path, picture.words)
        when = f"{clock(task.start_s - start_s)} to {clock(task.end_s - start_s)}"
        who = ", ".join(dict.fromkeys(role(actor) for actor in (*task.actors, *task.riders)))
        watch = [*(f"Beware: {line}" for line in task.cautions), *([f"Right when: {task.see}"] if task.see else ())]
        seen = [f"Seen from: {cue.seen_from}"] if cue is not None and cue.seen_from else []
        lines = [f"{when}: {who}", *task.do, *watch, *seen]
        if right < _WIDE_IN - 4.0:
            left, beside = right + 0.5 * _EDGE_IN, [_cut(line, _BESIDE_LETTERS) for line in lines[:_TASK_LINES]]
            deck.text(slide, beside, 1.15, 18, wide_in=_WIDE_IN - _EDGE_IN - left, left_in=left)
        else:
            deck.text(slide, [_cut(line, _TASK_LETTERS) for line in lines[:_TASK_LINES]], below + 0.1, 14)
        share = [(time_s - start_s) / whole_s for time_s in (task.start_s, task.end_s)]
        deck.stretch(slide, share[0], share[1], f"{when} of {clock(whole_s)}")


def _starts(made: Made) -> str:
    """Return where everybody and everything is at the start, as it is said."""
    return "\n".join(f"{what}: {where}." for what, where in made.procedure.start)


def _findings(deck: Deck, findings: Sequence[Finding]) -> None:
    for verdict, title in ((Verdict.FAIL, "What failed"), (Verdict.NOT_ASSESSED, "What was not assessed")):
        chosen = [finding for finding in findings if finding.verdict is verdict]
        for first in range(0, min(len(chosen), _FINDING_SLIDES * _LONG_ROWS), _LONG_ROWS):
            rows = tuple(
                (plain(finding.check), clock(worst_s(finding)), _cut(finding.message, _CELL_LETTERS),
                 _cut(finding.remedy, _CELL_LETTERS))
                for finding in chosen[first : first + _LONG_ROWS]
            )
            last = first + len(rows)
            which = f", {first + 1} to {last}" if len(chosen) > _LONG_ROWS else ""
            table = Table(("check", "at", "what was found", "what to change"), rows)
            more = len(chosen) - last if last >= _FINDING_SLIDES * _LONG_ROWS else 0
            notes = "\n".join(f"{finding.message} {finding.remedy}" for finding in chosen[first:last])
            deck.table(deck.slide(f"{title}: {len(chosen)}{which}", notes), table, (1.5, 1.0, 5.6, 4.6), 12, more)


def _cut(text: str, letters: int = 150) -> str:
    """Cut long text for a slide; the report has it whole."""
    return text if len(text) <= letters else text[: letters - 1] + "…"


def _short(data: Table) -> Table:
    """Leave out the worst case, which the report has."""
    return Table(data.columns[:7], tuple(row[:7] for row in data.rows))
