"""PDF that a screen reader follows: what is drawn is tagged, in reading order, pictures with words for them.

ReportLab draws and leaves tags to others; this adds the structure of ISO 32000-1, 14.7 and 14.8, over its canvas: each
paragraph, cell and picture is marked content with a number, and a tree of elements says what each of them is. Head and
foot of a page and its rules are artifacts, which no reader reads aloud.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from reportlab import rl_config
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Image, Paragraph

# pictures and pages as bytes: as letters they are a quarter larger and take seconds
rl_config.useA85 = 0

#: a cell of a table: the numbers of table, row and column, and whether it is of the head
Cell = tuple[int, int, int, bool]


class _Mark(NamedTuple):
    """Something drawn: what it is, the page and its number there, words for it, the cell it stands in."""

    role: str
    page: int
    number: int
    words: str
    cell: Cell | None


class TaggedCanvas(Canvas):  # type: ignore[misc]  # ReportLab has no types
    """A canvas that keeps what is drawn between ``mark`` and writes it as a tree of elements."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        """Open a canvas; the arguments are ReportLab's."""
        super().__init__(*arguments, **{**named, "lang": "en"})
        self._marks: list[_Mark] = []
        self._on_page = 0
        self._inside = False
        self.setViewerPreference("DisplayDocTitle", "true")

    @contextmanager
    def mark(self, role: str, words: str = "", cell: Cell | None = None) -> Iterator[None]:
        """Mark what is drawn meanwhile; inside something that is marked already nothing is marked again."""
        if self._inside:
            yield
            return
        number, self._on_page, self._inside = self._on_page, self._on_page + 1, True
        self._marks.append(_Mark(role, self.getPageNumber(), number, words, cell))
        self._code.append(f"/{role} <</MCID {number}>> BDC")
        yield
        self._code.append("EMC")
        self._inside = False

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """Mark what is drawn meanwhile as nothing that is read."""
        if self._inside:
            yield
            return
        self._inside = True
        self._code.append("/Artifact BMC")
        yield
        self._code.append("EMC")
        self._inside = False

    def showPage(self) -> None:
        """End a page and begin its numbers anew."""
        super().showPage()
        self._on_page = 0

    def save(self) -> None:
        """Write the tree and the file."""
        if self._code:
            self.showPage()
        self._tree()
        super().save()

    def _tree(self) -> None:
        document = self._doc
        pages = list(document.Pages.pages)
        root = pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructTreeRoot")})
        root_ref = document.Reference(root)
        whole, parents = _Element(document, "Document", root_ref), [list[Any]() for _ in pages]
        table: _Element | None = None
        row: _Element | None = None
        cell = whole
        last: Cell | None = None
        for mark in self._marks:
            above = whole
            if mark.cell is not None:
                if table is None or last is None or last[0] != mark.cell[0]:
                    table, row = whole.inside("Table"), None
                if row is None or last is None or last[:2] != mark.cell[:2]:
                    row = table.inside("TR")
                if last is None or last[:3] != mark.cell[:3]:
                    cell = row.inside("TH" if mark.cell[3] else "TD")
                above = cell
            last = mark.cell
            leaf = above.inside(mark.role, mark.words)
            leaf.content["Pg"], leaf.content["K"] = document.Reference(pages[mark.page - 1]), mark.number
            parents[mark.page - 1].append(leaf.ref)
        whole.close()
        numbers: list[Any] = []
        for number, page in enumerate(pages):
            page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]  # ReportLab writes the keys it lists
            page.StructParents = number
            numbers += [number, pdfdoc.PDFArray(parents[number])]
        root.dict |= {
            "K": whole.ref, "ParentTreeNextKey": len(pages),
            "ParentTree": document.Reference(pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(numbers)})),
        }
        document.Catalog.StructTreeRoot = root
        document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})


class _Element:
    """One element of the tree, with those inside it."""

    def __init__(self, document: Any, role: str, parent: Any, words: str = "") -> None:
        self.content: dict[str, Any] = {
            "Type": pdfdoc.PDFName("StructElem"), "S": pdfdoc.PDFName(role), "P": parent,
        }
        if words:
            self.content["Alt"] = pdfdoc.PDFString(words)
        self._document, self._inner = document, list[_Element]()
        self._made = pdfdoc.PDFDictionary(self.content)
        self.content = self._made.dict
        self.ref = document.Reference(self._made)

    def inside(self, role: str, words: str = "") -> _Element:
        """Return a new element in this one, behind those that are there."""
        self._inner.append(_Element(self._document, role, self.ref, words))
        return self._inner[-1]

    def close(self) -> None:
        """Write down what is inside, all the way down."""
        if self._inner:
            self.content["K"] = pdfdoc.PDFArray([each.ref for each in self._inner])
        for each in self._inner:
            each.close()


class Words(Paragraph):  # type: ignore[misc]
    """A paragraph that is tagged where the canvas takes tags."""

    role = "P"
    cell: Cell | None = None

    def drawOn(self, canvas: Any, x: float, y: float, _sW: float = 0) -> None:
        """Draw it, marked."""
        with canvas.mark(self.role, cell=self.cell):
            super().drawOn(canvas, x, y, _sW)


class Picture(Image):  # type: ignore[misc]
    """A picture with words for who cannot see it."""

    words = ""

    def drawOn(self, canvas: Any, x: float, y: float, _sW: float = 0) -> None:
        """Draw it, marked."""
        with canvas.mark("Figure", self.words):
            super().drawOn(canvas, x, y, _sW)
