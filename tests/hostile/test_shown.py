"""One set of hostile texts, sent in a run folder, shown by everything that shows a run."""

import hashlib
import itertools
import json
import os
import re
import shutil
import struct
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from armcarry.record.finding import Finding, Verdict
from armcarry.record.store import load, save
from armcarry.texts import LONGEST, printable, shown
from long_carry import short_carry

TEXTS = {
    "control": "\x1b[2J\x1b]0;owned\x07\x9b31m\x00\x7f",
    "script": "<script>alert(1)</script></title><img src=x onerror=alert(1)>",
    "markup": "<b>bold</b> &amp; <a href='file:///etc'>x</a> ]]><!--",
    "terminal markup": "[bold red]x[/bold red] [/] :skull: [link=file:///]y",
    "right to left": "\u202egnp.exe\u2066 \u200f\u061c",
    "hidden": "a\u200bb\ufeffc\u2028d\u2029e\u00ad",
    "mathematics": "$\\frac{a$ $ %s %(a)s {0} {a!r} {{ 7*7 }} {% raw %}",
    "lines": "a\nb\rc\td",
    "long": "x" * 20_000,
    "blank": "\u3000\u00a0",
}


@pytest.fixture(scope="module")
def sent_folder(short_run, tmp_path_factory):
    """The folder of a run whose findings, moves and reasons are hostile texts."""
    folder = tmp_path_factory.mktemp("sent") / "run"
    record, _ = short_run
    findings = [
        Finding(text, Verdict.FAIL, text, text, other=text, unit=text, remedy=text) for text in TEXTS.values()
    ]
    moves = [replace(move, say=text, words=text, name=text)
             for move, text in zip(record.moves, [*TEXTS.values()] * len(record.moves), strict=False)]
    save(replace(record, moves=tuple(moves), judged=dict(record.results())), findings, folder)
    path = folder / "scenario" / "scenario.yaml"
    title = " ".join(TEXTS[kind] for kind in TEXTS if kind not in ("long", "lines"))
    path.write_text(re.sub("^title: .*$", lambda _: f"title: {json.dumps(title)}", path.read_text(), flags=re.M))
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    manifest = json.loads((folder / "scenario" / "inputs.json").read_text())
    manifest["sha256"]["scenario.yaml"] = digest
    (folder / "scenario" / "inputs.json").write_text(json.dumps(manifest))
    summary = json.loads((folder / "summary.json").read_text())
    summary["digests"]["scenario/scenario.yaml"] = digest
    inputs = (folder / "scenario" / "inputs.json").read_bytes()
    summary["digests"]["scenario/inputs.json"] = hashlib.sha256(inputs).hexdigest()
    (folder / "summary.json").write_text(json.dumps(summary))
    return folder


@pytest.fixture(scope="module")
def sent(sent_folder):
    return load(sent_folder)


def plain(text):
    """Ask that text steers nothing, hides nothing and is not endless."""
    return all(line.isprintable() for line in text.split("\n"))


@pytest.mark.parametrize("kind", list(TEXTS))
def test_a_text_is_made_safe_and_keeps_what_is_plain(kind):
    text = shown(TEXTS[kind])
    assert plain(text) and len(text) <= 6 * LONGEST
    assert shown(text) == text
    assert printable(TEXTS[kind]).isprintable()
    assert shown("Grüße, 10 m ± 2°, 漢字\nnext") == "Grüße, 10 m ± 2°, 漢字\nnext"


def test_what_is_read_is_safe_already(sent):
    record, findings = sent
    texts = [record.scene.loaded.scenario.title, *(move.say for move in record.moves), *(f.message for f in findings)]
    assert len(findings) == len(TEXTS)
    assert all(map(plain, texts)) and max(map(len, texts)) <= LONGEST


def test_the_terminal(sent, capsys, tmp_path):
    from armcarry.record.store import summarise
    from armcarry.views.terminal import Console

    record, findings = sent
    console = Console()
    console.findings(record, findings, summarise(record, findings), tmp_path)
    console.table("[red]t[/red]", ("[a]", "b"), [(finding.message, finding.check) for finding in findings])
    told = capsys.readouterr().out
    assert plain(told)
    assert "[bold red]x" in told and ":skull:" in told


def test_an_error_with_a_name_from_a_file():
    from armcarry.errors import FrameError, InputError, RecordError

    for text in TEXTS.values():
        for error in (RecordError(text), FrameError("link", text, [text]), InputError(text, found=text, accepted=text)):
            assert str(error).isprintable()


def test_the_page_and_the_report(sent, tmp_path):
    from armcarry.views.brief.pictures import Pictures
    from armcarry.views.brief.report import write_report
    from armcarry.views.page.write import in_script

    record, findings = sent
    html = write_report(record, findings, Pictures((), (), "none"), tmp_path / "report.html").read_text()
    data = in_script([finding.as_dict() for finding in findings])
    for text in (html, data):
        assert plain(text.replace("\t", " "))
        assert "<script>alert" not in text and "<img src=x" not in text and "<a href='file" not in text
    assert not re.search(r"[<>&]", data)


def test_paper_and_slides(sent, tmp_path):
    pptx, pypdf = pytest.importorskip("pptx"), pytest.importorskip("pypdf")
    from armcarry.views.brief.deck import write_deck
    from armcarry.views.brief.pictures import Pictures
    from armcarry.views.brief.report_pdf import write_report_pdf

    record, findings = sent
    none = Pictures((), (), "none")
    pdf = pypdf.PdfReader(write_report_pdf(record, findings, none, tmp_path / "report.pdf"))
    assert "<script>alert(1)" in pdf.pages[0].extract_text().replace("\n", "")
    assert "/JavaScript" not in str(pdf.trailer["/Root"]) and len(pdf.pages) < 200
    deck = pptx.Presentation(str(write_deck(record, findings, none, tmp_path / "slides.pptx")))
    words = [shape.text_frame.text for slide in deck.slides for shape in slide.shapes if shape.has_text_frame]
    assert any("<script>alert(1)" in text for text in words)
    assert all(plain(text.replace("\x0b", "\n")) for text in words)


def test_pictures_and_movies(sent):
    from armcarry.views.annotate import Sheet

    record, _ = sent
    sheet = Sheet(np.zeros((360, 640, 3), np.uint8))
    for move in record.moves:
        sheet.title(move.say, move.title)
        sheet.caption([move.say, move.title])
        sheet.label((300, 200), move.say[:300])
    assert sheet.pixels().any()
    from armcarry.views import plots

    assert plots.clearance(record) is not None and plots.joint_angles(record) is not None


def test_names_in_gltf(sent):
    from armcarry.views.gltf import glb

    content = glb(sent[0])
    (length,) = struct.unpack_from("<I", content, 12)
    scene = json.loads(content[20 : 20 + length])
    names = [one["name"] for part in ("scenes", "nodes", "cameras") for one in scene.get(part, [])]
    assert "<script>" in scene["scenes"][0]["name"]
    assert all(map(plain, names))


#: what a window may hold of a text that looks like markup: as text, not as markup
_MARKUP = re.compile(r"<(script|img|b>bold|a href='file)", re.IGNORECASE)
_WINDOWS = """
import json, re, sys
from pathlib import Path
from armcarry.views.player import display
display.prepare()
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLabel, QListWidget, QTableWidget
from armcarry.views.player.opening import open_run

folder, tries, script = map(Path, sys.argv[1:4])
run = open_run(folder)

TAG = re.compile('<[a-zA-Z/!]')  # stricter than Qt, which looks at the first tag alone

def told(window):
    'Return what the window shows as text and what it shows as markup.'
    plain, rich = [window.windowTitle()], []
    for widget in [window, *window.findChildren(object)]:
        if isinstance(widget, QLabel):
            text, form = widget.text(), widget.textFormat()
            as_rich = form == Qt.TextFormat.RichText or (form == Qt.TextFormat.AutoText and TAG.search(text))
            (rich if as_rich else plain).append(text)
        if isinstance(widget, (QAbstractButton, QComboBox)):
            plain.append(widget.text() if isinstance(widget, QAbstractButton) else widget.currentText())
        tips = [widget.toolTip()] if hasattr(widget, "toolTip") and callable(widget.toolTip) else []
        if isinstance(widget, QComboBox):
            plain += [widget.itemText(k) for k in range(widget.count())]
        if isinstance(widget, QListWidget):
            items = [widget.item(k) for k in range(widget.count())]
            plain += [item.text() for item in items]
            tips += [item.toolTip() for item in items]
        if isinstance(widget, QTableWidget):
            items = [widget.item(r, c) for r in range(widget.rowCount()) for c in range(widget.columnCount())]
            plain += [item.text() for item in items if item is not None]
            tips += [item.toolTip() for item in items if item is not None]
        for tip in tips:
            (rich if TAG.search(tip) else plain).append(tip)
    return {"plain": plain, "rich": rich}

from armcarry.views.player.app import open_window
window = open_window(run, None)
seen = []
for finding in run.findings:
    window.scene.show_finding(finding)
for time_s in (0.0, run.record.duration_s / 2, run.record.duration_s):
    window.seek(time_s)
    QApplication.processEvents()
    seen.append(told(window))
for _ in run.findings:
    window.act("finding_on")
    QApplication.processEvents()
    seen.append(told(window))
window.close()

from armcarry.handfly.cockpit import Cockpit, course_of
from armcarry.handfly.keys import read_keys
from armcarry.views.handfly.window import open_window as open_by_hand
by_hand = open_by_hand(Cockpit(course_of(folder), tries), read_keys(None))
by_hand.say(run.findings[1].message)
QApplication.processEvents()
seen.append(told(by_hand))
by_hand.close()

from armcarry.editing import Session
from armcarry.views.editing.dialogs import Difference
from armcarry.views.editing.window import open_window as open_script
session = Session(script, journal=tries / "changes")
changing = open_script(session)
for row in range(changing.moves.count()):
    changing.moves.setCurrentRow(row)
    QApplication.processEvents()
    seen.append(told(changing))
session.remove((0, 0))
dialog = Difference(changing, session.difference(), others=False)
seen.append({"plain": dialog.text.toPlainText().splitlines(), "rich": []})
changing.close()
print(json.dumps(seen))
"""


def hostile_script():
    """Return a carry whose own words and comments are hostile texts."""
    texts = itertools.cycle(text for kind, text in TEXTS.items() if kind not in ("long", "blank"))
    title = json.dumps(" ".join(text for kind, text in TEXTS.items() if kind != "long"))
    text = re.sub("^title: .*$", lambda _: f"title: {title}", short_carry(), flags=re.M)
    text = re.sub(r"(?<=say: )[^,}\n]+", lambda _: json.dumps(next(texts)), text)
    comments = "".join(f"      # {TEXTS[kind]}\n" for kind in ("script", "right to left"))
    return text.replace("    moves:\n", f"    moves:\n{comments}", 1)


@pytest.mark.long
@pytest.mark.skipif(shutil.which("Xvfb") is None, reason="Xvfb is not installed; on Debian: apt-get install xvfb")
def test_the_windows(sent_folder, display, tmp_path):
    script = tmp_path / "script.yaml"
    script.write_text(hostile_script(), encoding="utf-8")
    for library in ("PySide6", "pyvistaqt", "pyqtgraph"):
        pytest.importorskip(library, reason=f"{library} of the extra 'view' is not installed")
    env = {name: value for name, value in os.environ.items() if name not in ("WAYLAND_DISPLAY", "QT_QPA_PLATFORM")}
    done = subprocess.run(
        [sys.executable, "-c", _WINDOWS, *map(str, (sent_folder, tmp_path / "try", script))],
        env={**env, "DISPLAY": display},
        capture_output=True, text=True, timeout=200,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    seen = json.loads(done.stdout.splitlines()[-1])
    texts = [text for one in seen for text in one["plain"]]
    assert any("<script>alert(1)" in text for text in texts)  # told as it is
    assert [text for text in texts if not plain(text)] == []
    assert [text for one in seen for text in one["rich"] if _MARKUP.search(text)] == []
    assert "ERR" not in done.stderr and "rror" not in done.stderr, done.stderr
