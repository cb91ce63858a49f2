"""What places say may be come near to, and groups of bodies: asked for with file and line, and spelled out."""

import shutil

import pytest

from armcarry.errors import InputError
from armcarry.files.groups import spelled_out
from armcarry.files.load import load_scenario
from armcarry.files.places import models_folder, scenarios_folder

GROUPS = {"ev1": {"hands": ["glove_*"]}, "ev2": {"hands": ["glove_*"], "feet": ["boot_*"]}, "box": {}}


@pytest.mark.parametrize(
    ("pattern", "spelled"),
    [
        ("ev1/hands", "ev1/glove_*"),
        ("ev*/hands", "ev1/glove_*|ev2/glove_*"),
        ("ev*/feet|box/*", "ev2/boot_*|box/*"),
        ("ev1/feet", "ev1/feet"),
        ("platform/hands", "platform/hands"),
        ("*", "*"),
    ],
)
def test_groups_are_spelled_out(pattern, spelled):
    assert spelled_out(pattern, GROUPS) == spelled


@pytest.fixture
def changed(tmp_path):
    """Load the first demo carry with some text of a shipped model or of the script changed."""

    def load(file, old, new, script_old="", script_new=""):
        root = models_folder()
        text = (root / file).read_text()
        assert old in text
        copy = tmp_path / "model"
        shutil.copytree((root / file).parent, copy)
        (copy / (root / file).name).write_text(text.replace(old, new, 1))
        script = (scenarios_folder() / "pump_box_to_bay_7.yaml").read_text()
        kind = file.split("/")[0]
        key = {"platforms": "platform: tern_yard", "crew": "body: suited", "restraints": "model: foot_restraint"}[kind]
        script = script.replace(key, f"{key.split(':')[0]}: model/{(root / file).name}", 1)
        path = tmp_path / "script.yaml"
        path.write_text(script.replace(script_old, script_new) if script_old else script)
        return load_scenario(path)

    return load


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("who: hands, to:", "who: hnads, to:", ["no group or body 'hnads'", "hands"]),
        ('to: "rack_a_seat_*"', 'to: "rack_q_seat_*"', ["no body of", "fits 'rack_q_seat_*'"]),
        ('to: "rack_a_seat_*", ', "", ["nothing says what may be come near to"]),
        ("seat: rack_a_seat", "seat: rack_a_saet", ["no seat named 'rack_a_saet'", "rack_a_seat"]),
        ("frame: track_from", "frame: track_form", ["no link named 'track_form'"]),
        ('at_least: "0.35 m"', "at_least: 0.35", ["at_least"]),
    ],
)
def test_a_wrong_word_of_a_place_is_told_with_file_and_line(changed, old, new, words):
    with pytest.raises(InputError) as caught:
        changed("platforms/tern_yard/tern_yard.yaml", old, new)
    message = str(caught.value)
    assert "tern_yard.yaml:" in message
    for word in words:
        assert word in message


def test_a_group_of_nothing_is_told(changed):
    with pytest.raises(InputError, match=r"no body of '.*' fits 'glvoe_\*'"):
        changed("crew/suited/suited.yaml", "glove_*", "glvoe_*")


def test_groups_serve_wherever_bodies_are_named(changed):
    loaded = changed(
        "crew/suited/suited.yaml", "format", "format",
        "{check: clearance, verdict: pass}",
        "{check: clearance, verdict: pass, subject: ev*/forearms}",
    )  # fmt: skip
    assert loaded.scenario.expect[0].subject == "ev1/forearm_*"
