"""The procedure as document of record and on paper: all of it, nothing cut, nothing that acts."""

import re

import pytest

from armcarry.procedure.lines import lines
from armcarry.procedure.model import INSIDE
from armcarry.procedure.tasks import procedure
from armcarry.views.brief.procedure_md import plain_text, write_markdown
from armcarry.views.brief.procedure_pdf import write_procedure_pdf
from armcarry.views.brief.sheet import write_sheet

SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}  # points; ISO 216, ANSI Y14.1


@pytest.fixture(scope="module")
def told(day_record):
    return procedure(day_record)


def test_markdown_holds_every_task_with_its_lines(told, tmp_path):
    text = write_markdown(told, "ev2", tmp_path / "a.md").read_text(encoding="utf-8")
    for task in told.of("ev2"):
        assert f"- [ ] **{task.number} {plain_text(task.title)}**" in text
        for line in lines(task, "ev2", told):
            assert plain_text(line.text) in text
    assert text.count("- [ ]") == len(told.of("ev2")) + sum(
        move.concerns("ev2") for task in told.of("ev2") for move in task.moves)
    assert "under say, note, caution, see or if_not" in text


def test_markdown_of_words_from_a_file_does_not_act():
    assert plain_text("<script>a</script> *b* [c](d) | e\n# f") == (
        r"\<script\>a\</script\> \*b\* \[c\](d) \| e \# f"
    )


@pytest.mark.parametrize("size", SIZES)
def test_printed_with_a_box_times_and_room_for_remarks(told, tmp_path, size):
    pypdf = pytest.importorskip("pypdf")
    path = write_procedure_pdf(told, INSIDE, tmp_path / "p.pdf", size)
    reader = pypdf.PdfReader(path)
    words = [page.extract_text() for page in reader.pages]
    flat = re.sub(r"\s+", " ", " ".join(words))
    assert all(tuple(map(float, page.mediabox[2:])) == pytest.approx(SIZES[size], abs=0.1) for page in reader.pages)
    assert flat.count("☐") == sum(1 + len(task.moves) for task in told.tasks)
    assert flat.count("actual ........ to ........") == flat.count("☐")
    assert "remarks" in words[1] and "inside person: a short day" in words[1]  # heads on every page
    assert "! Caution: Hot." in flat and "Was turned tight to: 40.0 N*m" in flat and "clock 7:30:00" in flat
    assert all(len(text.split()) > 30 for text in words)
    assert path.read_bytes() == write_procedure_pdf(told, INSIDE, tmp_path / "q.pdf", size).read_bytes()


@pytest.mark.parametrize(("size", "box"), [("A3", (1190.55, 841.89)), ("Letter", (612.0, 792.0))])
def test_one_sheet_holds_every_task_of_everybody(told, tmp_path, size, box):
    pypdf = pytest.importorskip("pypdf")
    path = write_sheet(told, tmp_path / "all.pdf", size)
    reader = pypdf.PdfReader(path)
    assert all(tuple(map(float, page.mediabox[2:])) == pytest.approx(box, abs=0.1) for page in reader.pages)
    words = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))
    for task in told.tasks:
        columns = sum(task.concerns(actor) for actor in told.actors if actor != INSIDE)
        assert len(re.findall(rf"☐ {task.number} {task.title[:6]}", words)) == columns
    assert f"1 of {len(reader.pages) * (2 if size == 'A3' else 1)}" in words or len(reader.pages) == 1
    places = []
    for page in reader.pages:
        page.extract_text(visitor_text=lambda text, cm, tm, *_: places.append((tm[4], tm[5])) if text.strip() else 0)
    assert all(20 < x < box[0] - 20 and 20 < y < box[1] - 20 for x, y in places)
