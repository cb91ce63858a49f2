"""Pages for print: styles, tables and pictures that fit A4 and Letter, over ReportLab."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal
from xml.sax.saxutils import escape

from armcarry.errors import MissingExtraError
from armcarry.files.atomic import writing
from armcarry.record.finding import Verdict
from armcarry.views import palette
from armcarry.views.brief.content import Table

Size = Literal["A4", "Letter"]
FONT, BOLD_FONT = "DejaVuSans", "DejaVuSans-Bold"
_MARGIN_MM = 15.0
#: lines of one cell of a table at most
_CELL_LINES = 40
#: what is not broken over two lines: a time, a figure with its unit; how much wider than its words a cell is, points
_FIGURE = re.compile(r"[-+≥≤<>= ]*[0-9][0-9:.,]*( ?[a-zA-Z%°/]{1,5})?")
_PADDING = 6.5
#: headings of at least this size stand in the outline that a reader of the file may open beside the pages
_OUTLINED = 15.0


class Paper:
    """Builds one PDF in one paper size; every text is escaped and wrapped, so nothing is cut."""

    def __init__(self, path: Path, size: Size, title: str, foot: str) -> None:
        """Open a document.

        Args:
            path: the file to write.
            size: of the sheet.
            title: of the document, also in its properties and at the foot of each page.
            foot: a line at the foot of each page.

        Raises:
            MissingExtraError: ReportLab is not installed.
        """
        try:
            from reportlab.lib import pagesizes
            from reportlab.lib.units import mm
            from reportlab.platypus import SimpleDocTemplate
        except ImportError as error:
            raise MissingExtraError("reportlab", "brief", "writing PDF") from error
        fonts()
        self._path, self._title, self._foot = path, title, foot
        margin = _MARGIN_MM * mm
        self._document: Any = SimpleDocTemplate(
            "", pagesize={"A4": pagesizes.A4, "Letter": pagesizes.LETTER}[size], leftMargin=margin,
            rightMargin=margin, topMargin=margin, bottomMargin=margin + 6 * mm, title=title, author="armcarry",
            creator="armcarry", invariant=1,
        )
        self.width, self.height = self._document.width - 12, self._document.height - 12  # frames have 6 points inside
        self._story: list[Any] = []
        self._headings = self._tables = 0

    def text(
        self, words: str, size: float = 9.5, bold: bool = False, colour: str = palette.INK, after: float = 3
    ) -> None:
        """Add a paragraph; large and bold it is a heading to who hears it."""
        paragraph = self.paragraph(words, size, bold, colour, after)
        if bold and size >= _OUTLINED:
            paragraph.role = "H1"
        self._story.append(paragraph)

    def heading(self, words: str, size: float = 15, room: float = 0.15) -> None:
        """Add a heading, on another page when less than ``room``, a share of a page, is left for what follows.

        (Keeping heading and table together instead would leave most of a page empty before a long table.)
        """
        from reportlab.platypus import CondPageBreak

        paragraph = self.paragraph(words, size, True, after=5)
        paragraph.style.spaceBefore = 10
        paragraph.role = "H1" if size >= _OUTLINED else "H2"
        if size >= _OUTLINED:
            paragraph.outlined = words
        self._story += [CondPageBreak(room * self.height), paragraph]

    def paragraph(
        self, words: str, size: float = 9.5, bold: bool = False, colour: str = palette.INK, after: float = 0
    ) -> Any:
        """Return a paragraph of plain text."""
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle

        from armcarry.views.brief.tagged import Words

        style = ParagraphStyle(
            "text", fontName=BOLD_FONT if bold else FONT, fontSize=size, leading=size * 1.28,
            textColor=HexColor(colour), spaceAfter=after, splitLongWords=True, wordWrap="LTR",
        )
        return Words(escape(words).replace("\n", "<br/>"), style)

    def verdict(self, verdict: Verdict, words: str) -> None:
        """Add a line with the sign and colour bar of a verdict."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import Table as Grid

        colour, sign = palette.VERDICTS[verdict]
        grid = Grid([["", self.paragraph(f"{sign} {words}", 13, True)]], colWidths=[10, self.width - 10])
        grid.setStyle([("BACKGROUND", (0, 0), (0, 0), HexColor(colour)), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
        self._story.append(grid)
        self.gap(4)

    def table(self, data: Table, shares: Sequence[float], size: float = 7.5) -> None:
        """Add a table whose columns take the given shares of the width; its head repeats on each page."""
        self._story.append(self.grid(data, shares, size, self.width))
        self.gap(6)

    def rows(self, columns: Sequence[str], rows: Sequence[Sequence[Any]], shares: Sequence[float], size: float) -> None:
        """Add a table whose cells are what this class made, or empty; its head repeats on each page."""
        widths = [self.width * share / sum(shares) for share in shares]
        head = [self.paragraph(words, size, True) for words in columns]
        self._story.append(self._ruled([head, *map(list, rows)], widths))
        self.gap(6)

    def grid(self, data: Table, shares: Sequence[float], size: float, width: float) -> Any:
        """Return a table with wrapped cells; no column is narrower than its figures and times."""
        widths = _widths(data, shares, size, width)
        head = [self.paragraph(words, size, True) for words in data.columns]
        body = [[self.paragraph(_cut(words, wide, size), size) for words, wide in zip(row, widths, strict=True)]
                for row in data.rows]  # fmt: skip
        return self._ruled([head, *body], widths)

    def _ruled(self, cells: Sequence[Sequence[Any]], widths: Sequence[float]) -> Any:
        """Return cells as a table with a rule below each row."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import LongTable

        self._tables += 1
        for number, row in enumerate(cells):
            for column, cell in enumerate(row):
                for part in cell if isinstance(cell, list) else [cell]:
                    if part:
                        part.cell = (self._tables, number, column, number == 0)
        grid = LongTable(cells, colWidths=widths, repeatRows=1, spaceAfter=3)
        grid.setStyle([
            ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, 0), 1.2, HexColor(palette.INK)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.4, HexColor(palette.GRID)), ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ])
        return grid

    def box(self, words: str, title: str) -> None:
        """Add a framed caution."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import Table as Grid

        grid = Grid([[[self.paragraph(title, 11, True, after=2), self.paragraph(words, 9)]]], colWidths=[self.width])
        grid.setStyle([("BOX", (0, 0), (-1, -1), 2, HexColor(palette.VERMILLION)), ("TOPPADDING", (0, 0), (-1, -1), 6),
                       ("BOTTOMPADDING", (0, 0), (-1, -1), 8)])
        self._story.append(grid)
        self.gap(6)

    def picture(self, path: Path, words: str, most: float = 0.42) -> None:
        """Add a picture across the page, at most a share of it high, with its caption, kept together."""
        from reportlab.platypus import KeepTogether, Spacer

        caption = self.paragraph(words, 8.5, colour=palette.FAINT_INK, after=10)
        self._story.append(KeepTogether([self.shown(path, words, most), Spacer(1, 3), caption]))

    def shown(self, path: Path, words: str, most: float) -> Any:
        """Return a picture across the page, at most a share of it high; ``words`` are for who cannot see it."""
        from PIL import Image as Opened

        from armcarry.views.brief.tagged import Picture

        with Opened.open(path) as opened:
            wide, tall = opened.size
        scale = min(self.width / wide, most * self.height / tall)
        picture = Picture(str(path), wide * scale, tall * scale)
        picture.words = words
        return picture

    def together(self, parts: Sequence[Any]) -> None:
        """Add parts under a rule that stay on one page where they fit on one."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import HRFlowable, KeepTogether

        rule = HRFlowable(width="100%", thickness=1.2, color=HexColor(palette.INK), spaceBefore=0, spaceAfter=4)
        self._story.append(KeepTogether([rule, *parts]))

    def gap(self, points: float) -> None:
        """Add empty space."""
        from reportlab.platypus import Spacer

        self._story.append(Spacer(1, points))

    def new_page(self) -> None:
        """Go on on another page, unless this one is still empty."""
        from reportlab.platypus import CondPageBreak

        self._story.append(CondPageBreak(self.height))

    def write(self) -> None:
        """Lay the pages out and write the file. Raises RecordError."""
        from armcarry.views.brief.tagged import TaggedCanvas

        self._document.afterFlowable = self._outline
        with writing(self._path) as place:
            self._document.filename = str(place)
            self._document.build(
                self._story, onFirstPage=self._mark, onLaterPages=self._mark, canvasmaker=TaggedCanvas
            )

    def _outline(self, drawn: Any) -> None:
        words = getattr(drawn, "outlined", None)
        if words is not None:
            canvas, self._headings = self._document.canv, self._headings + 1
            canvas.bookmarkPage(f"heading {self._headings}")
            canvas.addOutlineEntry(words, f"heading {self._headings}")

    def _mark(self, canvas: Any, document: Any) -> None:
        """Write head and foot of a page: what it is of above, caution left and page number right below."""
        with canvas.artifact():
            self._edges(canvas, document)

    def _edges(self, canvas: Any, document: Any) -> None:
        from reportlab.lib.utils import simpleSplit

        canvas.saveState()
        canvas.setFont(FONT, 7)
        left, base = document.leftMargin + 6, document.bottomMargin - 14
        if canvas.getPageNumber() > 1:  # the first says it in large letters
            above = simpleSplit(self._title, FONT, 7, self.width - 60)[:1]
            canvas.drawString(left, document.height + document.bottomMargin + 3, above[0] if above else "")
        for k, line in enumerate(simpleSplit(self._foot, FONT, 7, self.width - 60)[:2]):
            canvas.drawString(left, base - 9 * k, line)
        canvas.drawRightString(left + self.width, base, str(canvas.getPageNumber()))
        canvas.restoreState()


def _widths(data: Table, shares: Sequence[float], size: float, width: float) -> list[float]:
    """Return the widths of columns: their shares, but what is a time or a figure is not broken over two lines."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    widths = [width * share / sum(shares) for share in shares]
    need = [
        max((stringWidth(row[k], FONT, size) + _PADDING for row in data.rows if _FIGURE.fullmatch(row[k])), default=0.0)
        for k in range(len(widths))
    ]
    least = [max(wide, asked) for wide, asked in zip(widths, need, strict=True)]
    over = sum(least) - width
    free = [wide - asked if wide > asked else 0.0 for wide, asked in zip(widths, need, strict=True)]
    given = sum(free)
    return [wide - (over * spare / given if given > 0 else 0.0) for wide, spare in zip(least, free, strict=True)]


def _cut(words: str, width: float, size: float) -> str:
    """Return the words of a cell cut to what surely fits on a page: no row of a table is divided."""
    most = max(int(_CELL_LINES * (width - 6.0) / (0.7 * size)), 40)
    lines = words.split("\n")[:_CELL_LINES]
    cut = "\n".join(lines)[:most]
    return words if cut == words else f"{cut}…"


def fonts() -> None:
    """Register the fonts that matplotlib carries: they hold every sign we write."""
    import matplotlib
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FONT, BOLD_FONT):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
