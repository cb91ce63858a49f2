"""Separation of free workers and the speed of riders: bounds against dense sampling, and sums by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import near_people
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.motion.curve import Motion
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase
from armcarry.timeline.separation import protective_separation
from armcarry.whatif.nearness import TOLERANCE_M, BesideArm, near_curve, nearness

REACTION_S, BRAKE = 0.5, np.radians(4.0)  # of the arm in conftest
RATE = 0.02


def _scene(rider_scene, apart_m, rules=None):
    """Stand a worker where the rider passes half way through the turn, apart_m above the feet's path."""
    scene = rider_scene({})
    middle = poses.rotation_about((0.0, 0.0, 1.0), RATE * 20.0)
    boots = middle @ scene.tree.pose_of("ev1/boots", scene.position)
    upright = poses.translation(boots[:3, 3] + (0.0, 0.0, apart_m))
    return rider_scene({}, frames={"spot": upright}, worker_at="platform/spot", rules=rules)


@pytest.fixture
def passing(rider_scene, turning_record):
    """Build a run in which the arm, turning at RATE, passes a worker."""
    return lambda apart_m, rules=None: turning_record(_scene(rider_scene, apart_m, rules), rate_rad_s=RATE)


def _dense(record):
    """Measure the worker against everything that rides, the arm and the restraint, at many instants."""
    times = np.linspace(0.0, 40.0, 1201)
    names = [body.name for body in record.bodies]
    theirs = [k for k, name in enumerate(names) if name.startswith("ev2/")]
    ours = [k for k, name in enumerate(names) if name.split("/")[0] in ("arm", "restraint", "ev1")]
    placed = record.body_poses(times)
    every = ours + theirs
    pairs = np.array([(a, len(ours) + b) for a in range(len(ours)) for b in range(len(theirs))])
    found = distances([record.bodies[k].shape for k in every], placed[:, every], pairs).upper_m
    gaps = found.reshape(len(times), len(ours), len(theirs)).min(axis=2)
    return times, gaps, [names[k] for k in ours], placed[:, ours]


@pytest.mark.parametrize("apart_m", [0.3, 1.0, 2.5])
def test_the_distance_is_never_overstated(passing, apart_m):
    record = passing(apart_m)
    found = nearness(record, "ev2")
    _, gaps, names, _ = _dense(record)
    assert found.nearest_m <= gaps.min() + 1e-9
    gap = gaps[:, names.index(found.body)].min()
    assert found.distance_m <= gap + 1e-9
    assert found.distance_m >= gap - 3 * TOLERANCE_M


def test_the_separation_is_the_sum_by_hand(passing):
    found = nearness(passing(2.5, {"worker_speed": "0.5 m/s"}), "ev2")
    terms = found.separation
    stopping_s = RATE / BRAKE
    assert terms.worker_m == pytest.approx(0.5 * (REACTION_S + stopping_s))
    assert terms.machine_error_m == pytest.approx(0.02)
    # one joint turns: a point at r m from its axis goes r w, and r w^2 / 2b while braking
    radius = terms.reaction_m / (RATE * REACTION_S)
    assert 1.0 < radius < 6.0
    assert terms.stopping_m >= radius * RATE**2 / (2 * BRAKE)  # the longest lever is never shorter
    whole = protective_separation(
        worker_speed_m_s=0.5, machine_speed_m_s=radius * RATE, reaction_s=REACTION_S, stopping_s=stopping_s,
        stopping_m=terms.stopping_m, machine_error_m=0.02,
    )
    assert whole.total_m == pytest.approx(terms.total_m)


def test_speeds_are_never_understated(passing):
    record = passing(0.5)
    times, gaps, _, placed = _dense(record)
    speed = np.linalg.norm(np.diff(placed[:, :, :3, 3], axis=0), axis=2) / np.diff(times)[:, None]
    near = gaps[:-1] < 3.0
    assert nearness(record, "ev2").relative_m_s >= speed[near].max() - 1e-9


def test_a_walking_person_needs_more_room_than_there_is(passing):
    worker = next(f for f in near_people.check(passing(0.5)) if f.subject == "ev2")
    assert worker.verdict is Verdict.FAIL
    assert worker.value < worker.limit
    found = nearness(passing(0.5), "ev2")
    assert (worker.other, worker.unit, worker.start_s) == (found.body, "m", found.time_s)
    assert (worker.value, worker.limit) == (found.distance_m, found.separation.total_m)
    assert "ev2 coming at 1.6 m/s as a person walks, is " in worker.message
    assert "(ISO/TS 15066:2016, 5.5.4 (formula from memory))" in worker.message
    assert "nearer than 3 m to arm, rider or hardware they move against each other at " in worker.message
    assert worker.remedy.startswith("have ev2 wait ")


def test_a_slow_worker_far_enough_passes(passing):
    worker = next(f for f in near_people.check(passing(2.5, {"worker_speed": "0.1 m/s"})) if f.subject == "ev2")
    assert worker.verdict is Verdict.PASS
    assert "ev2 coming at 0.1 m/s, is " in worker.message
    assert worker.remedy == ""


def test_slowing_down_is_offered_where_it_is_enough(passing):
    for apart in np.arange(0.2, 3.0, 0.2):
        record = passing(apart, {"worker_speed": "0.5 m/s"})
        found = nearness(record, "ev2")
        share = near_people.slower_share(record, found)
        if found.margin_m < 0 and share is not None:
            break
    else:
        pytest.fail("no place at which slowing down helps")
    still = 0.5 * REACTION_S
    terms = found.separation
    slowed = still + terms.machine_error_m + (terms.worker_m - still + terms.reaction_m) * share
    slowed += terms.stopping_m * share**2
    assert slowed == pytest.approx(found.distance_m)
    worker = next(f for f in near_people.check(record) if f.subject == "ev2")
    assert worker.remedy.endswith(f"or slow swing to {math.floor(share * 100)} % of its rate")


def test_where_slowing_down_is_not_enough_that_is_said(passing):
    worker = next(f for f in near_people.check(passing(0.1)) if f.subject == "ev2")
    assert worker.remedy.endswith("; slowing the arm alone is not enough")


def test_an_arm_that_stands_asks_for_no_separation(rider_scene, turning_record):
    record = turning_record(_scene(rider_scene, 0.3), rate_rad_s=0.0)
    worker = next(f for f in near_people.check(record) if f.subject == "ev2")
    assert (worker.verdict, worker.message) == (Verdict.PASS, "the arm stands still whenever ev2 is outside")
    assert nearness(record, "ev2") is None
    assert near_curve(record, "ev2") is None


def test_nobody_outside_is_said(rider_scene, turning_record):
    first = near_people.check(turning_record(rider_scene({})))[0]
    assert (first.verdict, first.subject) == (Verdict.PASS, "arm")
    assert first.message == (
        "nobody works outside the restraint in this run, so nobody is to be kept separate from the arm"
    )


def test_a_worker_who_moves_is_followed(rider_scene):
    # the arm turns one way, the worker's boots go another; distances are those of both
    scene = _scene(rider_scene, 1.0)
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    table[0, 1, scene.tree.column("arm/j1")] = RATE
    table[0, 1, scene.tree.column("ev2/free_z")] = 0.05
    motion = Motion(scene.tree.joints, np.array([0.0, 40.0]), table)
    move = MoveSpan("round", 1, "swing", "to_joints", 0.0, 40.0, "rider")
    record = Record(scene, (Phase(0.0, 40.0, scene.tree),), motion, (move,))
    found = nearness(record, "ev2")
    _, gaps, names, _ = _dense(record)
    assert gaps[:, names.index(found.body)].min() - 3 * TOLERANCE_M <= found.distance_m <= gaps.min() + 0.5
    assert found.nearest_m <= gaps.min() + 1e-9


@pytest.mark.parametrize(("start_s", "end_s", "moves"), [(0.0, 9.4, False), (9.0, 9.6, True), (9.6, 9.9, True)])
def test_what_the_arm_does_within_its_reaction_time_counts_before_it_is_done(rider_scene, start_s, end_s, moves):
    scene = _scene(rider_scene, 1.0)
    table = np.zeros((2, 2, len(scene.position)))
    table[:, 0] = scene.position
    table[1, 1, scene.tree.column("arm/j1")] = RATE
    motion = Motion(scene.tree.joints, np.array([0.0, 10.0, 50.0]), table)
    phase = Phase(0.0, 50.0, scene.tree)
    side = BesideArm(Record(scene, (phase,), motion, ()), phase, "ev2")
    _, margin, _, speed, _ = side._cells(np.array([start_s]), np.array([end_s]))
    assert bool(speed[0] > 0.0) is moves
    assert bool(np.isfinite(margin).any()) is moves


# -- riders ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("allowed", "verdict"), [("0.2 m/s", Verdict.PASS), ("0.05 m/s", Verdict.FAIL)])
def test_a_rider_must_not_go_too_fast(rider_scene, turning_record, allowed, verdict):
    record = turning_record(rider_scene({}, rules={"rider_tip_speed": allowed}), rate_rad_s=RATE)
    rider = next(f for f in near_people.check(record) if f.subject == "ev1")
    plate = record.scene.tree.pose_of("restraint/plate", record.scene.position)[:3, 3]
    speed = RATE * np.hypot(*plate[:2])
    assert rider.verdict is verdict
    assert rider.value == pytest.approx(speed, abs=2e-4)
    assert rider.message.startswith(
        f"with ev1 aboard the tip moves at {math.ceil(rider.value * 1e4) / 1e4:.4f} m/s at most, in swing; "
    )
    assert "No point of ev1 or of what the arm carries goes faster than 0.09" in rider.message
    slow = f"slow swing to {math.floor(5.0 / rider.value)} % of its rate"
    assert rider.remedy == ("" if verdict is Verdict.PASS else slow)


def test_the_curve_of_a_plot_is_the_distance(passing):
    record = passing(1.0)
    curve = near_curve(record, "ev2")
    times, gaps, *_ = _dense(record)
    moving = curve.time_s < 39.0
    assert curve.distance_m[moving] == pytest.approx(np.interp(curve.time_s[moving], times, gaps.min(axis=1)), abs=2e-3)
    assert np.all(np.isnan(curve.distance_m[curve.time_s > 41.0]))
    assert np.nanmin(curve.separation_m) > 0.5
    assert 0.0 < curve.time_s[0] < 0.1 and record.duration_s - 0.1 < curve.time_s[-1] < record.duration_s
    assert len(curve.time_s) == 400


def _terms(worker_m=0.8, reaction_m=0.3, stopping_m=0.0, intrusion_m=0.1, worker_error_m=0.05, machine_error_m=0.05):
    return SimpleNamespace(worker_m=worker_m, reaction_m=reaction_m, stopping_m=stopping_m, intrusion_m=intrusion_m,
                           worker_error_m=worker_error_m, machine_error_m=machine_error_m)  # fmt: skip


@pytest.mark.parametrize(("distance_m", "terms", "share"), [
    # still 0.5 m of 1 m/s for 0.5 s; 0.2 m do not shrink; 0.6 m go with the rate
    (1.0, {}, 0.5), (1.3, {}, 1.0), (9.0, {}, 1.0), (0.7, {}, None), (0.71, {}, 0.01 / 0.6),
    (0.8, {"worker_m": 0.5, "reaction_m": 0.0}, 1.0),  # nothing of it shrinks, and there is enough
    (1.0, {"stopping_m": 0.4}, (-0.6 + np.sqrt(0.36 + 1.6 * 0.3)) / 0.8), (9.0, {"stopping_m": 0.4}, 1.0),
])  # fmt: skip
def test_the_share_of_the_rate_that_keeps_the_distance(rider_scene, turning_record, distance_m, terms, share):
    record = turning_record(rider_scene({}, rules={"worker_speed": "1 m/s"}))
    found = near_people.slower_share(record, SimpleNamespace(distance_m=distance_m, separation=_terms(**terms)))
    assert found == (None if share is None else pytest.approx(share))


def test_the_fastest_move_with_the_rider_aboard_is_told(rider_scene, moving_record):
    scene = rider_scene({})
    moves = [MoveSpan("round", k, name, "to_joints", start, end, "rider") for k, (name, start, end) in
             enumerate((("slow", 0.0, 4.0), ("at once", 4.0, 4.0), ("fast", 4.0, 10.0)))]  # fmt: skip
    for order in (moves, moves[::-1]):
        record = moving_record(scene, {"arm/j1": [0.0, 0.002]}, moves=tuple(order))
        rider = next(f for f in near_people.check(record) if f.subject == "ev1")
        assert " m/s at most, in fast; " in rider.message
        assert rider.other == "tip"
        assert rider.start_s == rider.end_s == pytest.approx(10.0, abs=0.01)
    even = [MoveSpan("round", k, name, "to_joints", 5.0 * k, 5.0 * k + 5.0, "rider") for k, name in
            enumerate(("first", "second"))]  # fmt: skip
    record = moving_record(scene, {"arm/j1": [0.02]}, moves=tuple(even))
    assert ", in first; " in next(f for f in near_people.check(record) if f.subject == "ev1").message


def test_only_moves_with_the_rider_aboard_count(rider_scene, moving_record):
    """The rider gets off for the middle of the run, in which the arm is fast, and on again."""
    scene = rider_scene({})
    off = scene.tree.attach("ev1", "world", np.eye(4))
    moves = tuple(MoveSpan("round", k, name, "to_joints", *span, "rider") for k, (name, span) in
                  enumerate((("with", (0.0, 3.0)), ("without", (3.0, 9.0)), ("after", (9.0, 10.0)))))  # fmt: skip
    record = moving_record(scene, {"arm/j1": [0.0, 0.0, 0.0003]}, moves=moves)
    phases = (Phase(0.0, 3.0, scene.tree), Phase(3.0, 9.5, off), Phase(9.5, 10.0, scene.tree))
    rider = next(f for f in near_people.check(replace(record, phases=phases)) if f.other == "tip")
    # the middle of 'after' is at the switch, where the later phase counts
    assert ", in after; " in rider.message
    gone = (Phase(0.0, 3.0, scene.tree), Phase(3.0, 10.0, off))
    rider = next(f for f in near_people.check(replace(record, phases=gone)) if f.other == "tip")
    assert ", in with; " in rider.message
    assert rider.start_s == pytest.approx(3.0, abs=0.01)
    fastest = float(rider.message.split(" goes faster than ")[1].split(" m/s")[0])
    # at 3 s the rate is 0.0081 rad/s; the arm reaches 5 m and the load a little farther
    assert fastest <= 0.0081 * 6.0
    never = near_people.check(replace(record, phases=(Phase(0.0, 10.0, off),)))
    assert not [f for f in never if f.other == "tip"]


def test_what_the_rider_holds_counts_for_the_fastest_point_and_the_arm_does_not(rider_scene, moving_record):
    case = [Body("case", "base", Box((0.3, 0.3, 0.3)), poses.translation((0.0, 6.0, 0.0)))]
    alone, laden = (
        next(f.message for f in near_people.check(moving_record(rider_scene({}, held=held), {"arm/j1": [0.02]}))
             if f.other == "tip")
        for held in ((), case)
    )  # fmt: skip
    assert "(ev1/" in alone and laden.endswith(" (load/case)")
    tree = (scene := rider_scene({}, held=case)).tree
    where = tree.pose_of("load/base", scene.position) @ poses.translation((0.0, 6.0, 0.0))
    reach = np.hypot(*where[:2, 3])
    told = float(laden.split(" goes faster than ")[1].split(" m/s")[0])
    assert 0.02 * reach < told <= 0.02 * (reach + 0.6)
