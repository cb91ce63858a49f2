"""Practised faults, what is said of them, and how long the operator takes to brake."""

import numpy as np
import pytest

from armcarry.errors import MotionError
from armcarry.handfly.alarm import alarm, margin_class
from armcarry.handfly.calls import ways_off
from armcarry.handfly.chance import BETWEEN_S, Chance
from armcarry.handfly.cockpit import Cockpit, flown
from armcarry.handfly.command import TICK_S, Command
from armcarry.handfly.control import Fault
from armcarry.handfly.flight import Flight
from armcarry.handfly.score import score


def test_a_joint_runs_away_until_the_brakes_bite_and_the_time_to_react_is_measured(course, tmp_path):
    cockpit = Cockpit(course, tmp_path / "try_1", seed=None)
    pilot = cockpit.flight.pilot
    fault = cockpit.fail("runaway")
    for _ in range(45):
        cockpit.tick(Command())
    assert pilot.rate[fault.joint] == pytest.approx(fault.rate, rel=0.05)
    assert ways_off(pilot, cockpit.flight.read())[0].startswith("brake: ")
    assert cockpit.reactions == (("runaway", None),)
    for _ in range(120):
        cockpit.tick(Command(brake=True))
    cockpit.close()
    assert pilot.resting
    assert cockpit.reactions == (("runaway", pytest.approx(45 * TICK_S)),)


def test_every_fault_keeps_its_own_time_to_react_and_a_dark_camera_is_answered_by_another_view(course, tmp_path):
    cockpit = Cockpit(course, tmp_path / "try_1", seed=None)

    def wait(ticks, brake=False):
        for _ in range(ticks):
            cockpit.tick(Command(brake=brake))

    cockpit.fail("late")
    wait(30)
    wait(90, brake=True)
    cockpit.fail("camera")
    wait(15)
    cockpit.look()
    cockpit.fail("late")
    wait(12)
    wait(90, brake=True)
    cockpit.fail("runaway")
    cockpit.close()
    expected = (("late", 30 * TICK_S), ("camera", 15 * TICK_S), ("late", 12 * TICK_S), ("runaway", None))
    assert [(kind, s if s is None else pytest.approx(s)) for kind, s in cockpit.reactions] == list(expected)
    again = flown(tmp_path / "try_1", course)
    assert again.reactions == cockpit.reactions
    assert score(again).row("one")[-1] == "late 1.00 s, camera 0.50 s, late 0.40 s, runaway not yet"


def test_a_late_stop_runs_on_for_as_much_longer(course):
    ways = []
    for late_s in (None, 1.5):
        flight = Flight(course.record.scene, course)
        for _ in range(120):
            flight.step(Command(frame="platform", push=(0.0, 1.0, 0.0)))
        rate, asked = flight.pilot.rate.copy(), flight.pilot.q.copy()
        if late_s is not None:
            flight.fail(Fault("late", flight.pilot.tick, late_s=late_s))
        for _ in range(180):
            flight.step(Command(brake=True))
        assert flight.pilot.resting
        ways.append(flight.pilot.q - asked)
    assert ways[1] - ways[0] == pytest.approx(1.5 * rate, abs=1e-9)


def test_the_same_seed_gives_the_same_faults_at_the_same_times(course):
    def drawn(seed):
        flight, chance, found = Flight(course.record.scene, course), Chance(seed), []
        for tick in range(0, 60 * 600, 30):
            flight.pilot.tick = tick
            fault = chance.due(flight.pilot)
            if fault is not None:
                found.append(fault)
        return found

    first = drawn(7)
    assert first == drawn(7)
    assert first != drawn(8)
    assert drawn(None) == []
    starts = np.diff([0] + [fault.tick for fault in first]) * TICK_S
    assert len(first) >= 4
    assert starts.min() >= BETWEEN_S[0] - 2 and starts.max() <= BETWEEN_S[1] + 2


def test_a_fault_that_is_none_is_refused(course):
    flight = Flight(course.record.scene, course)
    with pytest.raises(MotionError, match="the arm has no joint 9"):
        flight.fail(Fault("runaway", 0, joint=9, rate=0.01))


def test_margins_have_names_and_a_still_arm_has_no_alarm(course):
    assert [margin_class(m) for m in (-0.01, 0.05, 0.3, 0.7)] == ["short", "tight", "near", "free"]
    flight = Flight(course.record.scene, course)
    quiet = alarm(flight.read(), flight.pilot)
    assert (quiet.level, quiet.words) == (0, "no limit is near")
