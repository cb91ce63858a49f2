"""The demo carry to fly, planned without its long way: goals are where the script's own moves end."""

from pathlib import Path

import pytest

from armcarry.handfly.cockpit import course_of

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


@pytest.fixture(scope="session")
def short_script(tmp_path_factory):
    """The demo carry cut off after the box is pulled out of its rack, as a file."""
    text = CARRY.read_text(encoding="utf-8")
    head = text.split("      - {hold: 30 s, name: clear_of_rack", 1)[0]
    path = tmp_path_factory.mktemp("script") / "short.yaml"
    path.write_text(head, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def course(short_script):
    """The cut carry as something to fly along."""
    return course_of(short_script)


@pytest.fixture
def autopilot():
    """What a person at the keys presses to reach the goal of the leg that is flown: see ``press``."""
    return press


def press(pilot):
    """Return push and turn as keys give them, -1, 0 or 1, in the platform's axes, and whether fine is right.

    Coarse far off, fine near; every direction in which the goal is not met yet.
    """
    import numpy as np

    from armcarry.geometry.poses import rotation_vector

    goal = pilot.course.legs[pilot.course.goal_from(pilot.leg)].goal
    here = pilot.tool_pose()
    way = goal[:3, 3] - here[:3, 3]
    turn = rotation_vector(goal @ np.linalg.inv(here))
    far = bool(np.linalg.norm(way) > 0.3)
    least_m, least_rad = (0.16, np.radians(2.0)) if far else (0.006, np.radians(0.2))
    push = tuple(float(np.sign(x)) if abs(x) > least_m else 0.0 for x in way)
    return push, tuple(float(np.sign(x)) if abs(x) > least_rad else 0.0 for x in turn), not far
