"""Carries flown again or backwards."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.errors import MotionError
from armcarry.files.documents.carries import Carry
from armcarry.files.load import load_scenario
from armcarry.motion.curve import Motion
from armcarry.scene.build import build_scene
from armcarry.timeline.planned import Way
from armcarry.timeline.variants import plan_all, renamed, repeated, reversed_motion

SCRIPT = """
format: armcarry scenario 1
title: there and back
purpose: to test variants
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: arm}}
hardware:
  pump_box: {model: pump_box, at: platform/rack_a_seat}
  other_box: {model: pump_box, at: platform/bay_7_seat}
carries:
  - name: out
    moves:
      - {to_worksite: rack_a, say: in}
      - attach: {what: pump_box, to: ev1/hands, seat: true}
        relax: [{bodies: [pump_box/*, platform/rack_a_*], required: 0 m, why: pump_box leaves its seat}]
      - {line: {point: pump_box/base, frame: platform/rack_a_stand, by: [-0.5 m, 0 m, 0 m]}, name: pull}
  - {name: back, reverse_of: out}
  - {name: again, repeat_of: out, hardware: {pump_box: other_box}}
  - {name: again_back, repeat_of: back, hardware: {pump_box: other_box}}
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("variants") / "script.yaml"
    path.write_text(SCRIPT)
    return build_scene(load_scenario(path))


@pytest.fixture(scope="module")
def way(scene):
    found, shortfall = plan_all(scene, scene.loaded.scenario.carries[:2], Way(scene.tree, scene.position))
    assert shortfall is None
    return found


def test_backwards_takes_the_moves_in_reverse_and_undoes_what_they_attach(scene, way):
    out = [planned for planned in way.moves if planned.carry == "out"]
    back = [planned for planned in way.moves if planned.carry == "back"]
    assert [p.move.kind for p in out] == ["to_worksite", "attach", "line"]
    assert [p.move.kind for p in back] == ["line", "detach", "to_worksite"]
    assert np.allclose(way.position, scene.position, atol=1e-9)
    assert way.tree.mounting("pump_box").parent == "platform/rack_a_seat"
    assert back[0].tree.mounting("pump_box").parent == "ev1/hands"
    assert back[1].event.gap_m < 1e-5
    for there, here in ((out[2], back[0]), (out[0], back[2])):
        s = np.linspace(0, 1, 21)
        assert np.allclose(here.path.at(s), there.path.at(1 - s), atol=1e-9)
    assert all(p.move.say == "" for p in back)


def test_the_arm_goes_to_where_the_carry_ended_first(scene, way):
    moved = scene.position.copy()
    moved[scene.arm_columns[0]] += 0.1
    out = tuple(planned for planned in way.moves if planned.carry == "out")
    back, _ = plan_all(scene, scene.loaded.scenario.carries[1:2], Way(out[-1].after, moved), flown=out)
    assert back.moves[0].words == "to where out ended"
    assert np.allclose(back.moves[0].end[scene.arm_columns], out[-1].end[scene.arm_columns])
    assert np.allclose(back.position[scene.arm_columns], scene.position[scene.arm_columns], atol=1e-9)


def test_what_was_not_flown_cannot_be_reversed(scene):
    with pytest.raises(MotionError, match="carry 'back' reverses 'out', which was not flown before it"):
        plan_all(scene, scene.loaded.scenario.carries[1:2], Way(scene.tree, scene.position))


def test_a_repeat_names_the_other_hardware_everywhere(scene):
    out, back, again, again_back = repeated(scene, scene.loaded.scenario.carries)
    assert again.moves[1].attach.what == "other_box"
    assert again.moves[1].relax[0].bodies == ("other_box/*", "platform/rack_a_*")
    assert again.moves[1].relax[0].why == "pump_box leaves its seat"  # sentences are left alone
    assert again.moves[2].line.point == "other_box/base"
    assert (again.moves[0].say, again.moves[2].name) == ("in", "pull")
    assert out.moves[1].attach.what == "pump_box"
    assert (again_back.reverse_of, again_back.repeat_of) == ("out", None)
    assert again_back.hardware == {"pump_box": "other_box"}
    assert back.reverse_of == "out"


def test_names_that_only_begin_alike_are_left_alone():
    carry = Carry.model_validate({"name": "a", "moves": [{"attach": {"what": "box_2", "to": "ev1/box"}}]})
    assert renamed(carry, {"box": "case"}) == carry


def test_a_reversed_motion_is_the_motion_backwards():
    rng = np.random.default_rng(6)
    breaks = np.concatenate([[2.0], 2.0 + np.cumsum(rng.uniform(0.3, 2.0, 5))])
    motion = Motion(("a", "b"), breaks, rng.normal(size=(5, 4, 2)))
    back = reversed_motion(motion)
    inside = rng.uniform(motion.start_s, motion.end_s, 200)
    for order, sign in ((0, 1), (1, -1), (2, 1), (3, -1)):
        assert np.allclose(back.at(motion.start_s + motion.end_s - inside, order), sign * motion.at(inside, order))
    twice = reversed_motion(back)
    assert np.allclose(twice.coefficients, motion.coefficients)
    assert np.allclose(twice.breaks_s, motion.breaks_s)
