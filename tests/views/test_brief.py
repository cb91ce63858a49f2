import json
import re
import sys
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.requirement import RESTS
from armcarry.checks.seen import watched
from armcarry.errors import InputError, MissingExtraError, RecordError
from armcarry.procedure.model import role
from armcarry.procedure.riding import WORDS, curved, legs
from armcarry.procedure.riding import told as legs_told
from armcarry.procedure.tasks import procedure
from armcarry.record.finding import Finding, Verdict
from armcarry.scene.words import plain
from armcarry.views import gl, words
from armcarry.views.brief import answer, content, moves
from armcarry.views.brief.cards import write_cards
from armcarry.views.brief.deck import write_deck
from armcarry.views.brief.made import Made
from armcarry.views.brief.paper import Paper
from armcarry.views.brief.pictures import draw
from armcarry.views.brief.report import write_report
from armcarry.views.brief.report_pdf import write_report_pdf
from armcarry.views.brief.step_pictures import TaskPicture, draw_tasks
from armcarry.views.brief.write import write_briefing
from armcarry.views.cuts import Cut, read_cut
from armcarry.views.whatifs import WHAT_IFS
from slides_drawn import clashes

SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}  # points; ISO 216, ANSI Y14.1


@pytest.fixture(scope="module")
def pictures(small_run, tmp_path_factory):
    return draw(small_run[0], tmp_path_factory.mktemp("pictures"), small_run[1])


def pages(path):
    """The pages of a PDF, their text and where each piece of it begins."""
    pypdf = pytest.importorskip("pypdf")
    found = []
    for page in pypdf.PdfReader(path).pages:
        places = []

        def visit(text, cm, tm, font, size, places=places):
            if text.strip():
                places.append((text.strip(), tm[4] * cm[0] + cm[4], tm[5] * cm[3] + cm[5], size))

        words = page.extract_text(visitor_text=visit)
        found.append((tuple(map(float, page.mediabox[2:])), words, places))
    return found


def nothing_is_cut(path, size):
    for box, _, places in pages(path):
        assert box == pytest.approx(SIZES[size], abs=0.1)
        for text, x, y, _ in places:
            assert 30 < x < box[0] - 30 and 20 < y < box[1] - 30, text


# -- facts -----------------------------------------------------------------------------------------


def test_a_ride_is_told_in_legs_by_where_the_rider_faces_then(small_run):
    """Swung round by 112 degrees, what is ahead at the start is not what is ahead at the end."""
    record, _ = small_run
    found = legs(record, "ev1", 90.0, 330.0)
    assert curved(found) and len(found) <= 6
    times = np.linspace(90.0, np.nextafter(330.0, 0.0), 240)
    path = record.link_path("ev1/chest", times)
    start = 0
    for leg in found:
        end = min(start + round(leg.lasting_s / (times[1] - times[0])), len(times) - 1)
        felt = np.einsum("tji,tj->i", path[start:end, :3, :3], np.diff(path[start : end + 1, :3, 3], axis=0))
        for word in leg.ways:
            axis = next(k for k, pair in enumerate(WORDS) if word in pair)
            assert (felt[axis] < 0) == (WORDS[axis].index(word) == 1)
        start = end
    ride = next(task for task in procedure(record).tasks if task.name == "swing")
    assert ride.rides == (("ev1", legs_told(found)),)


def test_a_card_holds_the_ends_of_its_move(small_run):
    record, _ = small_run
    cards = moves.cards(record)
    assert [card.move.number for card in cards] == [1, 2, 3, 1, 2, 3]
    swing = cards[3]
    assert np.degrees(swing.start) == pytest.approx([172, -64, 0, 104, -60, 0, 0])
    assert np.degrees(swing.end) == pytest.approx([60, -72, 20, 90, -40, 0, 0])
    assert np.degrees(swing.peak_rates[0]) == pytest.approx(1.5 * 112 / 240)  # a cubic peaks at 1.5 of its mean
    assert swing.frame == "platform/hull" and swing.tip == "restraint/plate"
    tip = record.link_path("restraint/plate", [90.0, 330.0])
    assert np.allclose([swing.tip_start, swing.tip_end], tip)
    times = np.linspace(90, 330, 2001)
    speed = np.linalg.norm(np.diff(record.link_path("restraint/plate", times)[:, :3, 3], axis=0), axis=1) / np.diff(
        times
    )
    assert speed.max() <= swing.tip_speed_m_s <= speed.max() + 2e-3
    assert swing.allowed_m_s == pytest.approx(0.3)
    approach = cards[4]
    assert approach.expected[0].group == "hardware to structure"
    assert approach.nearest.words == "pump box case – bay 7 longeron 1 1"
    assert approach.nearest.value.endswith("(0.300 m required)")
    # the mast's camera turns no head and has 60 x 40 deg: it has the tip in view all through the swing
    assert swing.tip_seen_by == ()  # proven for no camera: the mast looks elsewhere for part of it


def test_who_holds_what_follows_the_phases(small_run):
    first, _, last = (moves.cards(small_run[0])[k].held for k in (0, 1, 3))
    assert first == ("ev1: on the arm (plate)", "pump box: at rack seat")
    assert last == ("ev1: on the arm (plate)", "pump box: held by ev1 (hands)")


def test_margins_carry_their_uncertainty(small_run):
    record, _ = small_run
    row = content.margins(record).rows[0]
    # 233 mm of 300 mm required; hardware has no term of its own, the structure 10 mm of thermal growth
    assert row[:6] == ("pump box case", "bay 7 longeron 1 1", "0:07:38.0", "0.233", "0.300", "-67")
    assert row[6:] == ("-77", "-77")
    relaxed = replace(record.tightest, why="the box meets its seat")
    other = replace(record, pairs=(relaxed,))
    assert content.margins(other).rows == () and content.relaxed_margins(record).rows == ()
    assert content.relaxed_margins(other).rows[0][5:] == ("-67", "the box meets its seat")
    told = content.briefing(record, ())
    assert told.budget.rows[0] == ("Arm positioning", "50", "arm, rider") and len(told.budget.rows) == 2
    assert "judged by the likely uncertainty" in told.budget_words
    assert content.margins(record, 0.0, 100.0).rows[0][2] != "0:07:38.0"


def test_what_failed_stands_first_and_empty_remedies_take_no_room(small_run):
    _, findings = small_run
    table = answer.findings_table(findings[::-1])
    assert [row[0] for row in table.rows] == ["✕ fail", "? not assessed", *["✓ pass"] * 4]
    assert table.columns[-1] == "what to change" and table.rows[0][-1].startswith("slow down")
    passed = [finding for finding in findings if finding.verdict is Verdict.PASS]
    assert answer.findings_table(passed).columns == ("verdict", "check", "at", "what was found")


def test_many_findings_alike_are_counted(small_run):
    many = [Finding("clearance", Verdict.FAIL, f"a{k}", message=f"m{k}", remedy="r") for k in range(60)]
    table = answer.findings_table([*many, *small_run[1]])
    clearance = [row for row in table.rows if row[:2] == ("✕ fail", "clearance")]
    assert len(clearance) == 26 and clearance[-1][3] == "and 36 more of this check in findings.json"
    assert any("no camera was asked for" in row[3] for row in table.rows)


def test_few_of_many_passes_are_told(small_run):
    many = [Finding("relaxation", Verdict.PASS, f"a{k}", message=f"m{k}") for k in range(60)]
    rows = answer.findings_table(many).rows
    assert len(rows) == 9 and rows[-1][3] == "and 52 more of this check in findings.json"


def test_a_carry_in_which_nothing_is_tightest_says_so(small_run, pictures, tmp_path):
    record, findings = small_run
    told = content.briefing(record, findings)
    assert told.carries[0].when.endswith("moves")
    assert replace(told.carries[0], moves=told.carries[0].moves[:1]).when.endswith(", 1 move")
    other = replace(record, pairs=tuple(replace(row, time_s=-1.0) for row in record.pairs))
    html = write_report(other, findings, pictures, tmp_path / "report.html").read_text(encoding="utf-8")
    assert content.NONE_LEAST in html
    path = write_report_pdf(other, findings, pictures, tmp_path / "report.pdf", "A4")
    flat = re.sub(r"\s+", " ", " ".join(words for _, words, _ in pages(path)))
    assert content.NONE_LEAST in flat


def test_hardware_far_off_in_its_seat_is_not_told_as_relaxed(small_run):
    record, _ = small_run
    near, far = (
        replace(record.tightest, required_m=0.0, why=RESTS, lower_m=least, upper_m=least) for least in (0.01, 2.0)
    )
    made = replace(record, pairs=(near, far))
    assert [row[3] for row in content.relaxed_margins(made).rows] == ["0.010"]


def test_assumptions_are_told_file_by_file(small_run):
    told = content.briefing(*small_run)
    assert told.assumed == len(small_run[0].scene.loaded.assumptions) == 1
    assert told.assumptions == (("rules.yaml", content.Table(("number", "assumed"), (("required", "invented"),))),)


def test_the_overall_verdict_is_the_worst():
    made = {v: Finding("a", v, "b", "c") for v in Verdict}
    assert words.overall([made[Verdict.PASS]]) is Verdict.PASS
    assert words.overall([made[Verdict.PASS], made[Verdict.NOT_ASSESSED]]) is Verdict.NOT_ASSESSED
    assert words.overall(list(made.values())) is Verdict.FAIL


def test_restraint_settings_are_counted_in_steps(small_run):
    assert content.restraint_settings(small_run[0]) == (("pitch", "30.0 deg (+2 steps of 15.0 deg)"),)


# -- documents -------------------------------------------------------------------------------------


def test_the_report_holds_everything_and_escapes_it(small_run, pictures, tmp_path):
    record, findings = small_run
    html = write_report(record, findings, pictures, tmp_path / "report.html").read_text(encoding="utf-8")

    class Reader(HTMLParser):
        headings, tags, words, sources = [], set(), [], []

        def handle_starttag(self, tag, attrs):
            self.tags.add(tag)
            self.sources += [value for name, value in attrs if name in ("src", "href")]

        def handle_data(self, data):
            self.words.append(data)

    reader = Reader()
    reader.feed(html)
    text = " ".join(reader.words)
    for heading in (
        "Cautions",
        "Configuration",
        "Pictures",
        "Timeline",
        "Findings",
        "What if",
        "Assumptions",
        "Provenance",
    ):
        assert f"<h2>{heading}</h2>" in html
    for item in WHAT_IFS:  # a part for every check, its plot inside
        part = html.split(f"<h3>{item.title}</h3>")[1].split("<h3>")[0]
        for picture in pictures.of_check(item.check):
            assert f'alt="{picture.words}"' in part
    # nobody can be stranded, near or in the sun in this run: their plots would be empty
    assert [picture.what_if for picture in pictures.what_ifs] == ["stopping", "runaway", "locked_joint", "seen"]
    assert "script" not in reader.tags and "b" not in reader.tags
    inside = [source for source in reader.sources if source.startswith("data:image/png;base64,")]
    assert len(inside) == len(pictures.views) + len(pictures.plots)
    # every other one leads to a part of the same file
    links = [source.removeprefix("#") for source in reader.sources if source not in inside]
    assert len(links) > 8 and all(f'id="{link}"' in html for link in links)
    assert "table.findings td:nth-child(-n+3) { white-space: nowrap" in html  # check and time are not broken by letters
    failed = html.split('<section id="failed">')[1].split("</section>")[0]
    assert failed.count("<tr>") == 2 and "slow down" in failed and html.index('id="failed"') < html.index('id="config')
    for finding in findings:
        assert finding.message in text
    assert "Small carry <script>alert(1)</script>" in text
    assert "1 fail, 1 not assessed, 4 pass" in text and "ab" * 32 in text
    assert "does not replace" in text or "do not replace" in text


def test_cameras_are_told_move_by_move(small_run, pictures, tmp_path):
    record, findings = small_run
    made = (*findings, *(Finding(check, Verdict.PASS, "arm", "looked at") for check in ("seen", "runaway")))
    parts = {part.asked.check: part.more for part in content.briefing(record, made).what_ifs}
    known = {(plain(item.move.title), plain(item.target)) for item in watched(record)
             if item.move.kind not in ("attach", "detach")}
    assert known and {(row[0], row[2]) for row in parts["seen"].rows if "gap of" not in row[2]} == known
    assert parts["runaway"] is None  # this arm does not say how fast a joint can run away
    html = write_report(record, made, pictures, tmp_path / "report.html").read_text(encoding="utf-8")
    assert '<th scope="col">best pair</th>' in html
    write_report_pdf(record, made, pictures, tmp_path / "report.pdf", "A4")
    nothing_is_cut(tmp_path / "report.pdf", "A4")


@pytest.mark.parametrize("size", SIZES)
def test_the_report_prints_on_either_paper(small_run, pictures, tmp_path, size):
    record, findings = small_run
    path = write_report_pdf(record, findings, pictures, tmp_path / "report.pdf", size)
    nothing_is_cut(path, size)
    text = " ".join(words for _, words, _ in pages(path))
    flat = re.sub(r"\s+", " ", text)
    assert "Small carry <script>alert(1)</script>" in flat
    for heading in ("Cautions", "Configuration", "Timeline", "Margins of the whole run", "Findings", "Provenance"):
        assert heading in flat
    assert "✕ fail: 1 fail, 1 not assessed, 4 pass" in flat
    pypdf = pytest.importorskip("pypdf")
    outline = [entry.title for entry in pypdf.PdfReader(path).outline]
    assert outline[:3] == ["What fails", "Configuration", "Timeline"] and outline[-1] == "Provenance"
    assert sum(len(page.images) for page in pypdf.PdfReader(path).pages) == len(pictures.views) + len(pictures.plots)
    assert path.read_bytes() == write_report_pdf(record, findings, pictures, tmp_path / "again.pdf", size).read_bytes()


def test_no_page_is_left_empty_before_a_new_one(tmp_path):
    paper = Paper(tmp_path / "few.pdf", "A4", "Few", "foot")
    paper.text("first")
    paper.new_page()
    paper.new_page()
    paper.text("second")
    paper.write()
    first, second = (words for _, words, _ in pages(tmp_path / "few.pdf"))
    assert "first" in first and "second" in second


@pytest.fixture(scope="module")
def cards_of(small_run, tmp_path_factory):
    """Write the cards of an actor, with the pictures of all tasks, and return their pages."""
    record, findings = small_run
    told, every, folder = procedure(record, findings), moves.cards(record), tmp_path_factory.mktemp("cards")
    drawn = draw_tasks(record, told, every, folder / "tasks")

    def write(actor, size="A4", pictures=drawn):
        path = folder / f"{actor}_{size}_{len(pictures)}.pdf"
        return write_cards(record, told, actor, path, size, told=every, pictures=pictures)

    return SimpleNamespace(write=write, drawn=drawn, told=told)


def flat(path):
    return re.sub(r"\s+", " ", " ".join(words for _, words, _ in pages(path)))


@pytest.mark.parametrize("size", SIZES)
def test_cards_print_on_either_paper(cards_of, size):
    operator, rider = cards_of.write("arm", size), cards_of.write("ev1", size)
    for path in (operator, rider):
        nothing_is_cut(path, size)
    told = flat(operator)
    assert "4 Round the yard to bay 6" in told and "172.0" in told and "Tip speed at most" in told
    assert "look with: Mast camera" in told
    assert "Stops at 0:05:30.0" in told and "-0.0" not in told
    heard = flat(rider)
    assert "30.0 deg (+2 steps of 15.0 deg)" in heard and "You go " in heard and "Say STOP" in heard
    assert "“Pump box in hand <now>.”" in heard and "pump box: held by ev1 (hands)" in heard


def test_everybody_has_a_card_for_each_task_of_theirs_and_no_other(cards_of):
    told = cards_of.told
    for actor in told.actors:
        found = flat(cards_of.write(actor))
        for task in told.tasks:
            heading = f"{task.number} {task.title}"
            assert (heading in found) == (actor == told.reader or task.concerns(actor)), (actor, heading)
    assert "Expected clearance" not in flat(cards_of.write(told.reader))


def test_each_card_has_its_picture_and_the_words_for_it(cards_of, small_run):
    pypdf, drawn = pytest.importorskip("pypdf"), cards_of.drawn
    told = cards_of.told
    mine = [task for task in told.of("ev1") if task.number in drawn]
    assert {task.number for task in told.tasks if task.place_in_script[0]} <= set(drawn)
    reader = pypdf.PdfReader(cards_of.write("ev1"))
    assert sum(len(page.images) for page in reader.pages) == len(mine)
    swing = drawn["4"]
    assert "the way from 0:01:30" in swing.words and "end, 0:05:30" in swing.words and ", closest " in swing.words
    assert swing.path.read_bytes()[:3] == b"\xff\xd8\xff"
    # without anything to draw with, the cards are the same without pictures
    bare, whole = flat(cards_of.write("ev1", pictures={})), flat(cards_of.write("ev1"))
    assert [bare.count(word) for word in ("Say:", "Hear:", "Closest:")] == [
        whole.count(word) for word in ("Say:", "Hear:", "Closest:")]


def test_slides_of_a_day_tell_what_failed_early_and_few_plots_a_carry(small_run, pictures, tmp_path, monkeypatch):
    pptx = pytest.importorskip("pptx")
    record, findings = small_run
    many = [Finding("clearance", Verdict.FAIL, f"a{k}", message=f"m{k}", remedy="r") for k in range(40)]
    monkeypatch.setattr("armcarry.views.brief.deck._CARRIES", 0)
    deck = pptx.Presentation(str(write_deck(record, (*many, *findings), pictures, tmp_path / "slides.pptx")))
    titles = [slide.shapes.title.text_frame.text for slide in deck.slides]
    assert titles[1:5] == [f"What failed: 41, {k} to {k + 6}" for k in (1, 8, 15, 22)]
    words = [shape.text_frame.text for shape in deck.slides[4].shapes if shape.has_text_frame]
    assert "and 13 more in the report" in words
    assert not any(title.startswith("Margins of") for title in titles)
    (carry, *_) = content.carries(record)
    assert sum(title.startswith(f"{carry.title}: ") for title in titles) == 1


def test_slides_show_every_picture_the_movie_and_stay_inside(small_run, pictures, tmp_path):
    pptx = pytest.importorskip("pptx")
    record, findings = small_run
    movie = tmp_path / "run.mp4"
    movie.write_bytes(b"\0" * 100)  # the slides only carry it
    deck = pptx.Presentation(str(write_deck(record, findings, pictures, tmp_path / "slides.pptx", movie)))
    kinds = [shape.shape_type for slide in deck.slides for shape in slide.shapes]
    # all of them once, and the first on the first slide too, beside the answer
    assert kinds.count(pptx.enum.shapes.MSO_SHAPE_TYPE.PICTURE) == len(pictures.views) + len(pictures.plots) + 1
    (hero,) = (shape for shape in deck.slides[0].shapes
               if shape.shape_type == pptx.enum.shapes.MSO_SHAPE_TYPE.PICTURE)  # fmt: skip
    beside = next(shape for shape in deck.slides[0].shapes
                  if shape.has_text_frame and "✕ fail: 1 fail" in shape.text_frame.text)
    assert beside.left + beside.width <= hero.left
    assert kinds.count(pptx.enum.shapes.MSO_SHAPE_TYPE.MEDIA) == 1
    for slide in deck.slides:
        title = slide.shapes.title
        (run,) = title.text_frame.paragraphs[0].runs
        # 0.62 of the size is the mean width of a bold letter of a wide sans; one line, or it lies over the picture
        assert title.text_frame.text and len(run.text) * run.font.size.inches * 0.62 < title.width.inches - 0.2
        assert not re.search(r"at \d+$", run.text)  # an instant is not cut at its colon
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.top >= 0
            assert shape.left + shape.width <= deck.slide_width and shape.top + shape.height <= deck.slide_height
    text = " ".join(shape.text_frame.text for slide in deck.slides for shape in slide.shapes if shape.has_text_frame)
    assert "Small carry <script>alert(1)</script>" in text and "What failed: 1" in text and "Cautions" in text


def test_each_task_has_a_slide_with_its_picture_and_where_in_the_run_it_is(small_run, pictures, tmp_path):
    pptx = pytest.importorskip("pptx")
    from PIL import Image

    made = Made(*small_run)
    leaves = [leaf for task in made.procedure.tasks for leaf in (task.moves or (task,))]
    path, bare = tmp_path / "panels.jpg", leaves[-1]
    Image.new("RGB", (1692, 380)).save(path)
    drawn = {leaf.number: TaskPicture(path, f"seen in {leaf.number}", "") for leaf in leaves if leaf is not bare}
    deck = pptx.Presentation(str(write_deck(*small_run, pictures, tmp_path / "slides.pptx", None, made, drawn)))
    for leaf in leaves:
        (slide,) = (each for each in deck.slides if each.shapes.title.text_frame.text.startswith(f"{leaf.number}  "))
        words = [shape._element.nvPicPr.cNvPr.get("descr") for shape in slide.shapes
                 if shape.shape_type == pptx.enum.shapes.MSO_SHAPE_TYPE.PICTURE]  # fmt: skip
        assert words == ([] if leaf is bare else [f"seen in {leaf.number}"])
        whole, part = [shape for shape in slide.shapes
                       if shape.shape_type == pptx.enum.shapes.MSO_SHAPE_TYPE.AUTO_SHAPE]  # fmt: skip
        start = (leaf.start_s - made.record.motion.start_s) / made.record.duration_s
        assert (part.left - whole.left) / whole.width == pytest.approx(start, abs=5e-3)
        assert part.left + part.width <= whole.left + whole.width + 1
        text = " ".join(shape.text_frame.text for shape in slide.shapes if shape.has_text_frame)
        assert all(role(who) in text for who in leaf.actors) and slide.notes_slide.notes_text_frame.text


def test_nothing_on_a_slide_lies_over_anything_else(small_run, pictures, tmp_path):
    pptx = pytest.importorskip("pptx")
    from PIL import Image

    record, findings = small_run
    long = "a sentence that goes on for as long as one can be in a finding or a step, " * 4
    many = [Finding("clearance", Verdict.FAIL, f"a{k}", message=long, remedy=long) for k in range(20)]
    made = Made(record, (*many, *findings))
    leaves = [leaf for task in made.procedure.tasks for leaf in (task.moves or (task,))]
    drawn = {}
    for k, leaf in enumerate(leaves):  # with one, two and three panels, and without
        path = tmp_path / f"{k % 4}.jpg"
        Image.new("RGB", (566 * (k % 4 or 1) - 6, 380)).save(path)
        drawn |= {leaf.number: TaskPicture(path, "what is seen", "")} if k % 4 else {}
    words = {"do": (long, long, long), "cautions": (long, long), "see": long}
    tasks = tuple(replace(task, **words, moves=tuple(replace(leaf, **words) for leaf in task.moves))
                  for task in made.procedure.tasks)  # fmt: skip
    made.__dict__["procedure"] = replace(made.procedure, tasks=tasks)
    deck = write_deck(record, (*many, *findings), pictures, tmp_path / "slides.pptx", None, made, drawn)
    assert clashes(pptx.Presentation(str(deck))) == []


def test_slides_have_notes_to_speak_from_and_none_says_nothing(small_run, pictures, tmp_path):
    pptx = pytest.importorskip("pptx")
    record, findings = small_run
    passed = [finding for finding in findings if finding.verdict is Verdict.PASS]
    for made in (findings, passed):
        deck = pptx.Presentation(str(write_deck(record, made, pictures, tmp_path / "slides.pptx")))
        titles = [slide.shapes.title.text_frame.text for slide in deck.slides]
        assert any("What failed" in title for title in titles) == (made is findings)
        for slide in deck.slides:
            words = [shape.text_frame.text for shape in slide.shapes if shape.has_text_frame]
            assert "Nothing." not in words
            # more than a title on every one
            assert len([shape for shape in slide.shapes if not shape.has_text_frame or shape.text_frame.text]) > 1
            for shape in slide.shapes:
                if shape.shape_type == pptx.enum.shapes.MSO_SHAPE_TYPE.PICTURE:
                    assert shape._element.nvPicPr.cNvPr.get("descr")
        assert all(slide.has_notes_slide and slide.notes_slide.notes_text_frame.text for slide in deck.slides)
        notes = {title: slide.notes_slide.notes_text_frame.text if slide.has_notes_slide else ""
                 for title, slide in zip(titles, deck.slides, strict=True)}
        carry = next(text for title, text in notes.items() if title.startswith("carry: ") or ": 0:01:30" in title)
        assert "Round the yard to bay 6" in carry and "ev1 goes " in carry


@pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
def test_the_whole_briefing_is_written(small_run, tmp_path):
    pytest.importorskip("imageio_ffmpeg")
    told = []
    written = write_briefing(
        *small_run,
        tmp_path,
        parts=("page", "gltf", "movie", "cards"),
        cuts=(Cut(0.0, 540.0, 540.0),),
        progress=lambda words, share: told.append(share),
    )
    assert [path.name for path in written.files] == [
        "run.html",
        "run.glb",
        "run.mp4",
        "run.vtt",
        "cards_ev1.pdf",
        "cards_arm_operator.pdf",
        "cards_inside_person.pdf",
    ]
    assert all(path.stat().st_size > (50 if path.suffix == ".vtt" else 5000) for path in written.files)
    assert written.left_out == {}
    assert told == sorted(told) and told[-1] == 1.0


def test_what_cannot_be_made_is_left_out_with_the_reason(small_run, tmp_path, monkeypatch):
    monkeypatch.setattr(gl, "problem", lambda: gl.HINT)
    monkeypatch.setitem(sys.modules, "pptx", None)
    written = write_briefing(*small_run, tmp_path, parts=("gltf", "movie", "report", "slides"))
    names = [path.name for path in written.files]
    assert "run.glb" in names and "report.html" in names and "report.pdf" in names
    assert "run.mp4" not in names and "slides.pptx" not in names
    assert "no 3-D picture can be drawn here" in written.left_out["movie"]
    assert "no 3-D picture can be drawn here" in written.left_out["pictures"]
    assert "pip install 'armcarry[brief]'" in written.left_out["slides"]
    assert "Pictures were left out" in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_without_reportlab_it_says_what_to_type(small_run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "reportlab", None)
    monkeypatch.setitem(sys.modules, "reportlab.lib", None)
    with pytest.raises(MissingExtraError, match=r"writing PDF needs reportlab.*armcarry\[brief\]"):
        write_cards(small_run[0], procedure(small_run[0]), "arm", tmp_path / "cards.pdf", told=())


# -- the command -----------------------------------------------------------------------------------


@pytest.fixture
def command(small_run, monkeypatch):
    from typer.testing import CliRunner

    from armcarry.cli import app

    monkeypatch.setattr("armcarry.record.store.load", lambda folder: small_run)
    return lambda *words: CliRunner().invoke(app, ["brief", *map(str, words)])


def test_the_command_writes_what_was_asked_for(command, tmp_path):
    result = command(tmp_path, "--part", "gltf", "--part", "cards", "--paper", "Letter")
    assert result.exit_code == 0, result.output
    assert result.stdout.split() == [
        str(tmp_path / "views" / name) for name in
        ("run.glb", "cards_ev1.pdf", "cards_arm_operator.pdf", "cards_inside_person.pdf")
    ]
    nothing_is_cut(tmp_path / "views" / "cards_ev1.pdf", "Letter")
    told = json.loads(command(tmp_path, "--part", "gltf", "--json").stdout)
    assert told == {"files": [str(tmp_path / "views" / "run.glb")], "left_out": {}}


def test_a_part_that_was_named_and_cannot_be_made_is_an_error(command, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pptx", None)
    monkeypatch.setattr(gl, "problem", lambda: gl.HINT)
    result = command(tmp_path, "--part", "slides")
    assert result.exit_code == 2
    assert "left out: slides: writing slides needs python-pptx" in result.stderr


def test_what_the_command_does_not_know_is_refused(command, tmp_path):
    with pytest.raises(InputError, match="no such part of a briefing; found 'song'; accepted: page, gltf, movie"):
        raise command(tmp_path, "--part", "song").exception
    with pytest.raises(InputError, match="not a cut of a movie; found 'now'"):
        raise command(tmp_path, "--part", "movie", "--cut", "now").exception


def test_a_place_that_cannot_be_written_is_told(small_run, command, tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(RecordError, match=r"cannot write .*taken: File exists"):
        write_briefing(*small_run, tmp_path / "taken", parts=("gltf",))
    (tmp_path / "views" / "run.glb").mkdir(parents=True)
    result = command(tmp_path, "--part", "gltf")
    assert result.exit_code == 2 and "left out: gltf: cannot write " in result.stderr
    assert "run.glb: it is a folder" in result.stderr.replace("\n", " ")


def test_cuts_are_read_with_their_units():
    assert read_cut("400 s to 8 min, 5x, ev1") == Cut(400.0, 480.0, 5.0, "ev1")
    assert read_cut("0 s to 60 s") == Cut(0.0, 60.0, 20.0, "follow")
    assert read_cut("0 s to 60 s, whole") == Cut(0.0, 60.0, 20.0, "whole")
    for text in ("10 to 20", "1.2.3x", "0 s to 5 s, 1.2.3x"):
        with pytest.raises(InputError, match=r"a bare number|not a cut of a movie"):
            read_cut(text)
