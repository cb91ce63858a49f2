"""Cameras of arm and crew: read like a platform's, and told at their line when wrong."""

import math

import pytest

from armcarry.files.load import load_scenario, validate_files
from armcarry.files.model_files import open_model
from armcarry.files.validate import read_any

ARM, CREW = "models/arms/small/small.yaml", "models/crew/body/body.yaml"
EYE = "{{frame: {frame}, horizontal_view: {wide}, vertical_view: 30 deg, pan: {pan}}}"


def _with_camera(world, name, **given):
    text = EYE.format(**{"frame": "tip", "wide": "60 deg", "pan": "[-9 deg, 9 deg]"} | given)
    path = world / name
    path.write_text(path.read_text().rstrip("\n") + f"\ncameras:\n  eye: {text}\n")
    return path, path.read_text().count("\n")


def test_an_arm_may_have_cameras(world):
    path, _ = _with_camera(world, ARM)
    assert validate_files([path]) == []
    camera = open_model(read_any(path)).document.cameras["eye"]
    assert camera.horizontal_view == pytest.approx(math.radians(60))
    assert camera.pan == pytest.approx((-math.radians(9), math.radians(9)))


def test_a_crewmember_may_have_cameras(world):
    path, _ = _with_camera(world, CREW, frame="visor")
    assert validate_files([path]) == []


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        (ARM, {"frame": "tap"}, "no link named 'tap'; accepted: tip (nearest)"),
        (ARM, {"wide": "180 deg"}, "cameras.eye.horizontal_view: outside the accepted range; found '180 deg'"),
        (ARM, {"wide": "0 deg"}, "cameras.eye.horizontal_view: outside the accepted range; found '0 deg'"),
        (CREW, {"frame": "visor", "pan": "[9 deg, 1 deg]"}, "pan: the first angle is above the second"),
        (CREW, {"frame": "vizor"}, "no link named 'vizor'; accepted: visor (nearest)"),
    ],
)
def test_a_wrong_camera_is_told_at_its_line(world, name, given, words):
    path, line = _with_camera(world, name, **given)
    assert any(str(problem).startswith(f"{path}:{line}: {words}") for problem in validate_files([path]))


def _out_of_service(world, pattern):
    script = world / "script.yaml"
    script.write_text(script.read_text().rstrip("\n") + f"\ncameras_off: [{pattern}]\n")
    return script, script.read_text().count("\n")


def test_a_script_says_which_cameras_are_out_of_service(world):
    script, _ = _out_of_service(world, '"platform/*"')
    assert validate_files([script]) == []
    assert load_scenario(script).scenario.cameras_off == ["platform/*"]


def test_what_is_out_of_service_must_be_a_camera(world):
    script, line = _out_of_service(world, "platform/eyes")
    (told,) = validate_files([script])
    assert str(told).startswith(f"{script}:{line}: no camera fits 'platform/eyes'; accepted: platform/eye")
