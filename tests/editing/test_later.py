"""What takes longer is computed in a process of its own, of the newest change, and says what it is still about."""

import io
import os
import pickle
import sys
from types import SimpleNamespace

import pytest

from armcarry.checks import registry
from armcarry.editing import Session, later
from armcarry.record.finding import Verdict
from armcarry.rehearsal import judge, rehearse


@pytest.mark.long
def test_every_check_is_told_of_the_newest_change_and_of_no_other(script):
    text = script.read_text()
    script.write_text(text.split("      - name: unbolt", 1)[0])
    session = Session(script, later=True)
    try:
        assert set(session.answer.open) == set(registry())
        assert session.answer.passes is None, "what is not computed yet is no pass"
        session.option((0, 1), "rate", 0.5)
        answer = session.wait(120.0)
        assert answer.open == ()
        assert answer.later.keys() >= registry().keys()
        script.write_text(session.script.written())
        fresh = judge(rehearse(script))
        told = [finding for found in answer.later.values() for finding in found]
        assert sorted(item.message for item in told) == sorted(item.message for item in fresh)
        assert answer.passes is not any(item.verdict is Verdict.FAIL for item in fresh)
    finally:
        session.close()


def test_a_script_that_the_background_cannot_rehearse_leaves_no_check_open_for_ever(tmp_path):
    from armcarry.editing.later import _computed

    (told,) = _computed(7, tmp_path / "none.yaml", "format: armcarry scenario 1\n")
    assert (told.number, told.open) == (7, ())
    assert "none.yaml" in told.problem


def test_a_process_that_ended_is_told_and_what_it_was_about_is_no_pass(script):
    session = Session(script, later=True)
    session._later._process.kill()
    answer = session.wait(60.0)
    assert answer.problem == "the process that computes the checks ended"
    assert (answer.open, answer.passes) == ((), None)
    session.close()


def test_whoever_closes_the_window_leaves_no_traceback(monkeypatch, capfd):
    reads, writes = os.pipe()
    os.close(reads)  # the window is gone
    job = io.BytesIO(pickle.dumps((1, "none.yaml", "")))
    with os.fdopen(writes, "wb") as out:
        monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=job))
        monkeypatch.setattr(sys, "stdout", SimpleNamespace(buffer=out))
        monkeypatch.setattr(os, "nice", lambda by: by)
        monkeypatch.setattr(later, "_computed", lambda *job: iter([job] * 3))
        later.main()
    assert capfd.readouterr().err == ""
