"""A rehearsal as a whole: what it refuses, and what it goes on with and tells as a finding."""

from __future__ import annotations

import copy
import json
import random

import pytest

from armcarry import rehearsal
from armcarry.errors import ArmcarryError
from armcarry.files import places
from armcarry.files.yaml_text import read_yaml
from armcarry.rehearsal import rehearse, validate


@pytest.fixture
def unproven(monkeypatch):
    """Leave the proof out: what is refused is refused before it."""
    monkeypatch.setattr(rehearsal, "prove_run", lambda scene, run, tell, **_: ((), ()))


def _places(data, path=()):
    """Yield the path of every value, mappings and lists included."""
    if path:
        yield path
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in inner:
        yield from _places(value, (*path, step))


def _at(data, path):
    for step in path:
        data = data[step]
    return data


def _damaged(data, seed):
    """Return a copy in which a value is dropped, misspelled, or stands where another of its kind belongs."""
    draw = random.Random(seed)
    changed, every = copy.deepcopy(data), list(_places(data))
    path = draw.choice([path for path in every if path[0] in ("day", "carries", "crew", "hardware", "start")])
    holder = _at(changed, path[:-1])
    kind, value = draw.choice(("drop", "spell", "other")), _at(data, path)
    if kind == "drop":
        del holder[path[-1]]
    elif kind == "spell" and isinstance(value, str):
        holder[path[-1]] = f"{value}x"
    else:
        holder[path[-1]] = _at(data, draw.choice([other for other in every if type(_at(data, other)) is type(value)]))
    return changed


@pytest.mark.parametrize("name", [
    "hazard_stranded", *(pytest.param(name, marks=pytest.mark.long) for name in ("change_places", "hazard_near_people"))
])  # fmt: skip
def test_validate_and_rehearse_refuse_the_same_files(name, tmp_path, unproven):
    data = read_yaml(places.scenarios_folder() / f"{name}.yaml").data
    refused = 0
    for seed in range(10):
        path = tmp_path / f"{name}.yaml"
        path.write_text(json.dumps(_damaged(data, seed)))
        problems = validate([path])
        refused += bool(problems)
        if not problems:
            rehearse(path)
            continue
        with pytest.raises(ArmcarryError) as caught:
            rehearse(path)
        first = getattr(caught.value, "problems", (caught.value,))[0]
        assert str(first) in {str(problem) for problem in problems}
    assert 0 < refused < 10


ASKED_TWICE = """format: armcarry scenario 1
title: two want the arm
purpose: an arm asked by two
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
restraint: {at: arm, settings: {pitch: 90 deg}}
crew:
  ev1: {posture: carry, at: arm}
carries:
  - {name: one, moves: [{to_joints: {wrist_turn: 30 deg}}]}
  - {name: two, moves: [{to_joints: {wrist_turn: 60 deg}}]}
day:
  steps:
    - {name: look, actors: [ev1], note: look, takes: 1 min}
    - {name: fly_one, actors: [arm, ev1], carry: one}
    - {name: fly_two, actors: [arm, ev1], carry: two, TOGETHER}
"""


def test_an_arm_asked_by_two_is_a_finding_with_both_steps(tmp_path, unproven):
    path = tmp_path / "two.yaml"
    path.write_text(ASKED_TWICE.replace("TOGETHER", "together_with: [fly_one]"))
    assert validate([path]) == []
    record = rehearse(path)
    assert record.duration_s == pytest.approx(60.0)  # the run ends before the two
    told = [finding for finding in rehearsal.judge(record) if finding.check == "schedule" and finding.verdict == "fail"]
    (finding,) = [finding for finding in told if finding.subject == "arm"]
    assert "arm is asked by fly_one and by fly_two, which begin together" in finding.message
    assert finding.remedy == "take arm off one of them, or let fly_two come after fly_one"
    assert finding.other == "fly_two"


def test_an_arm_asked_by_one_after_the_other_is_no_finding(tmp_path, unproven):
    path = tmp_path / "one.yaml"
    path.write_text(ASKED_TWICE.replace("TOGETHER", "after: [fly_one]"))
    record = rehearse(path)
    assert record.duration_s > 61.0
    assert not any("is asked by" in finding.message for finding in rehearsal.judge(record))
