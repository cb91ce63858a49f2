"""What a script leaves open is found, kept beside it, taken up at once, and told stale when the script changes."""

import json

import numpy as np
import pytest

from armcarry.files.found import path_beside
from armcarry.files.load import load_scenario
from armcarry.planning import left_open
from armcarry.planning.left_open import settle
from armcarry.planning.trial import Base, Trial
from armcarry.scene.build import build_scene

SCRIPT = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
appendages: {radiator_port: stowed, radiator_star: deployed, solar_wing: sloped}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
restraint: {settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: arm}}
hardware: {pump_box: {model: pump_box, at: platform/rack_a_seat}}
start: {at: rack_a}
carries:
  - name: there
    moves:
      - fetch: {what: pump_box}
"""


@pytest.fixture
def script(tmp_path):
    path = tmp_path / "own.yaml"
    path.write_text(SCRIPT)
    return path


def _plate_in_stand(loaded, site):
    scene = build_scene(loaded)
    stand = loaded.platform.document.worksites[site].stand
    return scene.tree.pose_of("restraint/plate", scene.position, relative_to=f"platform/{stand}")


def test_the_arm_starts_where_the_way_in_begins_and_needs_no_move_to_it(script):
    loaded = settle(script)
    plate = _plate_in_stand(loaded, "rack_a")
    assert plate[:3, 3] == pytest.approx((-0.9, 0.0, 0.0), abs=1e-5)
    assert np.allclose(plate[:3, :3], np.eye(3), atol=1e-6)
    assert [move.kind for move in loaded.scenario.carries[0].moves] == ["line", "hold", "attach", "line"]
    assert set(loaded.scenario.start) == set(loaded.arm.document.joints)


def test_what_was_found_is_kept_beside_the_script_and_taken_up_at_once(script, monkeypatch):
    first = settle(script)
    kept = json.loads(path_beside(script).read_text())
    assert kept["told"] == ["the arm starts before rack_a"]
    monkeypatch.setattr(left_open, "_find", lambda *args: pytest.fail("it is found already"))
    again = settle(script)
    assert again.scenario == first.scenario
    roles = {file.role_path: file.data for file in again.inputs}
    assert roles["scenario.found.json"] == path_beside(script).read_bytes()
    script.write_text(SCRIPT.replace("title: t", "title: other words"))
    assert settle(script).scenario.start == first.scenario.start  # words change nothing that is looked at


def test_what_was_found_for_another_state_is_told_and_found_anew(script):
    settle(script)
    script.write_text(SCRIPT.replace("station: 11 m", "station: 10 m"))
    assert load_scenario(script).beside.stale
    told = settle(script).beside.found.document.told
    assert told[0] == "what was found before was for another state of the script or its models, so all is found anew"
    assert not load_scenario(script).beside.stale


def test_a_damaged_file_is_told_with_what_to_do(script):
    path_beside(script).write_text('{"format": "something"}')
    with pytest.raises(Exception, match=r"own\.found\.json:1: not what armcarry found for a script; accepted: "):
        load_scenario(script)


def test_a_setting_of_the_restraint_is_found_with_which_the_arm_reaches(script):
    # at 0 the boots stand on the end of the arm, which then has to come from where the rack stands
    script.write_text(SCRIPT.replace("restraint: {settings: {pitch: 90 deg}}", "restraint: {}"))
    scene = build_scene(load_scenario(script))
    assert not Trial(scene, Base("trolley", 11.0)).reach("rack_a").good
    loaded = settle(script, keep=False)
    settings = loaded.scenario.restraint.settings
    assert Trial(scene, Base("trolley", 11.0), settings).reach("rack_a").good
    assert not path_beside(script).exists()


@pytest.mark.parametrize("at", ["arm", "platform/bay_7_socket"])
def test_settings_that_are_not_said_are_left_open_wherever_the_restraint_begins(script, at):
    day = f"""restraint: {{at: {at}}}
crew: {{ev1: {{posture: carry, at: inside}}}}
day:
  steps:
    - go_out: [ev1]
    - ride: {{to: bay_7}}
"""
    script.write_text(SCRIPT.split("restraint:")[0] + day)
    assert load_scenario(script).beside.open.settings
    script.write_text(SCRIPT.split("restraint:")[0] + day.replace("}\ncrew", ", settings: {pitch: 90 deg}}\ncrew"))
    assert not load_scenario(script).beside.open.settings


def test_the_way_in_is_judged_too_and_says_what_stands_against_it(script):
    scene = build_scene(settle(script))
    trial = Trial(scene, Base("trolley", 11.0))
    there = [(-0.9, 0.0, 0.0), (-0.005, 0.0, 0.0)]
    assert trial.reach("rack_a", [there]).good
    # the same place, but come to along a line that no arm of this length follows
    far = trial.reach("rack_a", [[(-40.0, 0.0, 0.0), (-0.005, 0.0, 0.0)]])
    assert (far.good, far.blocked_by) == (False, "way in")
    assert far.why.startswith("on the way in: ")
