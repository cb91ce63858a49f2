"""Every shipped scenario gives exactly the verdicts it says it gives."""

from pathlib import Path

import pytest

from armcarry.comparing.expected import differences
from armcarry.files.load import load_scenario
from armcarry.files.motion_log import read_motion_log
from armcarry.record.finding import Verdict
from armcarry.rehearsal import judge, rehearse
from armcarry.views import whatifs

FOLDER = Path(__file__).resolve().parents[2] / "scenarios"
SCENARIOS = sorted(FOLDER.glob("*.yaml"))
LOGGED = sorted(path for path in (FOLDER / "logged").glob("*.yaml") if path.with_suffix(".csv").exists())
#: rehearsed by another test, which holds them to what they expect as well
ELSEWHERE = {
    "pump_box_to_bay_7": "tests/test_docs_commands.py", "hazard_near_people": "tests/views/test_brief_demo.py",
}  # fmt: skip
HAZARDS = [path for path in (*SCENARIOS, *LOGGED) if path.stem.startswith("hazard_")]


@pytest.mark.parametrize("path", [path for path in SCENARIOS if path.stem not in ELSEWHERE], ids=lambda path: path.stem)
def test_a_scenario_gives_the_verdicts_it_states(path):
    record = rehearse(path)
    findings = judge(record)
    assert record.scene.loaded.scenario.expect, "a shipped scenario states what it shows"
    assert differences(record.scene.loaded.scenario.expect, findings) == ()


@pytest.mark.parametrize("stem", ELSEWHERE)
def test_a_scenario_that_is_rehearsed_elsewhere_is_held_to_its_verdicts_there(stem):
    assert f"{stem}.yaml" in (text := (FOLDER.parent / ELSEWHERE[stem]).read_text())
    assert "differences(" in text or "As the scenario expects" in text
    assert load_scenario(FOLDER / f"{stem}.yaml").scenario.expect


@pytest.mark.parametrize("path", LOGGED, ids=lambda path: path.stem)
def test_a_logged_motion_gives_the_verdicts_its_scenario_states(path):
    record = rehearse(path, motion=path.with_suffix(".csv"), pieces="cubic")
    assert differences(record.scene.loaded.scenario.expect, judge(record)) == ()


@pytest.mark.parametrize("path", HAZARDS, ids=lambda path: path.stem)
def test_a_hazard_is_found_by_the_check_in_its_name_alone(path):
    expect = load_scenario(path).scenario.expect
    # differences() takes a fail that is not expected for one too many, so no other check may fail
    assert {item.check for item in expect if item.verdict == Verdict.FAIL} == {path.stem.removeprefix("hazard_")}


def test_a_log_in_other_words_gives_the_same_verdicts():
    (path,) = LOGGED
    log = read_motion_log(path.with_name("other_house.csv"), columns=path.with_name("other_house_columns.yaml"))
    record = rehearse(path, motion=log, pieces="cubic")
    assert differences(record.scene.loaded.scenario.expect, judge(record)) == ()
    assert record.logged.passed_over == ("Motor temperature",)


def test_every_what_if_has_its_hazard():
    found = {path.stem.removeprefix("hazard_") for path in HAZARDS}
    assert found >= {*whatifs.CHECKS, "tip_speed"}


def test_scenarios_are_shipped():
    assert len(SCENARIOS) >= 3
