"""Rates and accelerations of the joints against those of the load: 4 deg/s and 2 deg/s^2 in conftest."""

import numpy as np
import pytest

from armcarry.checks import joint_rate
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan

DEG = np.pi / 180


def _of(findings, joint):
    (found,) = (item for item in findings if item.subject == joint)
    return found


@pytest.fixture
def judged(rider_scene, moving_record):
    return lambda joints, **options: joint_rate.check(moving_record(rider_scene({}), joints, **options))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("share", "verdict"), [(0.999, Verdict.PASS), (1.001, Verdict.FAIL)])
def test_a_rate_counts_either_way(judged, sign, share, verdict):
    found = _of(judged({"arm/j2": [sign * share * 4 * DEG]}), "arm/j2")
    assert found.verdict is verdict
    assert (found.value, found.limit) == (pytest.approx(share * 4 * DEG), pytest.approx(4 * DEG))
    assert found.unit == "rad/s"


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("share", "verdict"), [(0.999, Verdict.PASS), (1.001, Verdict.FAIL)])
def test_an_acceleration_counts_either_way(judged, sign, share, verdict):
    found = _of(judged({"arm/j3": [0.0, sign * share * 1 * DEG]}, lasts_s=1.0), "arm/j3")  # 2 deg/s^2 to 2 deg/s
    assert found.verdict is verdict
    assert (found.value, found.limit, found.unit) == (pytest.approx(share * 2 * DEG), pytest.approx(2 * DEG), "rad/s^2")
    assert f"acceleration {share * 2:.3f} deg/s^2 of 2.000 deg/s^2 with load 'rider'" in found.message


def test_exactly_at_the_limit_passes(judged):
    assert _of(judged({"arm/j2": [4 * DEG]}), "arm/j2").verdict is Verdict.PASS


def test_the_joint_nearest_its_limit_is_told_first_and_every_joint_once(judged):
    findings = judged({"arm/j2": [1 * DEG], "arm/j5": [-3 * DEG], "arm/j1": [2 * DEG]})
    assert [item.subject for item in findings[:3]] == ["arm/j5", "arm/j1", "arm/j2"]
    assert sorted(item.subject for item in findings) == [f"arm/j{k}" for k in range(1, 7)]


def test_a_failure_says_by_how_much_where_and_what_would_do(judged):
    found = _of(judged({"arm/j2": [5 * DEG]}), "arm/j2")
    assert found.message == (
        "arm/j2 has its largest share of what is allowed (125 %) in swing: rate 5.000 deg/s of 4.000 deg/s with load "
        "'rider'"
    )
    assert found.remedy == "slow swing to 80 % of its rate"
    assert (found.start_s, found.end_s) == (0.0, 10.0)
    assert _of(judged({"arm/j2": [3 * DEG]}), "arm/j2").remedy == ""


def test_each_move_is_judged_by_its_own_load_and_the_worst_is_told(rider_scene, moving_record):
    slow = {"joint_rate": {"default": "1 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
            "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "0.2 m/s"}
    loads = {"free": slow | {"joint_rate": {"default": "9 deg/s", "j2": "3 deg/s"}}, "rider": slow,
             "rider_and_hardware": slow}
    scene = rider_scene({}, arm={"loads": loads})
    moves = (
        MoveSpan("round", 1, "first", "to_joints", 0.0, 4.0, "free"),
        MoveSpan("round", 2, "at once", "attach", 4.0, 4.0, "rider"),
        MoveSpan("round", 3, "second", "to_joints", 4.0, 10.0, "rider"),
    )
    findings = joint_rate.check(moving_record(scene, {"arm/j2": [2 * DEG]}, moves=moves))
    found = _of(findings, "arm/j2")
    assert "(200 %) in second" in found.message
    assert (found.start_s, found.end_s, found.remedy) == (4.0, 10.0, "slow second to 50 % of its rate")
    alone = joint_rate.check(moving_record(scene, {"arm/j2": [2 * DEG]}, moves=moves[:1]))
    assert _of(alone, "arm/j2").limit == pytest.approx(3 * DEG)


def test_between_the_rows_of_a_log_accelerations_are_not_the_arms(judged):
    joints = {"arm/j3": [0.0, 2 * DEG]}
    assert _of(judged(joints, lasts_s=0.5), "arm/j3").verdict is Verdict.FAIL
    found = _of(judged(joints, lasts_s=0.5, logged=object()), "arm/j3")
    assert (found.verdict, found.limit) == (Verdict.PASS, pytest.approx(4 * DEG))


def test_nothing_is_said_of_a_run_without_moves(judged):
    assert judged({}, moves=()) == ()


def test_of_equal_shares_the_first_move_is_told(rider_scene, moving_record):
    moves = tuple(MoveSpan("round", k, name, "to_joints", 5.0 * k, 5.0 * k + 5.0, "rider") for k, name in
                  enumerate(("first", "second")))  # fmt: skip
    findings = joint_rate.check(moving_record(rider_scene({}), {"arm/j2": [5 * DEG]}, moves=moves))
    assert _of(findings, "arm/j2").remedy == "slow first to 80 % of its rate"


def test_the_share_decides_which_joint_is_told_first_and_not_the_rate(rider_scene, moving_record):
    load = {"joint_rate": {"default": "4 deg/s", "j2": "1 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
            "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "0.2 m/s"}
    scene = rider_scene({}, arm={"loads": dict.fromkeys(("free", "rider", "rider_and_hardware"), load)})
    findings = joint_rate.check(moving_record(scene, {"arm/j2": [0.9 * DEG], "arm/j5": [2 * DEG]}))
    assert [item.subject for item in findings[:2]] == ["arm/j2", "arm/j5"]


@pytest.mark.parametrize(("powers", "words"), [
    ([0.05], "rate 0.0500 m/s of 0.0698 m/s"), ([0.0, 0.015], "acceleration 0.0300 m/s^2 of 0.0349 m/s^2"),
])  # fmt: skip
def test_a_joint_that_slides_is_told_in_metres(rider_scene, moving_record, powers, words):
    findings = joint_rate.check(moving_record(rider_scene({}, slides=("j2",)), {"arm/j2": powers}, lasts_s=1.0))
    assert words in _of(findings, "arm/j2").message
    assert _of(findings, "arm/j2").unit == words.split()[2]
