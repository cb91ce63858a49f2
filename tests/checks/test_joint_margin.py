"""Margins from both ends of travel: joints of conftest go 3 rad either way, 5 deg are required."""

import numpy as np
import pytest

from armcarry.checks import joint_margin
from armcarry.record.finding import Verdict

DEG = np.pi / 180
LEFT = 5 * DEG


@pytest.fixture
def judged(rider_scene, moving_record):
    """Judge a run in which j1, from 0, comes to an angle and back to a small one."""

    def build(top_rad):
        # a parabola that touches top_rad half way
        return joint_margin.check(moving_record(rider_scene({}), {"arm/j1": [0.4 * top_rad, -0.04 * top_rad]}))

    return build


@pytest.mark.parametrize(("sign", "side"), [(1, "upper"), (-1, "lower")])
@pytest.mark.parametrize(("beyond", "verdict"), [(1e-4, Verdict.PASS), (-1e-4, Verdict.FAIL)])
def test_either_end_counts_at_the_instant_nearest_to_it(judged, sign, side, beyond, verdict):
    found = judged(sign * (3.0 - LEFT - beyond))[0]  # the tightest is told first
    assert (found.subject, found.verdict) == ("arm/j1", verdict)
    assert found.value == pytest.approx(LEFT + beyond, abs=1e-9)
    assert (found.limit, found.unit) == (pytest.approx(LEFT), "rad")
    assert found.start_s == found.end_s == pytest.approx(5.0, abs=0.01)
    assert f"from its {side} end of travel {np.degrees(sign * 3.0):.1f} deg" in found.message


def test_the_message_and_what_to_do(judged):
    found = judged(3.0 - 2 * DEG)[0]
    assert found.message == (
        "arm/j1 comes to 169.9 deg, 2.0 deg from its upper end of travel 171.9 deg; 5.0 deg is required"
    )
    assert found.remedy == "start from another branch of the arm or pin arm/j1 nearer its middle"
    assert judged(1.0)[0].remedy == ""


def test_every_joint_is_told_the_tightest_first(judged):
    findings = judged(2.0)
    assert sorted(item.subject for item in findings) == [f"arm/j{k}" for k in range(1, 7)]
    left = [item.value - item.limit for item in findings]
    assert left == sorted(left)


def test_as_far_from_either_end_the_lower_is_told(judged):
    (still,) = (item for item in judged(0.0) if item.subject == "arm/j1")
    assert "from its lower end of travel -171.9 deg" in still.message


def test_a_joint_that_slides_is_held_to_its_own_margin_in_metres(rider_scene, moving_record):
    margins = {"joint_position": "5 deg", "joint_travel": "0.2 m", "smallest_singular_value": 0.1}
    scene = rider_scene({}, rules={"margins": margins}, slides=("j1",))
    findings = joint_margin.check(moving_record(scene, {"arm/j1": [0.0, 0.009], "arm/j2": [0.2]}))
    slid = next(item for item in findings if item.subject == "arm/j1")
    assert (slid.value, slid.limit, slid.unit) == (pytest.approx(0.1), 0.2, "m")
    assert slid.message == (
        "arm/j1 comes to 0.900 m, 0.100 m from its upper end of travel 1.000 m; 0.200 m is required"
    )
    # 0.1 m too little of 0.2 m is told before a joint that has 0.3 rad and keeps its 0.087 rad
    assert [item.subject for item in findings[:2]] == ["arm/j1", "arm/j2"]


def test_what_is_left_beyond_the_margin_decides_the_order(rider_scene, moving_record):
    margins = {"joint_position": "5 deg", "joint_travel": "0.5 m", "smallest_singular_value": 0.1}
    scene = rider_scene({}, rules={"margins": margins}, slides=("j1",))
    # 0.55 m of 0.5 m are 0.05 beyond; 0.3 rad of 0.087 rad are 0.21 beyond
    findings = joint_margin.check(moving_record(scene, {"arm/j1": [0.045], "arm/j2": [0.2002]}))
    assert [item.subject for item in findings[:2]] == ["arm/j1", "arm/j2"]
    assert findings[0].value > findings[1].value
