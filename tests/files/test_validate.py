"""Documents from YAML: each kind of mistake told with file, line, what was found and what is accepted."""

import re
from pathlib import Path

import pytest

from armcarry.errors import InputError, InputErrors
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.bodies import HardwareDocument
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.validate import FORMATS, read_any, read_document, read_source

SCRIPT = """format: armcarry scenario 1
title: t
purpose: p
platform: deck
arm: small
rules: plain
base: {mount: fixed}
crew:
  ev1: {posture: rest, at: arm}
carries:
- name: one
  moves:
  - hold: 10 s
"""


def _told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "s.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_any(path)
    problems = getattr(caught.value, "problems", (caught.value,))
    return [str(problem).removeprefix(f"{tmp_path}/") for problem in problems]


def test_the_format_decides_what_a_file_is(world):
    formats = {read_any(path).document.format for path in world.glob("models/*/*/*.yaml")}
    assert formats | {"armcarry scenario 1", "armcarry series 1", "armcarry columns 1"} == set(FORMATS)
    assert isinstance(read_any(world / "script.yaml").document, ScenarioDocument)
    assert isinstance(read_document(world / "models/arms/small/small.yaml", ArmDocument), ArmDocument)


def test_a_format_that_is_missing_unknown_or_of_another_kind(tmp_path, world):
    every = ", ".join(FORMATS)
    assert _told(tmp_path, "title: x") == [
        f"s.yaml:1: key 'format' is missing, so the kind of file is unknown; accepted: {every}"
    ]
    assert _told(tmp_path, "title: x\nformat: armcarry arms 1") == [
        "s.yaml:2: unknown format; found 'armcarry arms 1'; accepted: armcarry arm 1 (nearest), or one of: " + every
    ]
    assert _told(tmp_path, "format: 7") == [f"s.yaml:1: unknown format; found 7; accepted: {every}"]
    path = world / "models/arms/small/small.yaml"
    with pytest.raises(InputError) as caught:
        read_document(path, HardwareDocument)
    assert str(caught.value) == (
        f"{path}:1: a file of another kind; found 'armcarry arm 1'; accepted: armcarry hardware 1"
    )


ONE_MISTAKE = [
    ("title: t", "title: 3", "2: title: a value of the wrong kind; found 3; accepted: text"),
    ("title: t", "title:", "2: title: nothing stands here; accepted: text"),
    ("title: t", "title: [a]", "2: title: a value of the wrong kind; found 'a list of 1'; accepted: text"),
    ("title: t\n", "", "1: key 'title' is missing"),
    (
        "base: {mount: fixed}",
        "base: fixed",
        "7: base: a value of the wrong kind; found 'fixed'; accepted: a mapping: lines 'key: value'",
    ),
    (
        "base: {mount: fixed}",
        "base: {mount: Fixed One}",
        "7: base.mount: not an accepted name; found 'Fixed One'; accepted: lower case, digits, underscores",
    ),
    (
        "base: {mount: fixed}",
        "base: {mount: fixed, station: 3}",
        "7: base.station: a bare number, the unit is missing; found 3; "
        "accepted: a length with its unit (m, mm, cm, km, ft, in), -10 km to 10 km",
    ),
    (
        "base: {mount: fixed}",
        "base: {mount: fixed, station: 3 kg}",
        "7: base.station: not an accepted unit; found '3 kg'; "
        "accepted: a length with its unit (m, mm, cm, km, ft, in), -10 km to 10 km",
    ),
    (
        "base: {mount: fixed}",
        "base: {mount: fixed, staton: 3 m}",
        "7: unknown key 'staton' in base; accepted: station (nearest), or one of: mount, station",
    ),
    (
        "crew:",
        "vehicle: dock\ncrew:",
        "8: vehicle: not one of the accepted words; found 'dock'; accepted: docked or absent",
    ),
    (
        "t, at: arm",
        "t, at: No Where",
        "9: crew.ev1.at: not one of the accepted words; found 'No Where'; accepted: arm, inside, or a frame where the "
        "boots are",
    ),
    (
        "  ev1: {",
        "  EV 1: {",
        "9: crew.EV 1: not an accepted name; found 'EV 1'; accepted: lower case, digits, underscores",
    ),
    (
        "posture: rest, ",
        "posture: rest, sizze: small, ",
        "9: unknown key 'sizze' in crew.ev1; accepted: size (nearest), or one of: at, body, filled, posture, size",
    ),
    (
        "hold: 10 s",
        "hold: 10 s\n    rate: 3",
        "14: carries[0].moves[0].rate: should be less than or equal to 1; found 3; "
        "accepted: share of the allowed rates",
    ),
    (
        "hold: 10 s",
        "hold: 10 s\n    rate: '1'",
        "14: carries[0].moves[0].rate: a value of the wrong kind; found '1'; accepted: a number",
    ),
    (
        "hold: 10 s",
        "hold: 90",
        "13: carries[0].moves[0].hold: a bare number, the unit is missing; found 90; "
        "accepted: a time with its unit (s, min, h, ms), 0 s to 168 h",
    ),
    (
        "hold: 10 s",
        "say: hello",
        "13: carries[0].moves[0]: a move needs exactly one of: to_joints, to_pose, to_worksite, line, one_joint, hold, "
        "attach, detach, appendage, posture, ride, fetch, place, bring; found none",
    ),
    ("hold: 10 s", "line: {frame: a/b}", "13: carries[0].moves[0].line: a line needs exactly one of: to, by"),
    ("hold: 10 s", "line: {frame: a/b, by: [1 m, 2 m]}", "13: carries[0].moves[0].line.by[2]: key 2 is missing"),
    (
        "hold: 10 s",
        "attach: {what: box, to: a/b, seat: yes}",
        "13: carries[0].moves[0].attach.seat: a value of the wrong kind; found 'yes'; accepted: true or false",
    ),
    (
        "hold: 10 s",
        "to_joints: {turn: 3 s}",
        "13: carries[0].moves[0].to_joints.turn: not an accepted unit; found '3 s'; accepted: an angle with its unit "
        "(deg, rad), -36000 deg to 36000 deg or a length with its unit (m, mm, cm, km, ft, in), -1 km to 1 km",
    ),
    (
        "hold: 10 s",
        "hold: 10 s\n    via: [{turn: 3 deg}]",
        "13: carries[0].moves[0]: via points go with to_joints; found them with hold",
    ),
    (
        "carries:",
        "carries:\n- {name: back, reverse_of: gone}",
        "11: carry 'back' is a variant of 'gone', which is no earlier carry; earlier: none",
    ),
    (
        "  moves:\n  - hold: 10 s\n",
        "",
        "11: carry 'one' needs exactly one of: moves, reverse_of, repeat_of; found none",
    ),
]


@pytest.mark.parametrize(("old", "new", "words"), ONE_MISTAKE, ids=[new[:40] for _, new, _ in ONE_MISTAKE])
def test_one_mistake_is_one_problem(tmp_path, old, new, words):
    assert SCRIPT.count(old) == 1
    told = _told(tmp_path, SCRIPT.replace(old, new))
    if words.endswith("key 2 is missing"):  # a tuple with too few values
        (only,) = told
        assert only.startswith("s.yaml:13: key '2' is missing in carries[0].moves[0].line.by; accepted: a length with")
        return
    assert told == [f"s.yaml:{words}"] or (len(told) == 1 and told[0].startswith(f"s.yaml:{words}"))


def test_a_step_of_the_day_is_told_at_its_own_line(tmp_path):
    day = "day:\n  steps:\n  - {name: first, actors: [ev1], inspect: bolts, takes: 1 min}\n"
    wrong = "  - {name: second, actors: [ev3], inspect: bolts, takes: 1 min}\n"
    (told,) = _told(tmp_path, SCRIPT + day + wrong)
    assert told == "s.yaml:17: step 'second' names actor 'ev3', which is not there; did you mean 'ev1'?"


def test_all_mistakes_of_a_file_are_told_in_the_order_of_lines(tmp_path):
    told = _told(
        tmp_path, SCRIPT.replace("title: t", "title: 3").replace("10 s", "10 kg").replace("mount: fixed", "mont: x")
    )
    assert [int(re.match(r"s\.yaml:(\d+):", text).group(1)) for text in told] == [2, 7, 13]


def test_a_long_list_of_problems_is_cut(tmp_path):
    path = tmp_path / "s.yaml"
    path.write_text(SCRIPT + "hardware:\n" + "".join(f"  h{k}: {{model: 3, at: a/b}}\n" for k in range(50)))
    with pytest.raises(InputErrors) as caught:
        read_any(path)
    assert len(caught.value.problems) == 50
    assert str(caught.value).splitlines()[-1] == "and 10 more"
    assert len(str(caught.value).splitlines()) == 41
    assert (caught.value.file, caught.value.line) == (path, 15)


def test_long_found_text_is_cut(tmp_path):
    (told,) = _told(tmp_path, SCRIPT.replace("mount: fixed", f"mount: {'x' * 500}"))
    assert len(told) < 200
    assert "xxx..." in told


def test_a_source_names_the_line_of_a_later_problem(world):
    source = read_source(world / "models/rules/plain/plain.yaml", RulesDocument)
    problem = source.problem(("margins", "joint_position"), "too small", found="5 deg", accepted="more")
    assert str(problem) == f"{source.path}:8: too small; found '5 deg'; accepted: more"
