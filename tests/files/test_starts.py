"""New files to fill in: commented, in order as they stand, and a run of nothing but new files passes."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

from armcarry import rehearsal
from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files.starts import FOLDERS, write_new
from armcarry.files.yaml_text import read_yaml


@pytest.mark.parametrize("kind", sorted(FOLDERS))
def test_a_new_file_is_in_order_commented_and_led_by_its_schema(kind, tmp_path):
    document, *others = write_new(kind, "own", tmp_path)
    assert rehearsal.validate([document]) == []
    lines = document.read_text().splitlines()
    schema = lines[0].partition("$schema=")[2]
    assert (document.parent / schema).resolve() == others[-1].resolve()
    assert "assumption" in lines[1]
    data = read_yaml(document).data
    for key in data:
        before = lines[next(k for k, line in enumerate(lines) if line.startswith(f"{key}:")) - 1]
        assert before.startswith("# "), key


def test_every_key_that_is_left_out_is_shown_with_its_example(tmp_path):
    (document, *_) = write_new("rules", "own", tmp_path)
    text = document.read_text()
    assert "# -- what may be said too" in text.splitlines()
    assert "# between_moves: 8 s" in text
    with document.open("a") as file:
        file.write("between_moves: 8 s\n")
    assert rehearsal.validate([document]) == []


RIDER = """restraint: {model: plate, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {body: suit, posture: carry, at: arm}}
hardware: {box: {model: crate, at: platform/bench_seat}}
carries:"""


def test_a_run_of_nothing_but_new_files_passes(tmp_path):
    for kind, name in (("arm", "reach"), ("platform", "deck"), ("crew", "suit"), ("hardware", "crate"),
                       ("restraint", "plate"), ("rules", "ours")):  # fmt: skip
        write_new(kind, name, tmp_path)
    named = {"platform": "deck", "arm": "reach", "rules": "ours"}
    script = write_new("scenario", "trial", tmp_path, named)[0]
    script.write_text(script.read_text().replace("carries:", RIDER, 1))
    assert rehearsal.validate([script]) == []
    findings = rehearsal.judge(rehearsal.rehearse(script))
    assert [finding.message for finding in findings if finding.verdict == "fail"] == []


BROUGHT = """format: armcarry scenario 1
title: over
purpose: from one worksite of a new platform to the other, meant in one line
platform: deck
arm: reach
rules: ours
restraint: {at: arm}
crew: {ev1: {body: suit, posture: carry, at: arm}}
hardware: {box: {model: crate, at: platform/bench_seat}}
start: {at: bench}
carries:
  - {name: over, moves: [{bring: {what: box, to: shelf}}]}
"""


@pytest.mark.long
def test_a_carry_from_one_new_worksite_to_the_other_is_found_and_passes(tmp_path):
    for kind, name in (("arm", "reach"), ("platform", "deck"), ("crew", "suit"), ("hardware", "crate"),
                       ("rules", "ours")):  # fmt: skip
        write_new(kind, name, tmp_path)
    script = tmp_path / "over.yaml"
    script.write_text(BROUGHT)
    findings = rehearsal.judge(rehearsal.rehearse(script))
    assert [finding.message for finding in findings if finding.verdict == "fail"] == []
    assert {finding.check for finding in findings if finding.verdict == "not_assessed"} == {"light"}


def test_a_scenario_of_own_models_gets_rules_of_its_own_and_passes(tmp_path):
    write_new("arm", "reach", tmp_path)
    write_new("platform", "deck", tmp_path)
    script, *written = write_new("scenario", "trial", tmp_path, {"platform": "deck", "arm": "reach"})
    assert tmp_path / "models" / "rules" / "trial" / "trial.yaml" in written
    findings = rehearsal.judge(rehearsal.rehearse(script))
    assert [finding.message for finding in findings if finding.verdict == "fail"] == []
    second = write_new("scenario", "second", tmp_path, {"arm": "reach", "platform": "deck"})[0]
    assert "rules: second" in second.read_text()


def test_a_new_scenario_fits_the_models_it_is_given(tmp_path):
    script = write_new("scenario", "demo", tmp_path)[0]
    data = read_yaml(script).data
    assert data["base"]["mount"] == "trolley"
    assert data["base"]["station"].endswith(" m")
    assert data["carries"][0]["moves"][1]["one_joint"] == {"shoulder_turn": "10 deg"}
    assert rehearsal.validate([script]) == []


@pytest.mark.parametrize("name", ["Own", "own arm", "9own", "", "a/b", "x" * 60])
def test_a_name_that_no_scenario_could_write_is_refused(name, tmp_path):
    with pytest.raises(InputError, match="not an accepted name"):
        write_new("arm", name, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten(tmp_path):
    document = write_new("hardware", "own", tmp_path)[0]
    document.write_text("mine")
    with pytest.raises(InputError, match=r"own\.yaml: something stands here already; accepted: another name"):
        write_new("hardware", "own", tmp_path)
    assert document.read_text() == "mine"


def test_the_command_says_what_to_type_next(tmp_path):
    run = CliRunner()
    said = run.invoke(app, ["new", "arm", "reach", "--to", str(tmp_path)]).stdout
    assert f"Now type: armcarry validate {tmp_path / 'models' / 'arms' / 'reach' / 'reach.yaml'}" in said
    script = ["new", "scenario", "trial", "--arm", "reach", "--to", str(tmp_path)]
    assert f"Now type: armcarry rehearse {tmp_path / 'trial.yaml'}" in run.invoke(app, script).stdout
    refused = run.invoke(app, ["new", "arm", "other", "--arm", "reach", "--to", str(tmp_path)])
    assert "--arm goes with a scenario" in str(refused.exception)
    refused = run.invoke(app, ["new", "scenario", "other", "--arm", "rech", "--to", str(tmp_path)])
    assert "no model named 'rech' among arms; accepted: reach (nearest)" in str(refused.exception)


BRING = """restraint: {}
crew: {ann: {body: suit, posture: carry, at: arm}}
hardware: {box: {model: box, at: platform/bench_seat}}
carries:
- name: there
  moves:
  - {fetch: {what: box}}
  - {place: {what: box, at: bench}}
"""


def test_work_at_the_new_bench_by_intent_passes_with_all_the_rest_left_open(tmp_path):
    for kind, name in (("arm", "reach"), ("platform", "deck"), ("crew", "suit"), ("hardware", "box")):
        write_new(kind, name, tmp_path)
    script = write_new("scenario", "trial", tmp_path, {"platform": "deck", "arm": "reach"})[0]
    text = script.read_text()
    script.write_text(text[: text.index("base:")] + BRING)
    findings = rehearsal.judge(rehearsal.rehearse(script))
    assert [finding.message for finding in findings if finding.verdict == "fail"] == []
    rules = read_yaml(tmp_path / "models" / "rules" / "trial" / "trial.yaml").data
    assert ["arm/hand", "restraint/foot_*"] in [one["bodies"] for one in rules["intended_contact"]]


#: an arm of eight joints out of the new one: it slides up at its foot, and its far boom twists
SLIDES = '''<joint name="slide" type="prismatic"><origin xyz="0 0 0.4"/><parent link="base"/><child link="sled"/>
    <axis xyz="0 0 1"/><limit lower="0" upper="1" effort="100" velocity="0.05"/></joint>
  <joint name="turn" type="revolute"><origin xyz="0 0 0.2"/><parent link="sled"/>'''
TWISTS = '''<joint name="twist" type="revolute"><origin xyz="4 0 0"/><parent link="far_boom"/><child link="twisted"/>
    <axis xyz="1 0 0"/><limit lower="-2.8" upper="2.8" effort="100" velocity="0.1"/></joint>
  <joint name="wrist_lift" type="revolute"><origin xyz="0 0 0"/><parent link="twisted"/>'''
OWN = {
    '<link name="turret"/>': '<link name="sled"/><link name="turret"/>',
    '<link name="wrist"/>': '<link name="twisted"/><link name="wrist"/>',
    '<joint name="turn" type="revolute"><origin xyz="0 0 0.6"/><parent link="base"/>': SLIDES,
    '<joint name="wrist_lift" type="revolute"><origin xyz="4 0 0"/><parent link="far_boom"/>': TWISTS,
}
PER_S = {"joint_rate": "0.03 m/s", "joint_acceleration": "0.005 m/s^2", "brake_deceleration": "0.03 m/s^2",
         "runaway_rate": "0.035 m/s"}  # fmt: skip


@pytest.mark.long
def test_an_own_arm_of_eight_joints_brings_an_own_rider_to_an_own_worksite(tmp_path):
    arm, urdf, *_ = write_new("arm", "eight", tmp_path)
    text = urdf.read_text()
    for old, new in OWN.items():
        assert old in text
        text = text.replace(old, new)
    urdf.write_text(text)
    text = arm.read_text().replace("joints: [turn, lift, bend,", "joints: [slide, turn, lift, bend, twist,")
    text = text.replace("home:\n", "home:\n  slide: 0.3 m\n  twist: 0 deg\n")
    for key, value in PER_S.items():
        text = re.sub(rf"{key}: {{default: ([^}}]*)}}(?!\n#)", rf"{key}: {{default: \1, slide: {value}}}", text)
    arm.write_text(text)
    write_new("platform", "deck", tmp_path)
    write_new("crew", "own", tmp_path)
    script, *_ = write_new("scenario", "ride", tmp_path, {"platform": "deck", "arm": "eight"})
    text = script.read_text()
    start, end = text.index("carries:"), text.index("# -- what may be said too")
    script.write_text(text[:start] + """restraint: {at: arm}
crew: {ev1: {body: own, posture: carry, at: arm}}
carries: [{name: to_bench, moves: [{ride: {to: bench}}, {hold: 60 s}]}]

""" + text[end:])  # fmt: skip
    record = rehearsal.rehearse(script)
    assert len(record.scene.arm_joints) == 8
    assert [finding for finding in rehearsal.judge(record) if str(finding.verdict) == "fail"] == []
