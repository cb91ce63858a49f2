"""How a run and a finding show themselves: on a line, and in a notebook."""

from __future__ import annotations

from armcarry import rehearsal
from armcarry.record.finding import Finding, Verdict


def test_a_record_fits_on_a_line(monkeypatch):
    monkeypatch.setattr(rehearsal, "prove_run", lambda scene, run, tell, **_: ((), ()))
    record = rehearsal.rehearse("unreachable_worksite")
    assert len(repr(record)) < 120
    assert "\n" not in repr(record)
    assert record.scene.loaded.scenario.title in repr(record)
    assert "no pair has a required clearance" in record._repr_html_()


def test_the_tightest_pair_is_shown_in_a_notebook(short_run):
    record, _ = short_run
    shown, row = record._repr_html_(), record.tightest
    assert f"tightest: {row.body_a} to {row.body_b}, " in shown
    assert "required)" in shown


def test_a_finding_is_shown_with_its_remedy_and_nothing_of_it_is_markup():
    shown = Finding("reach", Verdict.FAIL, "a", "1 < 2 & <b>", remedy="<go>")._repr_html_()
    assert shown == "<p><b>fail</b> reach: 1 &lt; 2 &amp; &lt;b&gt;<br><i>&lt;go&gt;</i></p>"
    assert "<i>" not in Finding("reach", Verdict.PASS, "a", "done")._repr_html_()
