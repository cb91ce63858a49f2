"""Rooms of a platform and what a script says of them: frames, what is switched off, and steps, with file and line."""

import shutil

import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.files.places import models_folder, scenarios_folder

ROOM = "rooms: {plume: {kind: thruster, frame: FRAME, radius: 1 m, while_on: jet}}\ncameras:"


@pytest.fixture
def load(tmp_path):
    """Load the first demo carry with a room before the cameras of its platform, and a line more in the script."""

    def change(frame="hatch", script=""):
        copy = tmp_path / "model"
        shutil.copytree(models_folder() / "platforms" / "tern_yard", copy)
        document = copy / "tern_yard.yaml"
        text = document.read_text()
        assert text.count("\ncameras:") == 1
        document.write_text(text.replace("cameras:", ROOM.replace("FRAME", frame), 1))
        path = tmp_path / "script.yaml"
        carry = (scenarios_folder() / "pump_box_to_bay_7.yaml").read_text()
        path.write_text(carry.replace("platform: tern_yard", "platform: model/tern_yard.yaml", 1) + script)
        return load_scenario(path)

    return change


def test_a_room_and_what_is_switched_off_are_read(load):
    loaded = load(script="switched_off: {jet: {}}\n")
    assert loaded.platform.document.rooms["plume"].asked_of == "arm|rider|worker|hardware"
    assert loaded.scenario.switched_off["jet"].after is None


def test_a_frame_that_is_not_there_is_told(load):
    with pytest.raises(InputError, match=r"tern_yard.yaml:\d+.*no link named 'hatsch'"):
        load(frame="hatsch")


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("switched_off: {jett: {}}\n", r"script.yaml:\d+.*no while_on of a room named 'jett'.*jet"),
        ("switched_off: {jet: {after: shut}}\n", r"script.yaml:\d+.*no step of the day named 'shut'"),
    ],
)
def test_what_no_room_speaks_of_and_steps_that_are_not_there_are_told(load, script, words):
    with pytest.raises(InputError, match=words):
        load(script=script)
