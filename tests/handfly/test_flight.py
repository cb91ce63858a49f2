"""Flying by hand without a window: the arm does what is asked, inside every limit, and stops as the check says."""

from pathlib import Path

import numpy as np
import pytest

from armcarry.files.motion_log import read_motion_log
from armcarry.handfly.alarm import alarm
from armcarry.handfly.cockpit import LOG, RUN, SCRIPT, Cockpit, course_of, flown, keep, table
from armcarry.handfly.command import TICK_S, Command
from armcarry.handfly.flight import Flight
from armcarry.handfly.score import log_bytes, score
from armcarry.motion.braking import run_out
from armcarry.record.store import load
from armcarry.rehearsal import rehearse
from armcarry.whatif.late_stop import run_outs

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


def fly(flight, seconds, **command):
    for _ in range(round(seconds / TICK_S)):
        flight.step(Command(**command))


def reach(step, pilot, autopilot, longest_s=120.0):
    """Press keys until the leg's goal is met and the arm stands."""
    for _ in range(round(longest_s / TICK_S)):
        push, turn, fine = autopilot(pilot)
        command = Command("tip", "platform", push, turn, fine=fine)
        step(command)
        if command.idle and pilot.resting:
            return
    raise AssertionError(f"not there after {longest_s} s: {pilot.off_goal()}")


@pytest.mark.long
def test_a_rider_takes_the_box_out_of_its_rack_and_every_check_of_the_kept_try_passes(course, autopilot, tmp_path):
    cockpit = Cockpit(course, tmp_path / "try_1")
    pilot = cockpit.flight.pilot
    reach(cockpit.tick, pilot, autopilot)
    assert cockpit.act() == ""
    reach(cockpit.tick, pilot, autopilot)
    cockpit.close()
    off_m, off_rad = pilot.off_goal()
    assert off_m < 0.02
    assert off_rad < np.radians(1.0)
    found = score(cockpit.flight)
    assert found.done
    assert found.short_s == 0.0
    assert 0.0 < found.least_margin_m < 0.2

    again = flown(tmp_path / "try_1", course)
    assert np.array_equal(np.array(again.kept.q), np.array(cockpit.flight.kept.q))
    assert score(again) == found
    assert [row[0] for row in table({"try_1": found, "try_2": found})] == ["try", "try_1", "try_2"]

    record, findings = load(keep(again, tmp_path / "try_1"))
    assert (tmp_path / "try_1" / RUN / "summary.json").is_file()
    assert record.logged is not None
    assert [finding.message for finding in findings if finding.verdict == "fail"] == []
    assert {"clearance", "stopping", "joint_rate", "tip_speed", "slowing"} <= {finding.check for finding in findings}
    assert read_motion_log(tmp_path / "try_1" / LOG).times_s[-1] == pytest.approx(pilot.time_s, abs=0.11)
    edited = rehearse(tmp_path / "try_1" / SCRIPT)
    assert not edited.shortfalls
    end = edited.link_path(pilot.tool, edited.motion.end_s)[0]
    assert np.linalg.norm(end[:3, 3] - pilot.tool_pose()[:3, 3]) < 0.01


def test_the_brake_runs_out_as_far_as_the_stopping_check_says(course, tmp_path):
    """To 1 %: what was flown after the key, what was read before it, the check of the same motion, and v^2 / 2b."""
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    fly(flight, 6.0, frame="platform", push=(0.0, 1.0, 0.0))
    asked, q, rate, read = pilot.tick, pilot.q.copy(), pilot.rate.copy(), flight.read()
    while pilot.asked is None or not pilot.resting:
        flight.step(Command(brake=True))
    fly(flight, 0.5)
    steps = np.diff(np.array(flight.kept.tool_m)[asked:], axis=0)
    flown_m = float(np.linalg.norm(steps, axis=1).sum())
    assert flown_m > 0.03
    assert read.run_out_m == pytest.approx(flown_m, rel=0.01)
    expected = run_out(rate, pilot.brakes, pilot.scene.loaded.arm.document.reaction_time)
    assert np.abs(pilot.q - q) == pytest.approx(expected.distance, rel=0.01, abs=1e-6)

    log = tmp_path / "braked.csv"
    log.write_bytes(log_bytes(flight))
    record = rehearse(course.record.scene.loaded.path, motion=log, pieces="cubic")
    stops = run_outs(record)
    # a log has ten rows a second: asked so long before that the brakes bite while the rates are even in it
    checked_m = float(np.interp(asked * TICK_S - 0.3, stops.time_s, stops.runout_m))
    assert checked_m == pytest.approx(flown_m, rel=0.01)


def test_hands_off_the_arm_comes_to_rest_inside_its_accelerations(course):
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    fly(flight, 5.0, frame="rider", push=(-1.0, 0.0, 0.3), turn=(0.0, 0.0, 0.5))
    fly(flight, 8.0)
    assert pilot.resting
    q = np.array(flight.kept.q)
    change = np.abs(np.diff(q, n=2, axis=0)) / TICK_S**2
    assert np.all(change <= 1.001 * pilot.accelerations + 1e-9)
    assert np.all(np.abs(np.diff(q, axis=0)) / TICK_S <= pilot.rates)
    steps = np.linalg.norm(np.diff(np.array(flight.kept.tool_m), axis=0), axis=1) / TICK_S
    assert steps.max() <= pilot.tip_speed


def test_a_joint_meets_the_end_of_its_travel_at_rest_and_gently(course):
    flight = Flight(course.record.scene, course)
    pilot = flight.pilot
    joint = pilot.chain.size - 1
    high = pilot.chain.limits[joint, 1]
    pilot.position[pilot.columns[joint]] = high - np.radians(8.0)
    warned = np.inf
    for _ in range(round(20.0 / TICK_S / 5)):
        for _ in range(5):
            flight.step(Command("joint", joint=joint, share=1.0))
        read = flight.read()
        if read.end_joint == joint and warned == np.inf:
            warned = read.end_s
    assert high - np.radians(0.1) < pilot.q[joint] <= high
    assert pilot.resting or abs(pilot.rate[joint]) < 1e-4
    assert warned >= 3.0
    change = np.abs(np.diff(np.array(flight.kept.q)[2:, joint], n=2)) / TICK_S**2
    assert change.max() <= 1.01 * pilot.accelerations[joint]


def test_following_the_script_with_pauses_ends_where_the_script_does(course):
    flight = Flight(course.record.scene, course)
    pilot, motion = flight.pilot, course.record.motion
    pilot.script_s = course.legs[1].span.start_s
    for share in (1.0, 0.0, 1.0):
        fly(flight, 6.0, mode="script", share=share)
        if share == 0.0:
            assert pilot.resting
    fly(flight, 30.0, mode="script", share=1.0)
    end = motion.at(course.legs[3].span.start_s)[pilot.columns]
    assert pilot.q == pytest.approx(end, abs=1e-9)


def test_an_act_is_refused_until_the_arm_is_there_and_still(course):
    flight = Flight(course.record.scene, course)
    said = flight.act()
    assert said.startswith("pump_box is 901 mm and 0.0 deg from ev1/hands; 50 mm and 5.7 deg are allowed")
    fly(flight, 1.0, frame="platform", push=(0.0, -1.0, 0.0))
    assert flight.act() == "the arm must stand still first"


@pytest.mark.long
def test_flying_into_the_radiator_is_warned_of_at_least_three_seconds_ahead(tmp_path):
    """Straight astern with the port radiator out: from the first warning of it to less than required of it."""
    text = CARRY.with_name("pump_box_radiator_out.yaml").read_text(encoding="utf-8")
    path = tmp_path / "radiator.yaml"
    path.write_text(text.split("      - {hold: 30 s, name: clear_of_rack", 1)[0], encoding="utf-8")
    course = course_of(path)
    flight = Flight(course.record.scene, course)
    astern = {"frame": "platform", "push": (-1.0, 0.0, 0.0)}
    fly(flight, 65.0, **astern)
    assert alarm(flight.read(), flight.pilot).level == 0
    seen = {}
    while flight.pilot.time_s < 110.0 and 3 not in seen:
        fly(flight, 3 * TICK_S, **astern)
        read = flight.read()
        now = alarm(read, flight.pilot)
        if ("radiator port sheet" in now.words and 1 <= now.level < 3) or read.pairs[0].margin_m < 0:
            seen.setdefault(now.level, (flight.pilot.time_s, now))
    assert set(seen) == {1, 2, 3}
    short_s, short = seen[3]
    assert "radiator port sheet" in short.words
    assert short_s - seen[1][0] >= 3.0
    assert short_s - seen[2][0] >= 3.0
    assert seen[1][0] + seen[1][1].in_s == pytest.approx(short_s, abs=0.5)
