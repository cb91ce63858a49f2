"""A folder that is no run, or a damaged one, is refused in words; so is a machine without a display."""

import json
import os
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from armcarry.errors import ArmcarryError, MissingExtraError, RecordError
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Curve
from armcarry.views.player import display, opening, play
from armcarry.views.player.opening import open_run


def test_nothing_there(tmp_path):
    with pytest.raises(RecordError, match=r"gone does not exist; give a run folder or a scenario file"):
        play(tmp_path / "gone")


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "is not a run folder: summary.json is missing"),
        ({"summary.json": "not json"}, "summary.json"),
        ({"summary.json": "[1, 2]"}, "is not a run of format"),
        ({"summary.json": '{"format": "armcarry run 9"}'}, "is not a run of format"),
        ({"summary.json": '{"format": "armcarry run 1"}'}, "no digests"),
        ({"summary.json": '{"format": "armcarry run 1", "digests": {"run.json": "00"}}'}, "run.json is missing"),
        ({"summary.json": '{"format": "armcarry run 1", "digests": {}}'}, "scenario.yaml"),
        ({"summary.json": b"\xff\xfe\x00bad"}, "summary.json"),
        ({"summary.json": '{"format": "armcarry run 1", "digests": {"a\\u0000b": "00"}}'}, "damaged"),
    ],
)
def test_a_folder_that_is_no_run_is_refused_in_words(tmp_path, files, words):
    for name, text in files.items():
        data = text if isinstance(text, bytes) else text.encode()
        (tmp_path / name).write_bytes(data)
    with pytest.raises(ArmcarryError, match=words):
        open_run(tmp_path)


def test_a_name_that_the_system_refuses_is_told(tmp_path):
    with pytest.raises(RecordError, match=r"cannot read .*x: the name is too long"):
        open_run(tmp_path / ("x" * 300))


def test_whatever_goes_wrong_inside_a_folder_becomes_words(tmp_path, monkeypatch):
    def broken(path):
        raise AttributeError("'list' object has no attribute 'pop'")

    monkeypatch.setattr(opening, "load", broken)
    with pytest.raises(RecordError, match=r"is damaged or not a run: AttributeError: 'list' object"):
        open_run(tmp_path)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda r, f: (replace(r, phases=()), f), "cannot be shown: it has no phases"),
        (lambda r, f: (replace(r, curves=(Curve("arm", 0.6, np.zeros(1), np.zeros(0), np.zeros(0)),)), f),
         "cannot be shown: its clearance curve 'arm' has no cells"),
        (lambda r, f: (replace(r, pairs=(replace(r.pairs[0], body_a="x/y"),)), f),
         "cannot be shown: its clearance table names x/y, which its scene does not have"),
        (lambda r, f: (r, (Finding("c", Verdict.PASS, "s", "m", start_s="soon"),)),
         "is damaged or not a run: TypeError"),
    ],
)
def test_a_run_that_cannot_be_shown_is_refused_before_the_window(tmp_path, monkeypatch, small_run, spoil, words):
    monkeypatch.setattr(opening, "load", lambda path: spoil(*small_run))
    with pytest.raises(RecordError, match=words):
        open_run(tmp_path)


def test_a_whole_run_is_opened(tmp_path, monkeypatch, small_run):
    monkeypatch.setattr(opening, "load", lambda path: small_run)
    run = open_run(tmp_path)
    assert run.record is small_run[0] and run.findings == small_run[1]
    assert (run.folder, run.name) == (tmp_path / "views", tmp_path.name)


def test_a_missing_library_says_what_to_type(monkeypatch, tmp_path):
    monkeypatch.setattr(display.importlib.util, "find_spec", lambda name: None if name == "PySide6" else object())
    with pytest.raises(MissingExtraError, match=r"the player window needs PySide6.*pip install 'armcarry\[view\]'"):
        play(tmp_path)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="displays of X and Wayland are those of Linux")
def test_no_display_says_so(monkeypatch, tmp_path):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    for name in ("QT_API", "PYQTGRAPH_QT_LIB", "VTK_DEFAULT_OPENGL_WINDOW"):
        monkeypatch.setenv(name, os.environ.get(name, ""))
    with pytest.raises(ArmcarryError, match=r"needs a display and there is none.*xvfb-run"):
        play(tmp_path)


@pytest.mark.parametrize(
    ("script", "words"),
    [("", display.NO_WINDOW), ("import os; os.abort()", display.NO_WINDOW),
     ("print('window', flush=True); import os; os.abort()", display.NO_OPENGL),
     ("import time; time.sleep(60)", display.NO_WINDOW)],
)
def test_a_trial_that_fails_says_what_to_install(monkeypatch, script, words):
    monkeypatch.setattr(display, "_TRIAL", script)
    with pytest.raises(ArmcarryError) as caught:
        display.Trial().result(patience_s=3.0)
    assert str(caught.value) == words and "apt-get install" in words


@pytest.mark.parametrize(
    ("said", "live"),
    [("drawn", False), ("drawn\nlive OpenGL renderer string: llvmpipe (LLVM 15)", False),
     ("drawn\nlive OpenGL renderer string: GeForce", True)],
)
def test_a_trial_that_draws_tells_a_card_from_a_program(monkeypatch, said, live):
    monkeypatch.setattr(display, "_TRIAL", f"print({said!r})")
    assert display.Trial().result() is live
    stopped = display.Trial()
    stopped.stop()


def test_the_command_ends_with_2_and_one_message(tmp_path):
    (tmp_path / "summary.json").write_text(json.dumps({"format": "other"}))
    done = subprocess.run(
        [sys.executable, "-c", "from armcarry.cli import main; main()", "play", str(tmp_path)],
        capture_output=True, text=True, env={**os.environ, "DISPLAY": ":9999"},
    )
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "is not a run of format 'armcarry run 1'" in done.stderr
