"""The day part of a scenario: what is read, and what is refused in which words."""

from __future__ import annotations

import copy

import pytest
from pydantic import ValidationError

from armcarry.errors import InputError
from armcarry.files.documents.carries import Carry
from armcarry.files.documents.day import Day
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.steps import Step
from armcarry.timeline.task import Duration, limits_of, tasks_of

DAY = {
    "start": "7:30",
    "cut_off": "6:30",
    "consumables": {"oxygen": {"lasts": "7 h", "keep": "30 min", "actors": ["ev1"], "since": "out"}},
    "steps": [
        {"name": "out", "actors": ["ev1"], "translate": {"from": "airlock", "to": "bay_3"}},
        {"name": "loosen", "actors": ["ev1"],
         "bolt": {"what": "pump_box", "count": 4, "each": {"least": "1 min", "likely": "2 min", "most": "5 min"},
                  "make": "loose"}},
        {"name": "lift", "actors": ["ev1"], "take": {"what": "pump_box"}, "takes": "3 min", "after": ["pause"]},
        {"name": "pause", "actors": ["ev2"], "wait_for": {"until": "1:00", "steps": ["out"]}, "before": ["look"]},
        {"name": "look", "actors": ["ev2"], "inspect": "handrails", "takes": "10 min",
         "as_time_permits": {"priority": 2, "start_by": "5:00"}},
        {"name": "fly", "actors": ["arm", "ev1"], "carry": "to_bay_7"},
    ],
}


def changed(*path, value):
    day = copy.deepcopy(DAY)
    place = day
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return day


def test_steps_become_tasks_with_links_and_durations():
    day = Day.model_validate(DAY)
    out, loosen, lift, pause, look, fly = tasks_of(
        day, {"out": Duration.exactly(240.0), "fly": Duration(1500.0, 1500.0, 1800.0)}
    )
    assert out.duration.likely_s == 240.0
    assert loosen.duration == Duration(240.0, 480.0, 1200.0)  # four bolts
    assert lift.duration == Duration(180.0, 180.0, 180.0)
    assert lift.after == ("pause",)
    assert (pause.not_before_s, pause.after, pause.duration.most_s) == (3600.0, ("out",), 0.0)
    assert look.after == ("pause",)
    assert (look.priority, look.start_by_s) == (2, 18000.0)
    assert fly.actors == ("arm", "ev1")
    assert [(limit.name, limit.lasts_s) for limit in limits_of(day)] == [("cut_off", 23400.0), ("oxygen", 23400.0)]


def test_a_step_without_any_duration_is_refused_when_none_was_computed():
    with pytest.raises(InputError, match=r"step 'fly' \(carry\) states no duration and none could be computed"):
        tasks_of(Day.model_validate(DAY), {"out": Duration.exactly(1.0)})


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("steps", 1, "after"), ["lfit"], "step 'loosen' names step 'lfit', which is not there; did you mean 'lift'"),
        (("steps", 1, "name"), "out", "two steps are named 'out'"),
        (("steps", 2, "takes"), {"least": "3 min", "likely": "2 min", "most": "4 min"},
         "a duration needs 0 <= least <= likely <= most"),
        (("steps", 2, "takes"), 5, "a bare number, the unit is missing"),
        (("steps", 2, "inspect"), "x", "step 'lift' needs exactly one of: .*; found take, inspect"),
        (("steps", 2, "actors"), ["ev1", "ev1"], "step 'lift' names an actor twice"),
        (("steps", 2, "after"), ["lift"], "step 'lift' links to itself"),
        (("steps", 5, "actors"), ["ev1"], "step 'fly' moves the arm, so 'arm' must be among its actors"),
        (("steps", 3, "wait_for"), {}, "wait_for needs at least one of: until, steps, what"),
        (("consumables", "oxygen", "since"), "outt", "consumable 'oxygen' names step 'outt'"),
        (("steps", 4, "takes"), None, r"step 'look' \(inspect\) needs takes: a time, or least, likely and most"),
    ],
)
def test_what_is_refused(path, value, words):
    with pytest.raises(ValidationError, match=words):
        Day.model_validate(changed(*path, value=value))


def test_a_note_beside_what_is_done_is_a_remark():
    assert Day.model_validate(changed("steps", 2, "note", value="x")).steps[2].kind == "take"


def test_a_step_without_a_kind_is_refused():
    with pytest.raises(ValidationError, match="found none"):
        Step.model_validate({"name": "a", "actors": ["ev1"]})


def test_one_fallback_serves_one_step():
    day = copy.deepcopy(DAY)
    day["steps"][1]["fallback"] = day["steps"][2]["fallback"] = "look"
    with pytest.raises(ValidationError, match="step 'look' is the fallback of two steps"):
        Day.model_validate(day)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ({"crew": ["ev1"]}, "step 'pause' names actor 'ev2', which is not there; did you mean 'ev1'"),
        ({"carries": []}, "step 'fly' names carry 'to_bay_7', which is not there; known: none"),
        ({"hardware": ["camera"]}, "step 'loosen' names hardware 'pump_box', which is not there; known: camera"),
    ],
)
def test_names_the_scenario_lacks_are_refused(names, words):
    given = {"crew": ["ev1", "ev2"], "carries": ["to_bay_7"], "hardware": ["pump_box"], **names}
    with pytest.raises(ValueError, match=words):
        Day.model_validate(DAY).check_names(**given)


def test_carts_consumables_and_receivers_are_checked_too():
    steps = [{"name": "push", "actors": ["ev1"], "move_cart": {"cart": "cart_c", "to": "3 m"}, "takes": "1 min"}]
    with pytest.raises(ValueError, match="names cart 'cart_c', which is not there; did you mean 'cart_a'"):
        Day.model_validate({"steps": steps}).check_names(["ev1"], [], [], ["cart_a"])
    steps = [{"name": "give", "actors": ["ev1"], "hand_over": {"what": "box", "to": "ev9"}, "takes": "1 min"}]
    with pytest.raises(ValueError, match="step 'give' names actor 'ev9'"):
        Day.model_validate({"steps": steps}).check_names(["ev1"], [], ["box"])
    day = {"consumables": {"air": {"lasts": "1 h", "actors": ["ev3"]}}, "steps": [{**steps[0], "hand_over": {
        "what": "box", "to": "ev1"}}]}
    with pytest.raises(ValueError, match="consumable 'air' names actor 'ev3'"):
        Day.model_validate(day).check_names(["ev1"], [], ["box"])


def test_a_carry_has_one_source():
    with pytest.raises(ValidationError, match="needs exactly one of: moves, reverse_of, repeat_of; found none"):
        Carry.model_validate({"name": "a"})
    with pytest.raises(ValidationError, match="found moves, repeat_of"):
        Carry.model_validate({"name": "a", "moves": [{"hold": "3 s"}], "repeat_of": "b"})
    with pytest.raises(ValidationError, match="has its own moves, so hardware has nothing to replace"):
        Carry.model_validate({"name": "a", "moves": [{"hold": "3 s"}], "hardware": {"x": "y"}})


def test_a_variant_needs_an_earlier_carry():
    scenario = {
        "format": "armcarry scenario 1", "title": "t", "purpose": "p", "platform": "x", "arm": "x", "rules": "x",
        "base": {"mount": "m"}, "carries": [{"name": "back", "reverse_of": "out"}],
    }
    with pytest.raises(ValidationError, match="'back' is a variant of 'out', which is no earlier carry; earlier: none"):
        ScenarioDocument.model_validate(scenario)
    scenario["carries"].insert(0, {"name": "out", "moves": [{"hold": "3 s"}]})
    assert ScenarioDocument.model_validate(scenario).carries[1].variant_of == "out"
