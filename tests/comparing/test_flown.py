"""Flown against planned: each step beside its times, from a table or from the replay of a log."""

from dataclasses import replace

import pytest

from armcarry.comparing.flown import against_plan, step_names, times_of_log
from armcarry.errors import RecordError
from armcarry.files.actual import Actual
from armcarry.views.brief.pictures import Pictures, with_flown
from armcarry.views.brief.report import write_report
from armcarry.views.flown import flown_chart, flown_table, flown_words


def test_a_step_is_later_and_longer_by_what_it_was(day_record):
    slot = day_record.plan.schedule.slot("loosen")
    lasts = slot.end_s - slot.start_s
    found = against_plan(day_record, {"loosen": Actual(slot.start_s + 60.0, slot.start_s + 90.0 + lasts, "stiff"),
                                      "take": Actual(slot.end_s + 100.0, None)})
    assert {step.name for step in found} == set(step_names(day_record))
    loosen, take = (next(step for step in found if step.name == name) for name in ("loosen", "take"))
    assert (loosen.late_s, loosen.longer_s) == pytest.approx((60.0, 30.0)) and take.longer_s is None
    row = next(row for row in flown_table(found).rows if row[0] == "loosen")
    assert row[4:] == ("+0:01:00", "+0:00:30", "stiff") and row[1] == "ev1"
    words = flown_words(found)
    assert words.startswith(f"2 of {len(found)} steps have times; the last of them ended +0:01:30 against its plan")
    assert "'loosen' took the most more, +0:00:30" in words
    assert flown_words(against_plan(day_record, {})) == f"0 of {len(found)} steps have times."


def test_the_time_line_shows_both(day_record):
    slot = day_record.plan.schedule.slot("loosen")
    none, one = (flown_chart(against_plan(day_record, made)).axes[0]
                 for made in ({}, {"loosen": Actual(slot.start_s, slot.end_s)}))
    assert len(one.patches) == len(none.patches) + 1
    bars = sum(len(slot.actors) for slot in day_record.plan.schedule.slots)
    assert len(none.patches) == bars
    assert any(bar.get_hatch() for bar in one.patches) and not any(bar.get_hatch() for bar in none.patches)


@pytest.mark.long
def test_a_log_says_when_its_marked_moves_were_flown(short_run):
    record, _ = short_run
    replayed = replace(record, logged=object(), moves=tuple(
        replace(move, start_s=move.start_s + 5.0, end_s=move.end_s + 9.0) for move in record.moves))
    found = against_plan(record, times_of_log(record, replayed))
    assert all((step.late_s, step.longer_s) == pytest.approx((5.0, 4.0)) for step in found)
    with pytest.raises(RecordError, match="replays no log"):
        times_of_log(record, record)
    with pytest.raises(RecordError, match="marks no move of this run"):
        times_of_log(record, replace(replayed, moves=()))


def test_a_log_of_a_day_says_when_its_carries_were_flown(day_record):
    replayed = replace(day_record, logged=object())
    found = {step.name: step for step in against_plan(day_record, times_of_log(day_record, replayed))}
    assert {name for name, step in found.items() if step.start_s is not None} == {"fly_in", "fly_out", "fly_back"}


def test_the_report_tells_it(short_run, tmp_path):
    record, findings = short_run
    steps = against_plan(record, {"short/up": Actual(1.0, 2.0, "a <remark>")})
    pictures = with_flown(Pictures((), ()), steps, tmp_path)
    assert pictures.plots[0].path.name == "flown.png"
    html = write_report(record, findings, pictures, tmp_path / "r.html", flown=steps).read_text(encoding="utf-8")
    assert "Flown against planned" in html and "a &lt;remark&gt;" in html and "Flown beside planned" in html
    bare = write_report(record, findings, Pictures((), ()), tmp_path / "r.html").read_text(encoding="utf-8")
    assert "Flown" not in bare
