"""The briefing of a demo run with a failure and a second worker: a whole job, as a user gets it."""

import re
from pathlib import Path

import numpy as np
import pytest

from armcarry.checks.budget import left_m
from armcarry.comparing.expected import differences
from armcarry.files.places import data_folder
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.rehearsal import judge, rehearse
from armcarry.scene.eyes import scene_cameras
from armcarry.scene.words import plain
from armcarry.views import gl
from armcarry.views.brief import moves
from armcarry.views.brief.write import write_briefing
from armcarry.views.closest import judged
from armcarry.views.cuts import Cut
from armcarry.views.viewpoint import sight

SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}  # points; ISO 216, ANSI Y14.1


@pytest.fixture(scope="module")
def demo():
    record = rehearse(Path(data_folder()) / "scenarios" / "hazard_near_people.yaml")
    return record, judge(record)


@pytest.fixture(scope="module")
def told(demo):
    return moves.cards(demo[0])


#: everybody who has a part in the demo carry
WHO = ("ev1", "arm_operator", "inside_person")


@pytest.fixture(scope="module")
def folder(demo, tmp_path_factory):
    if gl.problem() is not None:
        pytest.skip("no OpenGL here")
    for library in ("pypdf", "pptx", "imageio_ffmpeg"):
        pytest.importorskip(library)
    where = tmp_path_factory.mktemp("briefing")
    cuts = (Cut(1040.0, 1080.0, 160.0), Cut(0.0, 20.0, 80.0, "ev2"))  # a few frames: each takes a tenth of a second
    written = write_briefing(*demo, where, paper="Letter", cuts=cuts)
    assert written.left_out == {}
    assert {path.name for path in where.iterdir()} == {
        "run.html", "run.glb", "run.mp4", "report.html", "report.pdf", "slides.pptx", "pictures", "everybody.pdf",
        "run.vtt", "run_clock.vtt", "script.md",
        *(f"cards_{who}.pdf" for who in WHO), *(f"procedure_{who}.{end}" for who in WHO for end in ("md", "pdf")),
    }
    return where


def test_the_run_gives_the_verdicts_that_its_scenario_states(demo):
    record, findings = demo
    assert record.scene.loaded.scenario.expect
    assert differences(record.scene.loaded.scenario.expect, findings) == ()


def test_nothing_on_paper_is_cut(folder):
    import pypdf

    printed = [f"{kind}_{who}.pdf" for kind in ("cards", "procedure") for who in WHO]
    for name in ("report.pdf", "everybody.pdf", *printed):
        for page in pypdf.PdfReader(folder / name).pages:
            wide, tall = map(float, page.mediabox[2:])
            assert (wide, tall) == pytest.approx(SIZES["Letter"], abs=0.1)
            ends = []

            def visit(text, cm, tm, font, size, ends=ends):
                if text.strip():
                    ends.append((text.strip(), tm[4] * cm[0] + cm[4], tm[5] * cm[3] + cm[5]))

            assert page.extract_text(visitor_text=visit).strip()
            for text, x, y in ends:
                assert 30 < x < wide - 30 and 20 < y < tall - 30, (name, text)


def test_the_report_tells_the_failure_first_and_what_to_do(folder, demo):
    (failed,) = [finding for finding in demo[1] if finding.verdict is Verdict.FAIL]
    html = (folder / "report.html").read_text(encoding="utf-8")
    what_if = html[html.index("<h3>Loads and rates near people</h3>") :]
    first = re.search(r"<tbody>\s*<tr>(.*?)</tr>", what_if, re.DOTALL)[1]
    assert "✕ fail" in first and failed.message[:40] in first and failed.remedy[:20] in first
    assert "1 fail, 0 not assessed" in html
    for heading in ("Uncertainty budget", "Where less is required for a time", "Assumptions", "Provenance"):
        assert f">{heading}</h" in html
    drawn = ("overview", "tightest", "tightest_2", "tightest_3", "worksite_rack_a", "worksite_bay_7", "near_people")
    for name in drawn:
        assert (folder / "pictures" / f"{name}.png").stat().st_size > 10_000, name
    assert html.count("<img") == len(list((folder / "pictures").glob("*.png")))


def test_margins_and_budget_are_those_of_the_table_of_pairs(folder, demo):
    record, _ = demo
    html = (folder / "report.html").read_text(encoding="utf-8")
    rows = (row for row in record.pairs if judged(row) and row.why == "rule")
    kept = min(rows, key=lambda row: left_m(record, row))
    row = re.search(r'<table class="numbers">.*?<tbody>\s*<tr>(.*?)</tr>', html, re.DOTALL)[1]
    cells = re.findall(r"<td>(.*?)</td>", row)
    assert cells[3] == f"{rounded_down(kept.lower_m):.3f}"
    assert float(cells[6]) == rounded_down(left_m(record, kept) * 1e3, 0)


def test_every_slide_is_whole(folder):
    import pptx

    deck = pptx.Presentation(str(folder / "slides.pptx"))
    for slide in deck.slides:
        title = slide.shapes.title
        below = title.top + title.height
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.top >= 0
            assert shape.left + shape.width <= deck.slide_width and shape.top + shape.height <= deck.slide_height
            assert shape.shape_id == title.shape_id or shape.top >= below - 914400 // 10
    kinds = [shape.shape_type for slide in deck.slides for shape in slide.shapes]
    assert kinds.count(pptx.enum.shapes.MSO_SHAPE_TYPE.MEDIA) == 1


def test_the_page_and_the_scene_are_small(folder):
    assert (folder / "run.html").stat().st_size < 8_000_000
    assert (folder / "run.glb").stat().st_size < 8_000_000


def test_a_camera_on_a_card_really_has_the_tip_in_view(demo, told):
    record, _ = demo
    cameras = {camera.title.partition(",")[0]: camera for camera in scene_cameras(record.scene)
               if camera.name.startswith("platform/")}
    named = 0
    for card in told:
        for title in set(card.tip_seen_by) & set(cameras):
            camera = cameras[title]
            for time_s in np.linspace(card.move.start_s, card.move.end_s, 4)[1:-1]:
                tip = record.link_path("arm/tip", time_s)[0, :3, 3]
                eye = record.link_path(camera.link, time_s)[0]
                # hand and restraint show the tip as well; a camera sits in its own bodies
                parts = ("arm/hand", "arm/tip", "restraint/", *(f"{camera.name}_{part}" for part in ("body", "lens")))
                own = [body.name for body in record.bodies if body.name.startswith(parts)]
                assert sight(record, time_s, tip[None], eye[None, :3, 3], own)[0] == 1.0, (title, time_s)
                named += 1
    assert named > 10


def test_cards_agree_with_the_table_of_pairs(demo, told):
    record, _ = demo
    for card in told:
        if card.nearest is None:
            continue
        least = float(card.nearest.value.split()[0])
        proven = min(row.lower_m for row in record.pairs
                     if f"{plain(row.body_a)} – {plain(row.body_b)}" == card.nearest.words)
        # a card measures at instants, to 1e-6 m, and rounds down what it shows
        assert least >= rounded_down(proven - 1e-6)
