"""The rider's calls: directions of the rider's own body, largest part first."""

import numpy as np
import pytest

from armcarry.geometry.poses import rotation_about
from armcarry.handfly.calls import call, spoken
from armcarry.handfly.flight import Flight


@pytest.mark.parametrize(
    ("metres", "said"),
    [(0.03, "3 centimetres"), (0.2, "20 centimetres"), (0.5, "half a metre"), (1.1, "one metre"), (2.4, "2.5 metres")],
)
def test_distances_are_said_as_people_say_them(metres, said):
    assert spoken(metres) == said


def test_a_goal_is_called_in_the_directions_of_the_riders_body(course):
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    goal = pilot.course.legs[pilot.course.goal_from(pilot.leg)].goal
    kept = goal.copy()
    here, axes = pilot.tool_pose(), pilot.axes("rider")
    try:
        for way, said in (
            ((0.0, 0.2, 0.5), "half a metre up, 20 centimetres to your left"),
            ((0.0, -0.2, 0.0), "20 centimetres to your right"),
            ((-1.0, 0.0, 0.0), "one metre back"),
        ):
            goal[:] = here
            goal[:3, 3] += axes @ np.array(way)
            assert call(pilot) == said
        goal[:3, :3] = (rotation_about(axes[:, 2], np.radians(10.0)) @ here)[:3, :3]
        goal[:3, 3] = here[:3, 3]
        assert call(pilot) == "turn left 10 degrees"
        goal[:3, :3] = (rotation_about(axes[:, 0], np.radians(10.0)) @ here)[:3, :3]
        assert call(pilot) == "lean to your right 10 degrees"
        goal[:] = here
        assert call(pilot) == "that is it, hold"
    finally:
        goal[:] = kept
