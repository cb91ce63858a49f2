"""Relaxations must be short, near one place of the tip, and name few bodies."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.checks import relaxation
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.quantities import clock
from armcarry.record.finding import Verdict


@pytest.fixture
def judged(rider_scene, turning_record):
    """Judge relaxations of a run in which the arm turns for 40 s and a second worker is outside."""
    wall = Body("wall", "yard", Sphere(0.1), poses.translation((9.0, 0.0, 0.0)))
    scene = rider_scene({}, (wall,), worker_at="platform/there", frames={"there": poses.translation((8.0, 0.0, 0.0))})

    def judge(first, second, end_s=40.0, required_m=0.1):
        record = turning_record(scene, relaxed=(Relaxed(first, second, required_m, 0.0, end_s, "hands on"),))
        return relaxation.check(record)

    return judge


def test_what_the_arm_moves_is_relaxed_near_one_place_of_the_tip_only(judged):
    for pattern in ("arm/*", "restraint/*", "ev1/*"):
        (found,) = judged(pattern, "platform/wall")
        assert found.verdict is Verdict.FAIL, pattern
        assert "1.000 m is allowed" in found.message
    (short,) = judged("ev1/*", "platform/wall", end_s=1.0)
    assert short.verdict is Verdict.PASS


def test_a_free_worker_on_a_rail_is_not_held_to_the_tip(judged):
    (found,) = judged("ev2/*", "platform/wall")
    assert found.verdict is Verdict.PASS
    (long,) = judged("ev2/*", "platform/wall", end_s=60.5)
    assert long.verdict is Verdict.FAIL
    assert "it lasts 0:01:00.5, 0:01:00.0 is allowed" in long.message


def test_names_that_fit_nothing_and_distances_below_the_least_are_told(judged):
    (found,) = judged("ev2/*", "platform/wal", required_m=-0.1)
    assert "'platform/wal' fits no body" in found.message
    assert "it leaves -0.100 m, 0.000 m is the least allowed" in found.message


def test_the_whole_of_what_a_script_grants(judged):
    (found,) = judged("ev1/*", "platform/wall", end_s=1.0)
    assert (found.subject, found.other, found.start_s, found.end_s) == ("ev1/*", "platform/wall", 0.0, 1.0)
    assert (found.value, found.limit, found.unit) == (1.0, 60.0, "s")
    assert found.message.startswith(
        "ev1/* to platform/wall relaxed to 0.1 m for 0:00:01.0 (hands on), the tip within 0.0"
    )
    assert len(found.message.rsplit("within ", 1)[1]) == len("0.05 m")
    (wide,) = judged("*", "platform/wall", end_s=61.0)
    assert (wide.subject, wide.other, wide.end_s) == ("*", "platform/wall", 61.0)
    assert (wide.value, wide.limit, wide.unit) == (61.0, 60.0, "s")
    assert wide.remedy == "relax fewer moves, or name the bodies that must come close"


def test_a_pattern_that_fits_too_many_bodies_is_told(judged, monkeypatch):
    monkeypatch.setattr(relaxation, "MOST_BODIES", 1)
    (found,) = judged("ev2/*", "platform/wall")
    assert ": 'ev2/*' fits " in found.message
    assert found.message.endswith(" bodies, name them closer")
    assert "platform/wall' fits" not in found.message


def test_the_tip_is_told_by_the_nearer_of_both_ends(rider_scene, turning_record):
    scene = rider_scene({})
    tip = scene.tree.pose_of(scene.arm_tip, scene.position)[:2, 3]
    record = turning_record(scene, 0.05, 40.0, 20.0)
    far = 2 * float(np.hypot(*tip)) * np.sin(0.05 * 40.0 / 4)
    assert relaxation.tip_spread_m(record, 0.0, 40.0) == pytest.approx(far, rel=1e-3)
    assert relaxation.tip_spread_m(record, 0.0, 60.0) == pytest.approx(far, rel=2e-2)
    assert relaxation.tip_spread_m(record, 40.0, 60.0) == pytest.approx(0.0, abs=1e-9)


PLACES = {"worksites": {"bench": {"title": "b", "stand": "stand", "within": "2 m", "near": [
    {"who": "*", "to": "wall", "at_least": "0.1 m", "why": "hands work"}]}}}


@pytest.fixture
def of_places(rider_scene, turning_record):
    """Judge what a place granted twice, under rules that allow it or not."""
    wall = Body("wall", "yard", Sphere(0.1), poses.translation((9.0, 0.0, 0.0)))

    def judge(least="0 m", place_reach="2.5 m", spans=((0.0, 300.0), (400.0, 430.0)), required=(0.1,)):
        limits = {"longest": "1 min", "least": least, "reach": "1 m", "place_reach": place_reach}
        scene = rider_scene({}, (wall,), platform=PLACES, rules={"relaxation": limits})
        granted = tuple(
            Relaxed("ev1/*", "platform/wall", asked, *span, "hands work", "bench")
            for asked in required for span in spans
        )
        return relaxation.check(turning_record(scene, relaxed=granted))

    return judge


def test_what_a_place_grants_is_one_finding_that_says_to_whom_when_and_why(of_places):
    (found,) = of_places()
    assert found.verdict is Verdict.PASS
    assert (found.subject, found.other, found.start_s, found.end_s) == ("bench", "ev1", 0.0, 430.0)
    times = "0:00:00.0 to 0:05:00.0, 0:06:40.0 to 0:07:10.0"
    assert found.message == f"bench grants ev1, while there ({times}): 0.1 m to wall (hands work)"
    assert (found.value, found.limit, found.unit) == (0.1, 0.0, "m")


@pytest.mark.parametrize(("count", "more"), [(0, ""), (1, " and 1 more times"), (2, " and 2 more times")])
def test_of_many_times_the_first_are_told_and_the_rest_counted(of_places, count, more):
    spans = tuple((100.0 * k, 100.0 * k + 1.0) for k in range(relaxation.MOST_SPANS + count))
    (found,) = of_places(spans=spans)
    last = clock(spans[relaxation.MOST_SPANS - 1][1])
    assert f" to {last}{more}): 0.1 m to wall" in found.message
    assert found.end_s == spans[-1][1]


def test_what_a_place_grants_of_several_is_told_once_each_and_the_least_is_judged(of_places):
    (found,) = of_places(least="0.06 m", required=(0.2, 0.05))
    assert found.message.endswith(
        ": 0.2 m to wall (hands work); 0.05 m to wall (hands work): it leaves 0.050 m, 0.060 m is the least allowed"
    )
    assert (found.subject, found.other, found.start_s, found.end_s) == ("bench", "ev1", 0.0, 430.0)
    assert (found.value, found.limit, found.unit) == (0.05, 0.06, "m")


def test_a_place_may_not_grant_less_than_the_rules_allow_nor_hold_farther(of_places):
    assert of_places(least="0.1 m", place_reach="2 m")[0].verdict is Verdict.PASS
    (less,) = of_places(least="0.2 m")
    assert less.verdict is Verdict.FAIL
    assert "0.200 m is the least allowed" in less.message
    assert less.remedy == "say less under near of bench"
    (far,) = of_places(place_reach="1.9 m")
    assert far.verdict is Verdict.FAIL
    assert "1.900 m is allowed" in far.message
