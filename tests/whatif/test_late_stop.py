"""The slack of braking arcs covers the braking begun at every instant of their cell."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.requirement import Asked
from armcarry.motion.braking import braking
from armcarry.motion.curve import Motion
from armcarry.timeline.run import Phase
from armcarry.whatif import late_stop, runaway_joint
from armcarry.whatif.cells import Leaves
from armcarry.whatif.faults import Window
from armcarry.whatif.late_stop import braking_arcs
from armcarry.whatif.runaway_joint import Swept

BRAKES = np.array([0.07, 0.05, 0.1])
JOINTS = ("arm/a", "arm/b", "wing", "arm/c", "walk")  # three of the arm, between them two that are not
COLUMNS = np.array([0, 1, 3])


def _side(motion):
    scene = SimpleNamespace(arm_columns=COLUMNS, arm_joints=tuple(JOINTS[k] for k in COLUMNS))
    return SimpleNamespace(record=SimpleNamespace(scene=scene, motion=motion), brakes=BRAKES)


@pytest.mark.parametrize("seed", range(6))
def test_braking_begun_anywhere_in_a_cell_stays_within_the_slack(seed):
    rng = np.random.default_rng(seed)
    powers = np.array([1.0, 0.05, 0.02, 0.002])[:, None]
    table = rng.normal(size=(1, 4, 5)) * powers
    table[:, 2:, [2, 4]] = 0.0  # what is not the arm goes on evenly
    motion = Motion(JOINTS, np.array([0.0, 8.0]), table)
    starts = np.linspace(0.0, 7.0, 8)
    ends = starts + 1.0
    arcs = braking_arcs(_side(motion), starts, ends)
    used = np.zeros(5)
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        middle = arcs.motion(row, JOINTS)
        after = np.linspace(0.0, arcs.until[row], 25)
        for begun in np.linspace(start, end, 9):
            flown = motion.at(np.minimum(begun + after, motion.end_s))  # what is not the arm goes on
            arc = braking(motion.at(begun, 1, side="left")[None, COLUMNS], BRAKES)
            own = Motion(tuple("abc"), arc.breaks_s[0], arc.coefficients[0])
            flown[:, COLUMNS] = motion.at(begun)[COLUMNS] + own.at(np.minimum(after, own.end_s))
            off = np.abs(flown - middle.at(np.minimum(after, middle.end_s)))
            assert np.all(off <= arcs.slack[row] + 1e-9)
            used = np.maximum(used, (off / arcs.slack[row]).max(axis=0))
    assert np.all(used > 0.3)  # and is not far more than it must be


def test_a_cell_without_length_at_rest_has_no_slack():
    motion = Motion(JOINTS, np.array([0.0, 8.0]), np.ones((1, 1, 5)))
    arcs = braking_arcs(_side(motion), np.array([1.0]), np.array([2.0]))
    assert np.all(arcs.slack == 0.0)


RUNS_AWAY = np.array([0.3, 0.1, 0.2])  # rates at which the three of the arm run away
OTHERS = np.array([2, 4])


def _commanded(seed):
    """Return a motion of three pieces in which what is not the arm stands first, then goes ever faster."""
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(3, 4, 5)) * np.array([1.0, 0.05, 0.02, 0.002])[:, None]
    table[0, 1:, OTHERS] = 0.0
    table[1:, 1, OTHERS] = 0.0
    for piece in (1, 2):  # joined without a jump
        lasting = 3.0
        table[piece, 0] = (table[piece - 1] * lasting ** np.arange(4)[:, None]).sum(axis=0)
    return Motion(JOINTS, np.array([0.0, 3.0, 6.0, 9.0]), table)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("runs", [None, 0, 2], ids=["stopped late", "first runs away", "last runs away"])
def test_what_is_not_the_arm_is_covered_until_the_last_joint_stands(seed, runs, monkeypatch):
    monkeypatch.setattr(runaway_joint, "runaway_rates", lambda *_: RUNS_AWAY)
    motion = _commanded(seed)
    side = _side(motion)
    side.load, side.record.scene.loaded = None, SimpleNamespace(arm=SimpleNamespace(document=None))
    starts = np.arange(0.0, 9.0, 0.5)
    ends = starts + 0.5
    if runs is None:
        arcs = braking_arcs(side, starts, ends)
    else:
        one = np.full(len(starts), runs)
        arcs = runaway_joint.runaway_arcs(side, starts, ends, one, np.ones(len(one)), np.full(len(one), 0.4))
    used = np.zeros(2)
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        middle = motion.at((start + end) / 2)[OTHERS]
        for begun in np.linspace(start, end, 9):
            rate = np.abs(motion.at(begun, 1, side="left" if begun == end else "right")[COLUMNS])
            if runs is not None:
                rate[runs] = RUNS_AWAY[runs]
            flown = motion.at(np.linspace(begun, begun + (rate / BRAKES).max(), 50))[:, OTHERS]
            off, slack = np.abs(flown - middle).max(axis=0), arcs.slack[row, OTHERS]
            assert np.all(off <= slack + 1e-9)
            used = np.maximum(used, off / np.maximum(slack, 1e-9))
    assert np.all(used > 0.7)  # and is not far more than it must be


@pytest.mark.parametrize("runs", [None, 0], ids=["stopped late", "runs away"])
def test_what_is_hung_from_another_link_is_covered_as_if_its_joints_did_not_begin_anew(runs, monkeypatch):
    monkeypatch.setattr(runaway_joint, "runaway_rates", lambda *_: RUNS_AWAY)
    starts = np.arange(0.0, 9.0, 0.5)
    found = []
    for by in (0.0, 40.0):
        motion = _commanded(1)
        motion.coefficients[1:, 0, OTHERS] += by  # where the first piece ends
        motion.coefficients[2:, 0, OTHERS] -= 3 * by
        side = _side(motion)
        side.load, side.record.scene.loaded = None, SimpleNamespace(arm=SimpleNamespace(document=None))
        if runs is None:
            arcs = braking_arcs(side, starts, starts + 0.5)
        else:
            one = np.full(len(starts), runs)
            arcs = runaway_joint.runaway_arcs(
                side, starts, starts + 0.5, one, np.ones(len(one)), np.full(len(one), 0.4)
            )
        found.append(arcs.slack)
    assert found[0][:, OTHERS].max() > 0.0
    assert found[1] == pytest.approx(found[0], abs=1e-9)


# -- commands and the way of the tip -------------------------------------------------------------------------


def test_a_command_is_judged_by_what_begins_until_its_reaction_time_is_over():
    starts = np.array([0.0, 2.0, 3.0, 3.25, 5.0])
    lower = np.array([5.0, 4.0, 3.0, 2.0, 1.0])
    nothing = np.zeros(5)

    def part(own, lower_m):
        leaves = Leaves(starts, np.append(starts[1:], 9.0), nothing.astype(int), lower_m, nothing, nothing, nothing)
        return SimpleNamespace(own=own, leaves=leaves)

    document = SimpleNamespace(reaction_time=0.25)
    record = SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(arm=SimpleNamespace(document=document))))
    edges, least = late_stop._by_command(record, (part(False, lower), part(True, lower - 9.0)))
    assert edges.tolist() == [0.0, 2.0, 3.0, 3.25, 5.0, 9.0]
    # a cell's last command takes effect 0.25 s after its end, where no other cell has begun unless it begins before
    assert least.tolist() == [4.0, 3.0, 2.0, 1.0, 1.0]
    document.reaction_time = 0.5
    assert late_stop._by_command(record, (part(False, lower),))[1].tolist() == [4.0, 2.0, 2.0, 1.0, 1.0]


def test_the_tip_runs_out_on_its_arc_for_the_reaction_and_the_braking(rider_scene, moving_record):
    scene = rider_scene({}, rules={"stop_remainder": "0.15 m"})
    record = moving_record(scene, {"arm/j1": [0.02]}, 10.0)
    found = late_stop.run_outs(record)
    assert (found.remainder_m, found.most_m) == (0.15, late_stop.ENOUGH_M + 0.15)
    lever = np.hypot(*scene.tree.pose_of(scene.tool(scene.tree), scene.position)[:2, 3])
    brake = np.radians(4.0)
    early = found.time_s < 9.4
    assert found.runout_m[early] == pytest.approx(lever * (0.02 * 0.5 + 0.02**2 / (2 * brake)), rel=1e-4)
    assert found.runout_s[early] == pytest.approx(0.5 + 0.02 / brake)
    late = (found.time_s > 9.6) & (found.time_s < 10.0)  # less is left of the motion than the reaction takes
    assert found.runout_m[late] == pytest.approx(
        lever * (0.02 * (10.0 - found.time_s[late]) + 0.02**2 / (2 * brake)), rel=1e-4
    )
    assert {0.0, 10.0} <= set(found.time_s.tolist()) and len(found.time_s) >= 400
    still = late_stop.run_outs(moving_record(scene, {}))
    assert not still.runout_m.any() and not still.runout_s.any()


def test_where_the_arm_stands_and_goes_on_standing_it_runs_nowhere(rider_scene, turning_record):
    found = late_stop.run_outs(turning_record(rider_scene({})))  # turns for 40 s, then stands
    moves, stands = found.time_s < 40.0, found.time_s > 40.0
    assert np.all(found.runout_m[moves] > 0.0) and np.all(found.runout_s[moves] >= 0.5)
    assert stands.any() and not found.runout_m[stands].any() and not found.runout_s[stands].any()


def test_a_run_that_is_told_to_stop_rests_where_its_brakes_bring_it(rider_scene, moving_record):
    scene, brake = rider_scene({}), np.radians(4.0)
    j1, j2 = scene.tree.column("arm/j1"), scene.tree.column("arm/j2")
    record = moving_record(scene, {"arm/j1": [0.02], "arm/j2": [-0.01, 0.0005]}, 10.0)
    record = replace(record, phases=(Phase(0.0, 7.0, scene.tree), Phase(7.0, 10.0, scene.tree)))
    for told_s, begun_s in ((4.0, 4.5), (6.9, 7.0), (9.9, 10.0)):  # commanded for the reaction, to the phase's end
        rest, rates = late_stop.stopped(record, told_s), (0.02, -0.01 + 0.001 * begun_s)
        at = record.motion.at(begun_s, side="left")
        for column, rate in zip((j1, j2), rates, strict=True):
            assert rest[column] == pytest.approx(at[column] + np.sign(rate) * rate**2 / (2 * brake), abs=1e-12)
        others = np.delete(np.arange(len(rest)), [j1, j2])
        assert rest[others] == pytest.approx(at[others])


def test_a_fault_against_a_command_counts_what_was_commanded_since_it_began():
    """Of two joints that are commanded, each counts against a fault of its own; alone in moving, none does."""
    breaks = np.array([0.0, 5.0, 10.0])
    table = np.zeros((2, 2, 5))
    table[0, 1] = (-0.02, 0.03, 0.0, 0.0, 0.0)
    side = _side(Motion(JOINTS, breaks, table))
    first, last = np.array([3.0, 5.5, 7.0]), np.array([4.0, 6.0, 8.0])
    found = runaway_joint.against_rates(side, first, last, 1.0)
    assert found.shape == (2, 3, 3)
    assert found[0].tolist() == [[0.02, 0.0, 0.0], [0.02, 0.0, 0.0], [0.0, 0.0, 0.0]]
    assert found[1].tolist() == [[0.0, 0.03, 0.0], [0.0, 0.03, 0.0], [0.0, 0.0, 0.0]]
    assert not runaway_joint.against_rates(side, first[1:], last[1:], 0.25).any()
    table[0, 1, 1] = 0.0
    assert not runaway_joint.against_rates(_side(Motion(JOINTS, breaks, table)), first, last, 1.0).any()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("runs", [None, 0, 2], ids=["none runs away", "first runs away", "last runs away"])
def test_what_the_other_joints_of_the_arm_still_turn_is_covered_while_one_runs_away(seed, runs, monkeypatch):
    """At every instant of the braking of the others, begun anywhere in a cell, they are within the slack."""
    monkeypatch.setattr(runaway_joint, "runaway_rates", lambda *_: RUNS_AWAY)
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(1, 4, 5)) * np.array([1.0, 0.05, 0.02, 0.002])[:, None]
    motion = Motion(JOINTS, np.array([0.0, 8.0]), table)
    side = _side(motion)
    side.load, side.record.scene.loaded = None, SimpleNamespace(arm=SimpleNamespace(document=None))
    starts = np.linspace(0.0, 7.0, 15)
    ends = starts + 0.5
    one = None if runs is None else np.full(len(starts), runs)
    sign = None if runs is None else -np.ones(len(starts))
    arcs = runaway_joint.runaway_arcs(side, starts, ends, one, sign, np.full(len(starts), 0.4))
    others = np.delete(np.arange(3), [] if runs is None else [runs])
    used = np.zeros(len(others))
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        middle = arcs.motion(row, JOINTS).at(0.2)[COLUMNS]
        if runs is not None:  # the joint goes its way from where it is commanded to be
            assert middle[runs] == pytest.approx(motion.at((start + end) / 2)[COLUMNS[runs]] - 0.2)
        for begun in np.linspace(start, end, 9):
            arc = braking(motion.at(begun, 1, side="left")[None, COLUMNS], BRAKES)
            own = Motion(tuple("abc"), arc.breaks_s[0], arc.coefficients[0])
            flown = motion.at(begun)[COLUMNS] + own.at(np.linspace(0.0, own.end_s, 25))
            off, slack = np.abs(flown - middle)[:, others].max(axis=0), arcs.slack[row, COLUMNS[others]]
            assert np.all(off <= slack + 1e-9)
            used = np.maximum(used, off / slack)
    assert np.all(used > 0.4)
    still = runaway_joint.runaway_arcs(side, starts, ends, one, sign, np.full(len(starts), 0.4), braking=False)
    assert np.all(still.slack[:, COLUMNS[others]] <= arcs.slack[:, COLUMNS[others]])
    assert still.coefficients[0, 0, 0][others] == pytest.approx(motion.at(0.25)[COLUMNS[others]])


def test_each_joint_runs_away_either_way_and_only_while_the_arm_is_powered():
    arm = {"holding": 0.0, "safe": 4.0, "driven": 9.0}
    spans = tuple(zip(arm.values(), (4.0, 9.0, 20.0), arm, strict=True))
    rules = SimpleNamespace(arm_safe=None)
    record = SimpleNamespace(ledger=SimpleNamespace(spans=lambda of, end_s: spans), duration_s=20.0,
                             scene=SimpleNamespace(loaded=SimpleNamespace(rules=rules)))  # fmt: skip
    called = SimpleNamespace(call=1.5)  # how long before it is safe nobody counts on it
    for start, end, found, rules.arm_safe in (
        (5.0, 20.0, [(9.0, 20.0)], called),
        (2.0, 12.0, [(2.0, 4.0), (9.0, 12.0)], None), (4.0, 9.0, [], None), (9.0, 9.0, [], None),
        (0.0, 4.0, [(0, 4)], None), (0.0, 12.0, [(0.0, 2.5), (9.0, 12.0)], called), (3.0, 8.0, [], called),
    ):  # fmt: skip
        window = Window(None, Asked(start, end, *[np.zeros(0)] * 6))
        told = [(part.start_s, part.end_s) for part in runaway_joint.powered(record, window)]
        assert told == found


def test_whether_drives_are_held_back_is_told_of_the_stretch_that_an_instant_is_in():
    swept = SimpleNamespace(roots_s=np.array([0.0, 10.0, 20.0]), near=np.array([True, False, True]))
    told = [Swept.near_at(swept, time_s) for time_s in (-1.0, 0.0, 9.9, 10.0, 19.9, 25.0)]
    assert told == [True, True, True, False, False, True]
