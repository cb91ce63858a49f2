"""Times that come from the rules: getting into a restraint and out, and standing between two moves."""

from __future__ import annotations

from pathlib import Path

import pytest

import armcarry
from armcarry.checks import schedule
from armcarry.errors import InputError, InputErrors
from armcarry.files.load import load_scenario
from armcarry.motion.timing import time_path
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline import carry
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day

RULES = Path(armcarry.__file__).resolve().parents[2] / "models" / "rules" / "tern_yard" / "tern_yard.yaml"
SCRIPT = """
format: armcarry scenario 1
title: times from rules
purpose: to test times
platform: tern_yard
arm: heron
rules: own.yaml
base: {mount: trolley, station: 11 m}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
start:
  {shoulder_turn: 42.22 deg, shoulder_swing: -5.51 deg, shoulder_lift: 76.32 deg, elbow_bend: 97.06 deg,
   wrist_lift: 90.58 deg, wrist_swing: 47.48 deg, wrist_turn: 171.83 deg}
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: CREW}}
"""
CLIMBING = "climbing: {get_in: 5 min, get_out: 3 min}\n"
BETWEEN = "between_moves: 9 s\n"
DAY = """
day:
  steps:
    - {name: on, actors: [ev1], enter_restraint: {}TAKES}
    - {name: off, actors: [ev1], leave_restraint: {}}
"""
CARRIES = """
carries:
  - name: out
    moves:
      - {line: {frame: platform/rack_a_stand, by: [-0.3 m, 0 m, 0 m]}}
      - {hold: 5 s}
      - {line: {frame: platform/rack_a_stand, by: [-0.3 m, 0 m, 0 m]}}
      - {line: {frame: platform/rack_a_stand, by: [-0.3 m, 0 m, 0 m]}}
"""


@pytest.fixture
def scene_of(tmp_path):
    def build(script, *, rules=lambda text: text):
        (tmp_path / "own.yaml").write_text(rules(RULES.read_text()))
        path = tmp_path / "script.yaml"
        path.write_text(script)
        return build_scene(load_scenario(path))

    return build


def _day(scene):
    run = run_day(scene)
    return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, kept=run.ledger)


STAND = SCRIPT.replace("CREW", "platform/rack_a_stand")


def test_climbing_takes_what_the_rules_say(scene_of):
    plan = _day(scene_of(STAND + DAY.replace("TAKES", ""))).plan
    slots = {slot.name: slot.end_s - slot.start_s for slot in plan.schedule.slots}
    assert slots == pytest.approx({"on": 300.0, "off": 180.0})


def test_a_step_that_states_less_is_told_and_takes_as_long_all_the_same(scene_of):
    record = _day(scene_of(STAND + DAY.replace("TAKES", ", takes: 2 min")))
    (told,) = [f for f in schedule.check(record) if f.subject == "on"]
    assert (str(told.verdict), told.message) == (
        "fail", "on is to take 0:02:00.0, but the rules give it 0:05:00.0",
    )
    assert record.plan.schedule.slot("on").end_s == pytest.approx(300.0)


def test_without_such_a_rule_the_step_says_it(scene_of):
    with pytest.raises(InputErrors, match="step 'on' needs takes") as caught:
        scene_of(STAND + DAY.replace("TAKES", ""), rules=lambda text: text.replace(CLIMBING, ""))
    assert "a time, or climbing in the rules" in str(caught.value)


@pytest.mark.parametrize("between_s", [0.0, 7.0])
def test_the_arm_stands_between_two_moves_as_long_as_the_rules_say(scene_of, between_s):
    said = f"between_moves: {between_s} s\n"
    scene = scene_of(SCRIPT.replace("CREW", "arm") + CARRIES, rules=lambda text: text.replace(BETWEEN, "") + said)
    run = run_carries(scene)
    lines = [move for move in run.moves if move.kind == "line"]
    hold = next(move for move in run.moves if move.kind == "hold")
    gaps = [lines[1].start_s - hold.end_s, lines[2].start_s - lines[1].end_s]
    assert hold.start_s == lines[0].end_s  # nothing is made ready to stand still
    # what the hold lasts counts; it is shorter than 7 s
    assert gaps == pytest.approx([max(between_s - (hold.end_s - hold.start_s), 0.0), between_s])
    middle = lines[2].start_s - between_s / 2
    assert abs(run.motion.at(middle, order=1)).max() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("said", "zones"), [("", 4), ("bend_zones: 16\n", 16)])
def test_bends_are_cut_as_finely_as_the_rules_say(scene_of, monkeypatch, said, zones):
    asked = []

    def timed(path, limits, *rest, **more):
        asked.append(limits.bend_zones)
        return time_path(path, limits, *rest, **more)

    monkeypatch.setattr(carry, "time_path", timed)
    run_carries(scene_of(SCRIPT.replace("CREW", "arm") + CARRIES, rules=lambda text: text + said))
    assert set(asked) == {zones}


def test_bends_cut_too_coarsely_are_told(scene_of):
    with pytest.raises(InputError, match=r"own\.yaml:\d+: bend_zones: should be greater than or equal to 4; found 2"):
        scene_of(SCRIPT.replace("CREW", "arm") + CARRIES, rules=lambda text: text + "bend_zones: 2\n")


CALLS = """
day:
  others: [operator]
  steps:
    - {name: safe, actors: [operator], call: {to: [HEARER], words: The arm is safe.}}
    - {name: work, actors: [ev1], note: looks, takes: 1 min, after: [safe]}
"""


def test_a_call_takes_what_the_rules_say_and_is_heard_by_somebody_known(scene_of):
    record = _day(scene_of(STAND + CALLS.replace("HEARER", "ev1")))
    assert record.plan.schedule.slot("work").start_s == pytest.approx(3.0)
    assert [(act.kind, act.actors) for act in record.ledger.acts if act.step == "safe"] == [("work", ("operator",))]
    with pytest.raises(InputError, match="names actor 'ev3', which is not there"):
        scene_of(STAND + CALLS.replace("HEARER", "ev3"))
    with pytest.raises(InputError, match="step 'safe' needs takes") as caught:
        scene_of(STAND + CALLS.replace("HEARER", "ev1"), rules=lambda text: text.replace("arm_safe: ", "# arm_safe: "))
    assert "call under arm_safe in the rules" in str(caught.value)
