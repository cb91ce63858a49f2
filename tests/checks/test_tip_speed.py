"""The tip's largest speed by load: 0.2 m/s in conftest, 0.1 m/s with a rider aboard."""

import math

import numpy as np
import pytest

from armcarry.checks import tip_speed
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Phase, Record


@pytest.fixture
def scene(rider_scene):
    return rider_scene({})


@pytest.fixture
def lever_m(scene):
    """How far the tool is from the axis of the first joint."""
    return float(np.hypot(*scene.tree.pose_of(scene.tool(scene.tree), scene.position)[:2, 3]))


@pytest.mark.parametrize(("speed", "verdict"), [(0.0998, Verdict.PASS), (0.1003, Verdict.FAIL)])
def test_a_rider_aboard_holds_the_tip_to_the_riders_speed(scene, lever_m, moving_record, speed, verdict):
    (found,) = tip_speed.check(moving_record(scene, {"arm/j1": [-speed / lever_m]}))
    assert found.verdict is verdict
    assert found.value == pytest.approx(speed, abs=1.01e-4)
    assert found.value >= speed - 1e-12  # a bound, never less than the speed
    assert (found.subject, found.other, found.limit, found.unit) == ("arm", "rider", 0.1, "m/s")


def test_the_message_and_the_slower_rate(scene, lever_m, moving_record):
    (found,) = tip_speed.check(moving_record(scene, {"arm/j1": [0.125 / lever_m]}))
    assert found.message == (
        f"with load 'rider' with a rider aboard the tip moves at {math.ceil(found.value * 1e4) / 1e4:.4f} m/s at most "
        "(to 0.1 mm/s, at every instant), in swing; 0.1000 m/s is allowed"
    )
    assert found.remedy == "slow swing to 79 % of its rate"
    (slow,) = tip_speed.check(moving_record(scene, {"arm/j1": [0.05 / lever_m]}))
    assert slow.remedy == ""


def test_the_fastest_move_of_a_load_is_judged_when_it_is_fastest(scene, lever_m, moving_record):
    # the rate rises steadily from nothing
    moves = tuple(
        MoveSpan("round", k, name, "to_joints", 5.0 * k, 5.0 * k + lasts, "rider")
        for k, name, lasts in ((0, "slow", 5.0), (1, "at once", 0.0), (1, "fast", 5.0))
    )
    record = moving_record(scene, {"arm/j1": [0.0, 0.15 / lever_m / 20]}, moves=moves)
    (found,) = tip_speed.check(record)
    assert found.verdict is Verdict.FAIL
    assert ", in fast; " in found.message
    assert found.start_s == found.end_s == pytest.approx(10.0, abs=0.01)
    turned = tip_speed.check(Record(scene, record.phases, record.motion, moves[::-1]))
    assert turned == (found,)


def test_each_load_is_judged_by_itself(scene, lever_m, moving_record):
    moves = (
        MoveSpan("round", 1, "first", "to_joints", 0.0, 5.0, "rider"),
        MoveSpan("round", 2, "second", "to_joints", 5.0, 10.0, "free"),
    )
    findings = tip_speed.check(moving_record(scene, {"arm/j1": [0.05 / lever_m]}, moves=moves))
    assert [(item.other, item.verdict) for item in findings] == [("rider", Verdict.PASS), ("free", Verdict.PASS)]


def test_with_nobody_aboard_the_loads_own_speed_counts(scene, lever_m, moving_record):
    record = moving_record(scene, {"arm/j1": [0.15 / lever_m]}, load="free")
    left = scene.tree.attach("ev1", "world", np.eye(4))
    (found,) = tip_speed.check(Record(scene, (Phase(0.0, 10.0, left),), record.motion, record.moves))
    assert (found.verdict, found.limit) == (Verdict.PASS, 0.2)
    assert "with load 'free' the tip moves" in found.message


def test_a_finding_that_passes_asks_for_nothing(scene, moving_record):
    (found,) = tip_speed.check(moving_record(scene, {}))
    assert (found.verdict, found.remedy) == (Verdict.PASS, "")


def test_the_tip_of_a_move_is_that_of_its_own_phase(scene, moving_record):
    """The rider leaves half way: what rides at the end of a move says nothing of the move before."""
    record = moving_record(scene, {"arm/j1": [0.02]}, load="free")
    left = scene.tree.attach("ev1", "world", np.eye(4))
    phases = (Phase(0.0, 9.0, left), Phase(9.0, 10.0, scene.tree))
    moves = (MoveSpan("round", 1, "swing", "to_joints", 0.0, 9.0, "free"),)
    (found,) = tip_speed.check(Record(scene, phases, record.motion, moves))
    assert (found.other, found.limit) == ("free", 0.2)
    moves = (MoveSpan("round", 1, "swing", "to_joints", 9.0, 10.0, "free"),)
    (found,) = tip_speed.check(Record(scene, phases, record.motion, moves))
    assert found.limit == 0.1
