"""What comes along: found by name from anywhere, listed with its verdict, copied with all it needs."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files import places
from armcarry.files.examples import copy_example, examples
from armcarry.files.load import load_scenario, validate_files


def test_every_shipped_scenario_is_listed_with_purpose_and_verdict():
    found = {one.name: one for one in examples()}
    # an arm, hardware, a series, a log's columns
    others = {"short_travel", "pump_box", "pump_box_there_and_back", "other_house_columns"}
    shipped = {path.stem for path in places.scenarios_folder().rglob("*.yaml")} - others
    assert set(found) == shipped
    assert found["pump_box_to_bay_7"].expected == "passes"
    assert found["hazard_light"].expected == "light fails"
    assert all(len(one.purpose) > 20 for one in found.values())
    assert found["hazard_tip_speed"].motion is not None


#: a carry, a day with what was found for it, another rules document: the rest is like one of them
SOME = ("pump_box_to_bay_7", "day_at_tern_yard", "change_places", "hazard_tip_speed")


@pytest.mark.parametrize(
    "name", [pytest.param(one.name, marks=() if one.name in SOME else pytest.mark.long) for one in examples()]
)
def test_a_copy_needs_nothing_else(name, tmp_path, monkeypatch):
    script, *others = copy_example(name, tmp_path)
    assert script.name == f"{name}.yaml"
    # nothing that came along is looked at any more
    monkeypatch.setattr(places, "models_folder", lambda: tmp_path / "nowhere")
    assert validate_files([script]) == []
    assert load_scenario(script).scenario == load_scenario(script).scenario
    assert {path.relative_to(tmp_path).parts[0] for path in others} <= {"models", "shared", "scenarios"}
    schema = script.read_text().splitlines()[0].partition("$schema=")[2]
    assert (script.parent / schema).is_file()


def test_a_copy_overwrites_nothing(tmp_path):
    first = copy_example("hazard_light", tmp_path)[0]
    first.write_text("mine")
    with pytest.raises(InputError, match=r"something stands here already; accepted: another folder"):
        copy_example("hazard_light", tmp_path)
    assert first.read_text() == "mine"


def test_an_unknown_example_names_the_nearest(tmp_path):
    with pytest.raises(InputError, match="no example named 'hazard_lite'; accepted: hazard_light"):
        copy_example("hazard_lite", tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_scenario_is_found_by_name_anywhere_and_one_s_own_comes_first(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shipped = places.scenarios_folder() / "change_places.yaml"
    assert load_scenario("change_places").path == shipped
    (tmp_path / "change_places.yaml").write_text(shipped.read_text().replace("title: ", "title: my own "))
    assert load_scenario("change_places").scenario.title.startswith("my own ")
    with pytest.raises(InputError, match="no scenario named 'change_place'; accepted: change_places \\(nearest\\)"):
        load_scenario("change_place")


def test_the_command_lists_and_copies(tmp_path):
    listed = CliRunner().invoke(app, ["examples", "--json"])
    assert {one["name"] for one in json.loads(listed.stdout)["examples"]} == {one.name for one in examples()}
    said = CliRunner().invoke(app, ["examples", "hazard_tip_speed", "--to", str(tmp_path / "own")]).stdout
    assert "--motion " in said
    assert (tmp_path / "own" / "scenarios" / "logged" / "hazard_tip_speed.csv").is_file()
    assert "hazard_light" in CliRunner().invoke(app, ["examples"]).stdout
