"""Bodies that never move against each other are judged like all others: as they stand, in every phase."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks.clearance import check
from armcarry.clearance.distance import distance
from armcarry.files import scenario_checks
from armcarry.files.load import load_scenario
from armcarry.geometry.poses import translation
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.proving import windows as room
from armcarry.proving.proof import prove_run
from armcarry.proving.rows import SAME_M
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.scene.tree import Tree
from armcarry.timeline.run import Phase, Run

HEAD = """
format: armcarry scenario 1
title: Rest
purpose: things that stand still
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
appendages: {radiator_port: stowed, radiator_star: stowed, solar_wing: edge_on}
restraint: {model: foot_restraint, at: arm, settings: {roll: 0 deg, pitch: 90 deg, yaw: 0 deg}}
"""


RIDER = "crew: {ev1: {posture: carry, at: arm}}\n"
HELD = RIDER + "hardware: {pump_box: {model: pump_box, at: ev1/hands}}"


@pytest.fixture
def told(tmp_path_factory, monkeypatch):
    """Judge the clearance of a script while the arm turns by 0.01 rad; also without any motion."""
    # the reader refuses two in one place where a script says so; what is asked here is that the proof sees them anyhow
    monkeypatch.setattr(scenario_checks, "_once_each", lambda script: None)

    def build(text, rate=1e-3, spans=((0.0, 10.0),)):
        path = tmp_path_factory.mktemp("rest") / "rest.yaml"
        path.write_text(HEAD + text)
        scene = build_scene(load_scenario(path))
        table = np.zeros((1, 2, len(scene.position)))
        table[0, 0], table[0, 1, scene.arm_columns[0]] = scene.position, rate
        motion = Motion(scene.tree.joints, np.array([0.0, 10.0]), table)
        phases = tuple(Phase(*span, scene.tree) for span in spans)
        rows, curves = prove_run(scene, Run(phases, motion, (), (), (), ()))
        record = Record(scene, phases, motion, (), pairs=rows, curves=curves)
        return record, [f for f in check(record) if str(f.verdict) == "fail"]

    return build


def pairs_of(findings):
    return {frozenset((finding.subject, finding.other)) for finding in findings}


def overlap(record, one, other):
    """Return whether two bodies overlap at the start, measured on their own."""
    bodies = {body.name: body for body in record.bodies}
    placed = {name: forward(record.phases[0].tree, record.motion.at(0.0), [bodies[name].link])[0] @ bodies[name].pose
              for name in (one, other)}  # fmt: skip
    return distance(bodies[one].shape, placed[one], bodies[other].shape, placed[other]).upper_m == 0.0


CASES = {
    "two riders in one restraint": (
        "crew: {ev1: {posture: carry, at: arm}, ev2: {posture: neutral, at: arm}}", ("ev1/helmet", "ev2/helmet"),
    ),
    "two things in one pair of hands": (
        RIDER + "hardware: {pump_box: {model: pump_box, at: ev1/hands}, cart: {model: rail_cart, at: ev1/hands}}",
        ("pump_box/case", "cart/cart_bed"),
    ),
    "a worker in a seat plate": (
        "crew: {ev1: {posture: carry, at: arm}, ev2: {posture: neutral, at: platform/bay_7_seat}}",
        ("ev2/shin_left", "platform/bay_7_seat_plate"),
    ),
    "two boxes in one seat": (
        RIDER + "hardware: {pump_box: {model: pump_box, at: platform/rack_a_seat}, "
        "other: {model: pump_box, at: platform/rack_a_seat}}", ("pump_box/case", "other/case"),
    ),
}  # fmt: skip


@pytest.mark.parametrize(("text", "pair"), CASES.values(), ids=CASES)
@pytest.mark.parametrize("rate", [1e-3, 0.0])
def test_bodies_that_rest_in_each_other_fail(told, text, pair, rate):
    record, failed = told(text, rate)
    assert overlap(record, *pair)
    assert frozenset(pair) in pairs_of(failed)
    finding = next(f for f in failed if {f.subject, f.other} == set(pair))
    assert " touch at 0:00:00.0; " in finding.message


def test_a_plain_scene_at_rest_has_nothing_to_fail(told):
    other = ", other: {model: pump_box, at: platform/rack_a_seat}}"
    record, failed = told(HELD[:-1] + other, 0.0)
    assert failed == []
    held = [row for row in record.pairs if row.body_a.startswith("ev1/") and row.body_b.startswith("pump_box/")]
    assert {row.status for row in held} == {"proven", "intended"}
    seated = [row for row in record.pairs if row.body_b.startswith("other/") and row.body_a.startswith("platform/")]
    assert {"proven", "intended", "farther"} == {row.status for row in seated}
    assert {row.required_m for row in seated} == {0.0, None}


def test_the_arm_may_start_folded_into_itself_though_only_its_shoulder_turns(told):
    record, failed = told("start: {elbow_bend: 100 deg, wrist_lift: 170 deg, wrist_swing: 20 deg}\n" + RIDER)
    inner = {("arm/boom_far_tube", "arm/wrist_neck"), ("arm/boom_far_tube", "arm/hand_drum")}
    assert {frozenset(pair) for pair in inner} <= pairs_of(failed)
    assert all(overlap(record, *pair) for pair in inner)


def test_contact_without_a_rule_fails_at_rest_and_what_was_built_to_stand_is_not_asked_about(told):
    text = "crew: {ev1: {posture: carry, at: arm}, ev2: {posture: neutral, at: arm}}\nvehicle: docked"
    record, _ = told(text, 0.0)
    loaded = record.scene.loaded
    ruleless = loaded.rules.model_copy(update={"required": []})
    scene = replace(record.scene, loaded=replace(loaded, rules=ruleless))
    rows, _ = prove_run(scene, Run(record.phases, record.motion, (), (), (), ()))
    found = check(replace(record, scene=scene, pairs=rows))
    assert frozenset(("ev1/helmet", "ev2/helmet")) in pairs_of(f for f in found if str(f.verdict) == "fail")
    asked = {frozenset((f.subject, f.other)) for f in found if str(f.verdict) == "not_assessed"}
    assert frozenset(("rider", "structure")) in asked
    assert frozenset(("structure", "vehicle")) not in asked


def test_a_pair_at_rest_has_one_distance_that_holds_for_as_long_as_it_rests(told):
    record, _ = told(RIDER, spans=((0.0, 4.0), (4.0, 4.0), (4.0, 10.0)))
    (row,) = (row for row in record.pairs if (row.body_a, row.body_b) == ("arm/wrist_neck", "ev1/pack"))
    assert (row.start_s, row.end_s) == (0.0, 10.0)
    bodies = {body.name: body for body in record.bodies}
    ends = [bodies["arm/wrist_neck"], bodies["ev1/pack"]]
    T = [forward(record.phases[0].tree, record.motion.at(7.3), [body.link])[0] @ body.pose for body in ends]
    assert row.upper_m == pytest.approx(distance(ends[0].shape, T[0], ends[1].shape, T[1]).upper_m, abs=1e-9)
    assert row.upper_m - row.lower_m < 3e-6


@pytest.mark.parametrize("jump_m", [0.04, -0.04])
def test_hardware_that_jumps_at_a_grasp_is_measured_as_held(told, jump_m):
    record, _ = told(HELD)
    before = record.phases[0].tree
    after = Tree(tuple(
        replace(m, pose=m.pose @ translation((0.0, 0.0, jump_m))) if m.instance == "pump_box" else m
        for m in before.mountings
    ))  # fmt: skip
    phases = (Phase(0.0, 4.0, before), Phase(4.0, 10.0, after))
    rows, _ = prove_run(record.scene, Run(phases, record.motion, (), (), (), ()))
    bodies = {body.name: body for body in record.bodies}
    jumped = 0
    for row in rows:
        if row.body_a.startswith("ev1/") and row.body_b.startswith("pump_box/") and row.status == "proven":
            ends = [bodies[row.body_a], bodies[row.body_b]]
            at = [forward(phase.tree, record.motion.at(phase.start_s), [body.link for body in ends]) @ np.stack(
                [body.pose for body in ends]) for phase in phases]  # fmt: skip
            apart = [distance(ends[0].shape, T[0], ends[1].shape, T[1]).upper_m for T in at]
            assert (row.start_s, row.end_s) == (0.0, 10.0)
            assert row.upper_m == pytest.approx(min(apart), abs=2e-6)
            assert min(apart) - 3e-6 < row.lower_m <= min(apart)
            assert row.time_s == (4.0 if apart[1] < apart[0] - SAME_M else 0.0)  # the first of two alike
            jumped += abs(apart[0] - apart[1]) > 0.02
    assert jumped > 10


def test_far_pairs_at_rest_are_not_measured(told, monkeypatch):
    asked, measure = [], room.distances

    def counted(shapes, T_world_body, pairs):
        asked.append(len(pairs))
        return measure(shapes, T_world_body, pairs)

    monkeypatch.setattr(room, "distances", counted)
    record, _ = told(HELD, 0.0)
    farther = [row for row in record.pairs if row.status == "farther"]
    assert len(farther) > 10_000
    assert sum(asked) < len(record.pairs) / 4
    assert all(row.lower_m >= record.scene.loaded.rules.report_distance for row in farther)


def test_curves_hold_what_rests(told):
    record, _ = told(HELD)
    curve = next(each for each in record.curves if each.group == "hardware to rider")
    least = min(row.upper_m for row in record.pairs
                if {row.class_a, row.class_b} == {"hardware", "rider"} and row.required_m is not None)  # fmt: skip
    np.testing.assert_allclose(curve.upper_m, least)
    assert np.all(curve.lower_m <= curve.upper_m)
    assert np.all(curve.lower_m >= least - 1e-5)


SWUNG = "start: {shoulder_swing: 150 deg}\n" + RIDER


@pytest.mark.parametrize("rate", [1e-3, 0.0])
def test_a_link_that_swings_into_its_neighbour_fails_and_what_the_joint_settles_is_told_once(told, rate):
    record, failed = told(SWUNG, rate)
    pair = ("arm/shoulder_post_drum", "arm/shoulder_lift_drum")
    assert overlap(record, *pair)
    (finding,) = [f for f in failed if {f.subject, f.other} == set(pair)]
    assert finding.message.endswith("touch at 0:00:00.0; 0.000 m is required (one joint between)")
    assert finding.remedy.startswith("keep the joint between the two away from where they meet")
    (settled,) = [f for f in check(record) if "links that a joint joins" in f.message]
    assert str(settled.verdict) == "pass" and "arm/base_drum and arm/shoulder_post_drum" in settled.message
    names = {frozenset((row.body_a, row.body_b)) for row in record.pairs}
    assert frozenset(("arm/base_drum", "arm/shoulder_post_drum")) not in names  # they touch in every posture
    assert frozenset(("arm/elbow_drum_near", "arm/elbow_drum_far")) not in names  # they never do


def test_neighbours_that_keep_apart_here_are_proven_as_all_others(told):
    record, failed = told(RIDER)
    rows = [row for row in record.pairs if row.why == "one joint between"]
    assert len(rows) == 4 and {row.required_m for row in rows} == {0.0} and {row.status for row in rows} <= {
        "proven", "farther"}  # fmt: skip
    assert not failed
