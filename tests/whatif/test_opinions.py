"""What other engines say of a run: they are asked about what the proof states, and one that differs fails the run."""

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from armcarry.checks.second_opinion import check
from armcarry.clearance import distance
from armcarry.clearance.second_opinion import BANDS_M, present
from armcarry.cli import app
from armcarry.record.finding import Verdict
from armcarry.record.store import load, save
from armcarry.whatif import opinions
from armcarry.whatif.opinions import with_opinions

ENGINES = [name for name in BANDS_M if present(name)]


def test_engines_agree_about_a_run_and_the_run_folder_keeps_it(short_run, tmp_path):
    record, findings = short_run
    asked = with_opinions(record)
    assert [answer.engine for answer in asked.engines] == list(BANDS_M)
    for answer in asked.engines:
        if answer.present:
            assert len(answer.opinions) == opinions.PAIRS
            assert all(opinion.agrees for opinion in answer.opinions)
            names = {(row.body_a, row.body_b) for row in record.pairs if row.status == "proven"}
            assert {(o.body_a, o.body_b) for o in answer.opinions} <= names
    save(asked, findings, tmp_path / "run")
    assert load(tmp_path / "run")[0].engines == asked.engines


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("wrong_by", [-2.0, 2.0])
def test_a_wrong_bound_in_the_table_is_found(short_run, engine, wrong_by):
    record, _ = short_run
    tightest = min((r for r in record.pairs if r.status == "proven" and r.required_m is not None),
                   key=lambda row: (row.margin_m, row.upper_m))
    off = wrong_by * BANDS_M[engine]
    wrong = replace(tightest, lower_m=tightest.lower_m + off, upper_m=tightest.upper_m + off)
    pairs = tuple(wrong if row is tightest else row for row in record.pairs)
    failed = [f for f in check(with_opinions(replace(record, pairs=pairs))) if f.verdict is Verdict.FAIL]
    assert [(f.subject, f.other) for f in failed if f.message.startswith(engine)] == [(wrong.body_a, wrong.body_b)]


def test_a_pair_that_touches_when_something_is_let_go_is_asked_on_the_side_of_the_proof(short_run):
    record, _ = short_run
    switch = record.phases[1].start_s
    row = next(r for r in record.pairs if r.body_a.startswith("ev1/") and r.body_b.startswith("pump_box/")
               and r.status == "proven")
    bodies = [body.name for body in record.bodies]
    # measured at the end of the first phase, when the box was still in the hands
    before = record.body_poses([switch - 1e-6])[0]
    a, b = bodies.index(row.body_a), bodies.index(row.body_b)
    gap = distance(record.bodies[a].shape, before[a], record.bodies[b].shape, before[b]).upper_m
    held = replace(row, time_s=switch, upper_m=gap, lower_m=gap - 5e-4)
    T_a, T_b = opinions._poses(record, held, a, b)
    assert distance(record.bodies[a].shape, T_a, record.bodies[b].shape, T_b).upper_m == pytest.approx(gap, abs=1e-6)


@pytest.mark.skipif("coal" not in ENGINES, reason="coal is not installed")
def test_the_command_fails_when_an_engine_differs(short_path, tmp_path, monkeypatch):
    true_one = opinions.engine_distance("coal")
    monkeypatch.setattr(opinions, "engine_distance", lambda engine: lambda *pair: true_one(*pair) + 0.01)
    command = ["rehearse", str(short_path), "--out", str(tmp_path / "run"), "--no-views", "--second-opinion", "--json"]
    done = CliRunner().invoke(app, command)
    assert done.exit_code == 1, done.output
    told = [f for f in json.loads(done.stdout)["findings"] if f["check"] == "second_opinion"]
    assert told
    assert {f["verdict"] for f in told if "coal" in f["message"]} == {"fail"}
    assert "its own band" in told[0]["message"]
