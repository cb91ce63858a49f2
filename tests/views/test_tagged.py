"""A screen reader follows the pages: tags in reading order, tables by row and cell, words for pictures."""

from collections import Counter

import pytest

from armcarry.procedure.tasks import procedure
from armcarry.views.brief.paper import Paper
from armcarry.views.brief.procedure_pdf import write_procedure_pdf
from armcarry.views.brief.sheet import write_sheet
from armcarry.views.table import Table

pypdf = pytest.importorskip("pypdf")


def tree(path):
    """Return role, words and numbers of the marked content of every element, depth first, and the reader."""
    reader = pypdf.PdfReader(path)
    found = []

    def walk(element, above):
        element = element.get_object()
        inner = element.get("/K")
        here = (*above, element["/S"])
        leaf = None if isinstance(inner, list) else (reader.get_page_number(element["/Pg"].get_object()), int(inner))
        found.append((here, str(element.get("/Alt", "")), leaf))
        for one in inner if isinstance(inner, list) else ():
            assert one.get_object()["/P"].get_object() == element
            walk(one, here)

    walk(reader.trailer["/Root"]["/StructTreeRoot"]["/K"], ())
    return found, reader


def marked(page):
    """Return the numbers of the marked content of a page, in the order in which it is drawn, and what is unmarked."""
    numbers, depth, loose = [], 0, 0
    for operands, operator in page.get_contents().operations if hasattr(page.get_contents(), "operations") else (
        pypdf.generic.ContentStream(page["/Contents"], page.pdf).operations
    ):
        if operator in (b"BDC", b"BMC"):
            depth += 1
            if operator == b"BDC":
                numbers.append(int(operands[1]["/MCID"]))
        elif operator == b"EMC":
            depth -= 1
        elif operator in (b"Tj", b"TJ", b"Do") and not depth:
            loose += 1
    assert depth == 0
    return numbers, loose


@pytest.fixture
def picture(tmp_path):
    from PIL import Image

    Image.new("RGB", (40, 20), "red").save(tmp_path / "a.png")
    return tmp_path / "a.png"


def test_everything_that_is_drawn_is_in_the_tree_once_in_reading_order(day_record, tmp_path):
    path = write_procedure_pdf(procedure(day_record), "ev1", tmp_path / "p.pdf")
    found, reader = tree(path)
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en" and root["/MarkInfo"]["/Marked"] and root["/ViewerPreferences"]["/DisplayDocTitle"]
    leaves = [leaf for _, _, leaf in found if leaf is not None]
    assert leaves == sorted(leaves) and len(leaves) == len(set(leaves))
    for number, page in enumerate(reader.pages):
        drawn, loose = marked(page)
        assert drawn == list(range(len(drawn))) and loose == 0
        assert [mcid for at, mcid in leaves if at == number] == drawn
        assert page["/StructParents"] == number
    parents = root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    assert [len(parents[k]) for k in range(1, len(parents), 2)] == [len(marked(page)[0]) for page in reader.pages]


def test_tables_are_told_by_row_and_cell_and_headings_by_their_rank(tmp_path, picture):
    paper = Paper(tmp_path / "a.pdf", "A4", "A", "foot")
    paper.heading("First", 15)
    paper.heading("Below", 12)
    paper.table(Table(("a", "b"), (("1", "2"), ("3", "4"))), (1, 1))
    paper.rows(("x", "y"), [[[paper.paragraph("one"), paper.paragraph("two")], ""]], (1, 1), 8)
    paper.picture(picture, "A red field (ö)")
    paper.write()
    found, _ = tree(tmp_path / "a.pdf")
    roles = Counter(here[-1] for here, _, _ in found)
    assert (roles["/H1"], roles["/H2"], roles["/Table"], roles["/TR"], roles["/TH"]) == (1, 1, 2, 5, 4)
    assert roles["/TD"] == 5  # two paragraphs of one cell are one cell, and an empty one is none
    assert [words for here, words, _ in found if here[-1] == "/Figure"] == ["A red field (ö)"]
    assert all(here[:3] == ("/Document", "/Table", "/TR") for here, _, _ in found if here[-1] in ("/TH", "/TD"))


def test_the_sheet_says_of_each_task_whose_it_is_and_when(day_record, tmp_path):
    found, reader = tree(write_sheet(procedure(day_record), tmp_path / "s.pdf", "Letter"))
    words = [words for _, words, _ in found if words]
    assert any(text.startswith("ev2, 0:00:00: ☐ ") for text in words)
    assert any(text.startswith("arm operator, ") for text in words)
    assert len(reader.pages) >= 1
