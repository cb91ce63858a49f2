"""The shipped evidence: it agrees, what is planted is found, what was not run counts as nothing."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.evidence import engines, published, verify
from armcarry.evidence.row import AGREES, DIFFERS, NOT_RUN, Row, compared
from armcarry.files.examples import examples
from armcarry.motion.braking import run_out
from armcarry.record.record import Record
from armcarry.rehearsal import rehearse

SHORTEST = "unreachable_worksite"


@pytest.fixture(scope="module")
def example():
    return next(example for example in examples() if example.name == SHORTEST)


@pytest.fixture(scope="module")
def record(example) -> Record:
    return rehearse(example.path)


def test_every_published_value_agrees():
    rows = list(published.published())
    assert len(rows) > 25
    assert [row for row in rows if row.verdict != AGREES] == []
    assert all(row.source and row.ours and row.wanted for row in rows)


def test_a_formula_that_is_off_differs(monkeypatch):
    monkeypatch.setattr(published, "run_out", lambda rate, brake, reaction_s: run_out(rate, brake * 0.9, reaction_s))
    assert {row.name for row in published.published() if row.verdict == DIFFERS} == {"run-out from 70 miles an hour",
        "run-out from 40 miles an hour"}  # fmt: skip


@pytest.mark.parametrize(("ours", "verdict"), [(1.0, AGREES), (1.02, DIFFERS), (float("nan"), DIFFERS)])
def test_numbers_agree_within_their_tolerance_and_no_number_never(ours, verdict):
    assert compared("published value", "it", "somebody", ours, 1.0, 0.01, "m").verdict == verdict


def test_a_scenario_with_other_verdicts_than_it_states_differs(example, record):
    assert verify.verdicts(example, record).verdict == AGREES
    loaded = record.scene.loaded
    wrong = [one.model_copy(update={"verdict": "pass"}) for one in loaded.scenario.expect]
    scene = replace(record.scene, loaded=replace(loaded, scenario=loaded.scenario.model_copy(update={"expect": wrong})))
    found = verify.verdicts(example, replace(record, scene=scene))
    assert found.verdict == DIFFERS and "Not as the scenario expects" in found.ours


def test_an_engine_that_is_not_installed_is_no_agreement(record, monkeypatch):
    monkeypatch.setattr(engines, "find_spec", lambda name: None)
    rows = list(engines.engines(record))
    assert [row.verdict for row in rows] == [NOT_RUN, NOT_RUN]
    assert "pinocchio is not installed here" in rows[1].ours


def test_engines_that_are_installed_place_the_arm_alike(record):
    for row in engines.engines(record):
        assert row.verdict in (AGREES, NOT_RUN), row


def test_nothing_compared_is_no_agreement():
    left = Row("scenario", "a", "b", "left out", "", NOT_RUN)
    assert not verify.Verification((left,), {}, "").agrees
    assert not verify.Verification((left, replace(left, verdict=DIFFERS)), {}, "").agrees
    assert verify.Verification((left, replace(left, verdict=AGREES)), {}, "").agrees


def test_the_digest_is_of_all_that_stands_before_it():
    row = Row("scenario", "a", "b", "c", "d", AGREES)
    told = verify.Verification((row,), {"python": "3"}, "0").as_dict()
    assert told.pop("sha256") == verify.digest_of(told)
    other = verify.Verification((replace(row, ours="x"),), {"python": "3"}, "0").as_dict()
    assert verify.digest_of(told) != other["sha256"]


def test_a_changed_model_changes_the_digest_of_the_data(tmp_path):
    for part in ("models", "scenarios", "shared"):
        (tmp_path / part).mkdir()
    (tmp_path / "models" / "a.yaml").write_text("x: 1 m")
    first = verify.data_digest(tmp_path)
    (tmp_path / "models" / "a.yaml").write_text("x: 2 m")
    assert verify.data_digest(tmp_path) != first


@pytest.mark.parametrize("planted", [False, True])
def test_the_command_writes_what_came_of_it_and_a_page_to_sign(planted, tmp_path, monkeypatch):
    monkeypatch.setattr(verify, "SHORT", (SHORTEST,))
    if planted:
        monkeypatch.setattr(verify, "published", lambda: [compared("published value", "it", "x", 1.0, 2.0, 0.1)])
    done = CliRunner().invoke(app, ["verify", "--out", str(tmp_path / "v")])
    assert done.exit_code == int(planted), done.output
    told = json.loads((tmp_path / "v" / "verification.json").read_text())
    page = (tmp_path / "v" / "verification.md").read_text()
    assert told["agrees"] is not planted and told["counts"][DIFFERS] == int(planted)
    assert f"| verdicts of {SHORTEST} |" in page and told["sha256"] in page and told["sha256"] in done.output
    assert "Signature: ____" in page and ("NOT AS SHIPPED" in page) is planted
    left = [row["name"] for row in told["rows"] if row["verdict"] == NOT_RUN]
    assert f"verdicts of {verify.ASKED}" in left and f"verdicts of {SHORTEST}" not in left
    assert any("--all" in row["ours"] for row in told["rows"])
