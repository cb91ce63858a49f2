"""What a first start says, where it says it, and what is refused before anything long begins."""

import json
import warnings

import pytest
from typer.testing import CliRunner

from armcarry import cli
from armcarry.clearance.ready import WORDS
from armcarry.cli import app
from armcarry.errors import ArmcarryError, RecomputedWarning
from armcarry.files.places import scenarios_folder

SCRIPT = str(scenarios_folder() / "pump_box_to_bay_7.yaml")


@pytest.fixture
def cold(monkeypatch, tmp_path):
    """A machine where nothing is compiled; a rehearsal that begins is noted and ends at once."""
    begun = []

    def begin(*_args, **_options):
        begun.append(True)
        raise ArmcarryError("begun")

    monkeypatch.setattr("armcarry.clearance.jit.compiled_marker", lambda: tmp_path / "marker")
    monkeypatch.setattr("armcarry.rehearsal.rehearse", begin)
    return begun


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_the_first_start_says_that_it_compiles_beside_the_output(cold, options):
    command = ["rehearse", SCRIPT, *options]
    first, second = CliRunner().invoke(app, command), CliRunner().invoke(app, command)
    assert cold == [True, True]
    assert first.stderr.splitlines()[0] == WORDS
    assert WORDS not in first.stdout
    assert WORDS not in second.stderr


@pytest.mark.parametrize(
    ("script", "options", "told"),
    [
        ("absent.yaml", [], "absent.yaml"),
        (SCRIPT, ["--slip", "ride"], "not a slip"),
        (SCRIPT, ["--motion", "absent.csv"], "absent.csv"),
        (SCRIPT, ["--out", "taken"], "exists and is not a run folder"),
    ],
)
def test_what_is_wrong_is_told_before_kernels_compile_and_motion_is_planned(
    cold, monkeypatch, tmp_path, script, options, told
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "letter.txt").write_text("mine")
    result = CliRunner().invoke(app, ["rehearse", script, *options])
    assert told in str(result.exception)
    assert cold == []
    assert WORDS not in result.stderr
    assert not (tmp_path / "marker").exists()


def test_a_rehearsal_says_whether_the_scenario_expected_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    script = str(scenarios_folder() / "unreachable_worksite.yaml")
    told = json.loads(CliRunner().invoke(app, ["rehearse", script, "--no-views", "--json"]).stdout)
    assert told["expected"]["met"] is True and told["expected"]["stated"] > 0
    assert told["expected"]["differences"] == []
    assert told["causes"]["fail"] >= 1
    assert all(item["cause"]["kind"] == "move" for item in told["findings"] if item["check"] == "reach")
    # everything in full, or failures in full and a line a check
    every = CliRunner().invoke(app, ["rehearse", script, "--no-views", "--all"]).stdout
    assert every.count("\npass") + every.count("\nFAIL") + every.count("\nNOT ASSESSED") == len(told["findings"])
    assert "\nAs the scenario expects: " in every


def test_a_result_that_is_worked_out_anew_is_told_in_one_line(monkeypatch, capsys):
    monkeypatch.setattr(cli, "app", lambda **_: warnings.warn("worked out anew", RecomputedWarning))
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        cli.main()
    assert capsys.readouterr().err == "armcarry: worked out anew\n"


def test_a_run_folder_that_is_taken_is_told_before_anything_is_found(monkeypatch, tmp_path):
    found = []
    monkeypatch.setattr("armcarry.planning.left_open.settle", lambda *_args, **_options: found.append(True))
    (tmp_path / "summary.json").write_text("{}")
    result = CliRunner().invoke(app, ["rehearse", SCRIPT, "--out", str(tmp_path)])
    assert "holds a run already" in str(result.exception) + result.output and found == []
