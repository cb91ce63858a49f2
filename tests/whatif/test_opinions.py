"""What other engines say of a run: they are asked about what the proof states, and one that differs fails the run."""

import json
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.checks.second_opinion import check
from armcarry.clearance import distance
from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, present
from armcarry.cli import app
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.record.finding import Verdict
from armcarry.record.record import PairRow
from armcarry.record.store import load, save
from armcarry.timeline.run import Phase
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


# -- with an engine of our own, which answers what it is told to ----------------------------------------------


@pytest.fixture
def asked(rider_scene, moving_record, monkeypatch):
    """Ask coal alone, which is 0.25 m for every pair, about rows of a ball and the arm; pybullet's stops are a word."""

    def build(*rows, here=("coal",)):
        balls = [Body(name, "yard", Sphere(0.1), poses.translation((9.0, k, 0.0))) for k, name in enumerate("pq")]
        record = moving_record(rider_scene({}, balls), {}, pairs=rows)
        calls = []
        monkeypatch.setattr(opinions, "present", lambda engine: engine in here)
        monkeypatch.setattr(opinions, "fly_stops", lambda of: ("flown", of is record))
        told = lambda engine: lambda *pair: calls.append((engine, pair)) or 0.25  # noqa: E731
        monkeypatch.setattr(opinions, "engine_distance", told)
        return {answer.engine: answer for answer in opinions.ask_engines(record)}, calls, record

    return build


def _row(upper_m=0.5, body_b="platform/p", status="proven", required_m=0.3, time_s=2.0, lower_m=None):
    return PairRow("arm/hand", body_b, "arm", "structure", 0.0, 10.0, required_m, "rule", status,
                   upper_m - 1e-3 if lower_m is None else lower_m, upper_m, time_s, (0.0,) * 3, (0.0,) * 3)  # fmt: skip


def test_an_engine_is_asked_where_the_two_bodies_are_about_what_the_proof_states(asked):
    found, calls, record = asked(_row(0.4, "platform/q"))
    (opinion,) = found["coal"].opinions
    assert (opinion.engine, opinion.body_a, opinion.body_b, opinion.time_s) == ("coal", "arm/hand", "platform/q", 2.0)
    assert (opinion.theirs_m, opinion.upper_m) == (0.25, 0.4)
    assert opinion.lower_m == pytest.approx(0.4 - opinions.ROUNDING_M)
    ((engine, (shape_a, at_a, shape_b, at_b)),) = calls
    assert engine == "coal" and shape_b == Sphere(0.1)
    names = [body.name for body in record.bodies]
    (placed,) = record.body_poses([2.0])
    assert shape_a == record.bodies[names.index("arm/hand")].shape
    np.testing.assert_array_equal(at_a, placed[names.index("arm/hand")])
    np.testing.assert_array_equal(at_b, placed[names.index("platform/q")])
    (touching,) = asked(_row(0.0, status="contact", lower_m=-np.inf))[0]["coal"].opinions
    assert (touching.lower_m, touching.upper_m) == (0.0, 0.0)


def test_the_tightest_are_asked_about_first_and_no_more_than_so_many(asked):
    rows = [_row(0.5 + 0.01 * k, time_s=float(k % 10)) for k in range(opinions.PAIRS + 3)]
    unasked = [_row(0.1, status=status) for status in ("farther", "intended", "unresolved")]
    found, *_ = asked(*reversed(rows), *unasked, _row(0.1, required_m=None))
    told = [opinion.upper_m for opinion in found["coal"].opinions]
    assert told == pytest.approx([0.5 + 0.01 * k for k in range(opinions.PAIRS)])
    # of two with the same margin that with less room measured
    found, *_ = asked(_row(0.6, lower_m=0.5), _row(0.55, lower_m=0.5))
    assert [opinion.upper_m for opinion in found["coal"].opinions] == [0.55, 0.6]


def test_an_absent_engine_is_told_and_only_one_knows_of_masses(asked):
    found, *_ = asked(_row())
    assert list(found) == list(BANDS_M)
    assert {engine for engine, answer in found.items() if answer.present} == {"coal"}
    assert all(answer == EngineAnswer(engine, False) for engine, answer in found.items() if engine != "coal")
    assert found["coal"].stops == ()
    found, *_ = asked(_row(), here=("coal", "pybullet"))
    assert found["pybullet"].stops == ("flown", True) and found["coal"].stops == ()
    assert len(found["pybullet"].opinions) == 1


def test_where_something_is_let_go_of_the_side_is_taken_that_the_proof_states(rider_scene, moving_record):
    scene = rider_scene({}, held=(Body("box", "base", Sphere(0.1), poses.identity()),))
    away = scene.tree.attach("load", "world", poses.translation((9.0, 0.0, 0.0)))
    record = moving_record(scene, {})
    record = replace(record, phases=(Phase(0.0, 4.0, scene.tree), Phase(4.0, 10.0, away)))
    names = [body.name for body in record.bodies]
    a, b = names.index("load/box"), names.index("ev1/trunk")
    placed = record.body_poses([1.0, 9.0])
    apart = [distance(record.bodies[a].shape, T[a], record.bodies[b].shape, T[b]).upper_m for T in placed]
    assert apart[1] > apart[0] + 1.0
    for side in (0, 1):
        T_a, _ = opinions._poses(record, _row(max(apart[side], 0.0), time_s=4.0), a, b)
        np.testing.assert_allclose(T_a, placed[side][a])
    # at any other instant there is one side alone
    for time_s, side in ((3.999, 0), (4.001, 1), (0.0, 0)):
        T_a, T_b = opinions._poses(record, _row(99.0, time_s=time_s), a, b)
        np.testing.assert_allclose(T_a, placed[side][a])
        np.testing.assert_allclose(T_b, placed[side][b])
