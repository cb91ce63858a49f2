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
    wall = Body("wall", "yard", poses.translation((9.0, 0.0, 0.0)), Sphere(0.1))
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
