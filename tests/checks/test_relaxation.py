"""Relaxations must be short, near one place of the tip, and name few bodies."""

from __future__ import annotations

import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.checks import relaxation
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
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


PLACES = {"worksites": {"bench": {"title": "b", "stand": "stand", "within": "2 m", "near": [
    {"who": "*", "to": "wall", "at_least": "0.1 m", "why": "hands work"}]}}}


@pytest.fixture
def of_places(rider_scene, turning_record):
    """Judge what a place granted twice, under rules that allow it or not."""
    wall = Body("wall", "yard", Sphere(0.1), poses.translation((9.0, 0.0, 0.0)))

    def judge(least="0 m", place_reach="2.5 m"):
        limits = {"longest": "1 min", "least": least, "reach": "1 m", "place_reach": place_reach}
        scene = rider_scene({}, (wall,), platform=PLACES, rules={"relaxation": limits})
        spans = ((0.0, 300.0), (400.0, 430.0))
        granted = tuple(Relaxed("ev1/*", "platform/wall", 0.1, *span, "hands work", "bench") for span in spans)
        return relaxation.check(turning_record(scene, relaxed=granted))

    return judge


def test_what_a_place_grants_is_one_finding_that_says_to_whom_when_and_why(of_places):
    (found,) = of_places()
    assert found.verdict is Verdict.PASS
    assert (found.subject, found.other, found.start_s, found.end_s) == ("bench", "ev1", 0.0, 430.0)
    times = "0:00:00.0 to 0:05:00.0, 0:06:40.0 to 0:07:10.0"
    assert f"bench grants ev1, while there ({times}): 0.1 m to wall (hands work)" in found.message


def test_a_place_may_not_grant_less_than_the_rules_allow_nor_hold_farther(of_places):
    assert of_places(least="0.1 m", place_reach="2 m")[0].verdict is Verdict.PASS
    (less,) = of_places(least="0.2 m")
    assert less.verdict is Verdict.FAIL
    assert "0.200 m is the least allowed" in less.message
    assert less.remedy == "say less under near of bench"
    (far,) = of_places(place_reach="1.9 m")
    assert far.verdict is Verdict.FAIL
    assert "1.900 m is allowed" in far.message
