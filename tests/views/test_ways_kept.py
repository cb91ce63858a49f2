"""Ways on kept beside a run: page and report carry them, and a file that is none is refused."""

from __future__ import annotations

import pytest

from armcarry.cli.base import may_write
from armcarry.errors import InputError, RecordError
from armcarry.views.brief.pictures import Pictures
from armcarry.views.brief.report_pdf import write_report_pdf
from armcarry.views.page.facts import page_facts
from armcarry.views.page.write import page
from armcarry.views.ways_kept import FILE, FOLDER, read_ways, ways_text

TABLES = [("ways on", ("", "way on"), [("0", "come home <now>")]),
          ("0 come home now", ("", "what"), [("found", "proven")])]  # fmt: skip


def kept(folder, text):
    (folder / FOLDER).mkdir(exist_ok=True)
    (folder / FOLDER / FILE).write_text(text, encoding="utf-8")
    return read_ways(folder)


def test_what_is_kept_comes_back_and_nothing_is_none(tmp_path):
    assert read_ways(tmp_path) is None
    found = kept(tmp_path, ways_text("A day: ways on from 2:35", TABLES))
    assert found.title == "A day: ways on from 2:35" and found.page == "ways/ways.html"
    assert [(title, table.columns, list(table.rows)) for title, table in found.tables] == TABLES


@pytest.mark.parametrize("text", [
    "{}", '{"format": "armcarry ways on 1", "title": "x", "tables": [1]}',
    '{"format": "armcarry ways on 1", "title": "x", "tables": [{"title": "t", "columns": ["a"], "rows": [["1", 2]]}]}',
    '{"format": "armcarry ways on 1", "title": "x", "tables": [{"title": "t", "columns": [], "rows": [["1"]]}]}',
])  # fmt: skip
def test_what_is_of_another_form_is_refused(tmp_path, text):
    with pytest.raises(RecordError, match="holds no ways on; accepted: 'armcarry ways on 1' under format"):
        kept(tmp_path, text)


def test_the_page_carries_them_as_text(tmp_path, short_run):
    facts = page_facts(*short_run)
    found = kept(tmp_path, ways_text("A day: ways on", TABLES))
    with_them, without = page(facts, b"", found), page(facts, b"")
    assert "come home &lt;now&gt;" in with_them and 'href="ways/ways.html"' in with_them
    assert 'id="ways"' not in without


def test_the_report_on_paper_carries_them(tmp_path, short_run):
    pypdf = pytest.importorskip("pypdf")
    found = kept(tmp_path, ways_text("A day: ways on", TABLES))

    def text(ways):
        path = write_report_pdf(*short_run, Pictures((), ()), tmp_path / "report.pdf", ways=ways)
        return " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)

    with_them, without = text(found), text(None)
    assert "Ways on when the day goes wrong" in with_them and "come home <now>" in with_them
    assert "ways/ways.html" in with_them and "Ways on when" not in without


def test_the_folder_of_what_is_made_of_a_run_may_be_missing_and_no_other(tmp_path):
    (tmp_path / "run").mkdir()
    views = tmp_path / "run" / "views"
    may_write(views / "ways", None, makes=views)
    for out, makes in ((views / "ways", None), (views / "a" / "ways", views), (tmp_path / "x" / "views" / "ways",
                                                                             tmp_path / "x" / "views")):  # fmt: skip
        with pytest.raises(InputError, match="no such folder to write into"):
            may_write(out, None, makes=makes)
