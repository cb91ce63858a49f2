"""Plots of late stops, runaway joints and locked joints say what was found, in words as well as in colour."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks import locked_joint, runaway, stopping
from armcarry.record.finding import Finding, Verdict
from armcarry.rehearsal import rehearse
from armcarry.views import palette, sweep_plots
from armcarry.views.whatif_tables import runaways_table
from armcarry.views.whatifs import WHAT_IFS, write_plots
from armcarry.whatif.late_stop import run_outs
from armcarry.whatif.locked_joint import escapes
from armcarry.whatif.runaway_joint import runaways

SCRIPT = """
format: armcarry scenario 1
title: Short
purpose: a rider moves a little
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
restraint: {model: foot_restraint, at: arm, settings: {roll: 0 deg, pitch: 90 deg, yaw: 0 deg}}
crew:
  ev1: {posture: carry, at: arm}
carries:
  - name: short
    moves:
      - {one_joint: {elbow_bend: 100 deg}}
      - {hold: 3 s}
"""


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    path = tmp_path_factory.mktemp("plots") / "short.yaml"
    path.write_text(SCRIPT)
    record = rehearse(path)
    return record, (*stopping.check(record), *runaway.check(record), *locked_joint.check(record))


def words(figure):
    texts = [text.get_text() for axes in figure.axes for text in axes.texts]
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    ticks = [label.get_text() for axes in figure.axes for label in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    return "\n".join([*texts, *titles, *ticks, figure.get_suptitle()])


def test_every_plot_is_written_at_slide_size(judged, tmp_path):
    written = write_plots(WHAT_IFS[:3], *judged, tmp_path).values()
    assert [path.name for path in written] == ["stopping.png", "runaway.png", "locked_joint.png"]
    assert all(path.stat().st_size > 10_000 for path in written)


def test_the_stop_plot_tells_the_greatest_run_out_and_the_verdict(judged):
    record, findings = judged
    text = words(sweep_plots.stopping(record, findings))
    found = run_outs(record)
    assert f"run-out of the tip: {found.runout_m.max():.3f} m at most" in text
    assert f"time to rest: {found.runout_s.max():.1f} s at most" in text
    verdict = next(f.verdict for f in findings if f.check == "stopping")
    assert f"{palette.VERDICTS[verdict][1]} {verdict}" in text


def test_the_map_holds_the_least_room_of_every_joint_and_way(judged):
    record, _ = judged
    found = runaways(record)
    edges, room = sweep_plots.runaway_map(found)
    assert edges[0] == 0.0 and edges[-1] == pytest.approx(record.duration_s)
    for fault in range(len(found.faults)):
        least = min(float(p.leaves.lower_m[p.leaves.fault == fault].min()) for p in found.parts)
        assert room[fault].min() == pytest.approx(least)
    assert np.all(np.isfinite(room))


def test_an_arm_that_does_not_say_how_fast_joints_run_away_is_told_so(judged):
    record, _ = judged
    silent = Finding("runaway", Verdict.NOT_ASSESSED, "arm", "unknown")
    text = words(sweep_plots.runaway(record, [silent]))
    assert "does not say how fast a joint can run away" in text
    assert "? not assessed" in text


def test_every_rider_of_a_day_has_a_panel_of_locked_joints(judged, monkeypatch):
    record, findings = judged
    found = escapes(record)
    other = tuple(replace(item, crew="ev2", kind="none", time_s=item.time_s + 600.0) for item in found)
    monkeypatch.setattr(sweep_plots, "escapes", lambda _: (*found, *other))
    figure = sweep_plots.locked_joint(record, findings)
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert titles[0].startswith("ev1: a way out in") and titles[1] == f"ev2: a way out in 0 of {len(other)} cases"
    assert figure.axes[0].get_yticklabels()[0].get_text() == "shoulder turn"


def test_shades_get_darker_with_less_room_and_red_is_not_the_only_sign(judged):
    levels = [palette.luminance(shade) for shade in sweep_plots._SHADES]
    assert levels == sorted(levels)
    assert palette.luminance(palette.VERMILLION) != pytest.approx(levels[0], abs=0.05)


def test_a_table_tells_the_longest_safe_detection_of_every_joint_and_way(judged):
    record, _ = judged
    table, found = runaways_table(record), runaways(record)
    assert len(table.rows) == len(found.faults) == 14
    for row, safe in zip(table.rows, found.safe_detection_s, strict=True):
        assert row[1] == ("at least 3.00 s" if safe >= 3 else "none" if safe < 0 else f"{safe:.2f} s")
        assert (row[2] == "nothing") == bool(safe >= 3)
