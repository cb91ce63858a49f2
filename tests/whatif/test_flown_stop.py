"""Stops flown with masses: the engine brakes as a formula says where there is one, and carries what the run carries."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks.second_opinion import check
from armcarry.clearance.second_opinion import EngineAnswer, StopOpinion
from armcarry.record.finding import Verdict
from armcarry.whatif import flown_stop
from armcarry.whatif.faults import sides
from armcarry.whatif.opinions import with_opinions

pytest.importorskip("pybullet")


@pytest.mark.parametrize("joint", range(7))
def test_one_joint_alone_brakes_as_evenly_as_the_formula(short_run, joint):
    record, _ = short_run
    q, rate, brake = record.motion.at(1.0)[record.scene.arm_columns], np.zeros(7), 0.01
    rate[joint] = 0.02
    torque = np.full(7, 1e9)  # the others hold
    torque[joint] = brake * flown_stop.turned_alone(record, 1.0, q[None])[0, joint]
    with flown_stop.Engine(record, 1.0) as engine:
        times, way = engine.brake(q, rate, torque)
    assert way[-1, joint] - q[joint] == pytest.approx(rate[joint] ** 2 / (2 * brake), rel=0.01)
    # the engine's solver is an iteration: it creeps for the last hundredth, and what holds gives by some 0.03 deg
    assert times[-1] == pytest.approx(rate[joint] / brake, rel=0.02)
    assert np.abs(np.delete(way - q, joint, axis=1)).max() < 1e-3


def test_the_load_weighs_what_is_carried(short_run):
    record, _ = short_run
    loaded, tree = record.scene.loaded, record.phase_at(1.0).tree
    link, mass, at, inertia = flown_stop.carried(record, 1.0)
    centre = at[:3, 3]
    assert link == record.scene.arm_tip
    known = loaded.crew["ev1"].size.mass + loaded.hardware["pump_box"].document.mass
    assert known <= mass <= known + 100.0  # and the restraint
    assert record.scene.aboard(tree) == ("ev1",) and record.scene.carried(tree) == ("pump_box",)
    assert np.all(np.linalg.eigvalsh(inertia) > 0)
    parts = record.body_poses([1.0])[0, [b.name.startswith(("ev1/", "pump_box/")) for b in record.bodies], :3, 3]
    frame = np.linalg.inv(tree.pose_of(record.scene.arm_tip, record.motion.at(1.0)))
    near = parts @ frame[:3, :3].T + frame[:3, 3]
    assert np.all((near.min(axis=0) < centre) & (centre < near.max(axis=0)))


def test_a_run_tells_what_the_engine_makes_of_its_stops(short_run):
    asked = with_opinions(short_run[0])
    answer = next(item for item in asked.engines if item.engine == "pybullet")
    assert answer.stops and all(stop.theirs_m > 0 and stop.ours_m > 0 for stop in answer.stops)
    (told,) = [finding for finding in check(asked) if finding.other == "late stop"]
    assert told.verdict is (Verdict.PASS if all(stop.agrees for stop in answer.stops) else Verdict.FAIL)
    assert "with masses and brakes as limits of torque" in told.message


def test_a_flown_way_that_comes_too_near_fails(short_run):
    far = StopOpinion("pybullet", 61.0, 0.2, 0.1, 3.0, 2.0, "arm/wrist_turn", 0.1, -0.03, "ev1/helmet", "platform/keel")
    record = replace(short_run[0], engines=(EngineAnswer("pybullet", True, (), (far,)),))
    (told,) = [finding for finding in check(record) if finding.other == "late stop"]
    assert told.verdict is Verdict.FAIL
    assert "they leave 0.030 m less than must be left, between ev1/helmet and platform/keel" in told.message
    assert "Its tip goes 0.200 m to rest at most, ours 0.100 m then" in told.message
    assert "arm/wrist_turn is off ours by 5.8 deg" in told.message
    assert told.remedy == "lead the carry farther from there, or slow it at 0:01:01.0"


def test_what_the_engine_is_held_against_is_the_formula_of_braking(short_run):
    record, _ = short_run
    times = np.linspace(1.0, record.duration_s - 5.0, 200)
    busy = np.count_nonzero(record.motion.at(times, 1)[:, record.scene.arm_columns], axis=1)
    time_s = float(times[busy.argmax()])
    found = flown_stop.fly_stop(record, time_s)
    columns, begun = record.scene.arm_columns, time_s + record.scene.loaded.arm.document.reaction_time
    rate, q = record.motion.at(begun, 1)[columns], record.motion.at(begun)[columns]
    assert np.count_nonzero(rate) > 1
    brakes = next(side for side in sides(record) if side.phase is record.phase_at(time_s)).brakes
    assert found.ours_s == pytest.approx((np.abs(rate) / brakes).max(), abs=flown_stop.STEP_S)
    lasts = np.minimum(np.linspace(0.0, found.ours_s, 500)[:, None], np.abs(rate) / brakes)
    tip = flown_stop._tip(record, time_s, q + rate * lasts - np.sign(rate) * brakes * lasts**2 / 2)
    assert found.ours_m == pytest.approx(np.linalg.norm(np.diff(tip, axis=0), axis=1).sum(), rel=1e-3)
