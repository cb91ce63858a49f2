"""A run as it stands after a fault: what is drawn, what the page and the player are told of it."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.motion.forward import forward
from armcarry.record.finding import Cause, ClearanceDetail, Finding, Verdict
from armcarry.views import gl
from armcarry.views.daylight import Level
from armcarry.views.fault import displaced, held, position
from armcarry.views.groups import rigid_groups
from armcarry.views.moments import failure, worst_failures
from armcarry.views.page.ghost import after, stops
from armcarry.views.pointed import gap_of, label_words, look_at, named, standing
from armcarry.views.stage import Stage
from armcarry.whatif.late_stop import stopped


@pytest.fixture(scope="module")
def moving_s(small_run):
    record, _ = small_run
    move = next(m for m in record.moves if m.kind not in ("hold", "attach", "detach") and m.end_s > m.start_s)
    return (move.start_s + move.end_s) / 2


@pytest.fixture(scope="module")
def joints(small_run, moving_s):
    record, _ = small_run
    return tuple((record.motion.at(moving_s)[record.scene.arm_columns] + 0.2).tolist())


@pytest.fixture(scope="module")
def late(small_run, moving_s, joints):
    """A failure after a fault: of the arm's hand and the nearest thing that stands."""
    record, _ = small_run
    hand = next(body.name for body in record.bodies if body.name.startswith("arm/"))
    other = next(body.name for body in record.bodies if body.name.startswith("platform/"))
    points = held(record, moving_s, joints).body_poses(moving_s)[0, :, :3, 3]
    where = {body.name: tuple(map(float, point)) for body, point in zip(record.bodies, points, strict=True)}
    detail = ClearanceDetail(0.0, 0.0, 0.02, moving_s, where[hand], where[other], joints)
    return Finding("stopping", Verdict.FAIL, hand, "told to stop", other=other, start_s=moving_s, end_s=moving_s + 1.0,
                   value=0.0, limit=0.02, unit="m", remedy="slow down", clearance=detail)


def test_a_held_run_stands_as_it_is_then_but_for_the_arm(small_run, moving_s, joints):
    record, _ = small_run
    there = held(record, moving_s, joints)
    assert np.allclose(there.motion.at(moving_s)[record.scene.arm_columns], joints)
    others = np.setdiff1d(np.arange(len(record.motion.joints)), record.scene.arm_columns)
    assert np.array_equal(there.motion.at(moving_s)[others], record.motion.at(moving_s)[others])
    assert np.array_equal(there.motion.at(there.motion.end_s), there.motion.at(there.motion.start_s))
    assert there.phases == (record.phase_at(moving_s),)
    assert np.abs(there.body_poses(moving_s) - record.body_poses(moving_s)).max() > 0.05


def test_what_a_fault_moves_is_told_with_its_place(small_run, moving_s, joints):
    record, _ = small_run
    groups = rigid_groups(record)
    found = {group.name: pose for group, pose in displaced(record, moving_s, joints, groups)}
    tree = record.phase_at(moving_s).tree
    links = [group.link for group in groups]
    then = dict(zip(links, forward(tree, position(record, moving_s, joints), links), strict=True))
    now = dict(zip(links, forward(tree, record.motion.at(moving_s), links), strict=True))
    for group in groups:
        if group.name in found:
            assert np.array_equal(found[group.name], then[group.link])
        else:
            assert np.abs(then[group.link] - now[group.link]).max() < 2e-3
    assert record.leaders[record.scene.arm_tip] in {group.link for group in groups if group.name in found}
    assert displaced(record, moving_s, tuple(record.motion.at(moving_s)[record.scene.arm_columns]), groups) == []


def test_a_finding_of_a_fault_has_its_two_bodies_and_its_own_figures(small_run, late, joints):
    record, _ = small_run
    gap = gap_of(record, late)
    assert gap.bodies == (late.subject, late.other) and gap.joints == joints and gap.row is None
    assert label_words(late, gap) == "✕ contact (0.020 m must be left)"
    assert named(late).count(" – ") == 1
    near = replace(late, value=0.013, clearance=replace(late.clearance, lower_m=0.013, upper_m=0.0135))
    assert label_words(near, gap_of(record, near)) == "✕ 0.013 m (0.020 m must be left)"
    assert standing(record, gap) is not record
    assert gap_of(record, replace(late, other="platform/no_body_but_a_room")) is None
    middle = (np.array(gap.point_a) + np.array(gap.point_b)) / 2
    assert look_at(record, late).focus_m == pytest.approx(middle)
    told = after(record, gap, rigid_groups(record))
    assert {item["node"] for item in told} == {
        f"group {group.name}" for group, _ in displaced(record, gap.time_s, joints, rigid_groups(record))}


def test_stops_lead_to_where_everything_comes_to_rest(small_run):
    """The page turns what hangs from the arm about the joints' axes; so does this, and meets the run's own answer."""
    record, _ = small_run
    groups = rigid_groups(record)
    told = stops(record, groups)
    count = len(record.scene.arm_columns)
    axes = np.array(told["axes"]).reshape(count, 7)
    at, more = (np.array(told[key]).reshape(-1, count) for key in ("at", "more"))
    nodes = {f"group {group.name}": group for group in groups}
    moved = 0
    for k in range(0, len(told["times"]), max(len(told["times"]) // 12, 1)):
        time_s = told["times"][k]
        tree, now = record.link_poses(time_s)
        rest = forward(tree, stopped(record, time_s))
        base = now[tree.index(nodes[told["foot"]].link)] if told["foot"] else np.eye(4)
        for node, spans in told["hangs"].items():
            before = next((int(n) for start, end, n in spans if start <= time_s < end), 0)
            here, there = (_product(axes[:before], angles[:before]) for angles in (at[k], at[k] + more[k]))
            link = nodes[node].link
            found = base @ there @ np.linalg.inv(here) @ np.linalg.inv(base) @ now[tree.index(link)]
            assert np.allclose(found, rest[tree.index(link)], atol=3e-3), (node, time_s)
            moved += not np.allclose(found, now[tree.index(link)], atol=3e-3)
    assert moved > 10


def _product(axes, angles):
    whole = np.eye(4)
    for (x, y, z, *point, turns), angle in zip(axes, angles, strict=True):
        step = np.eye(4)
        if turns:
            cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
            step[:3, :3] += np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
            step[:3, 3] = np.array(point) - step[:3, :3] @ point
        else:
            step[:3, 3] = np.array([x, y, z]) * angle
        whole = whole @ step
    return whole


def test_one_failure_of_each_cause_is_drawn_the_worst_first(small_run, late):
    record, _ = small_run
    one, other = Cause("move", "one"), Cause("move", "other")
    mild = replace(late, value=0.019, clearance=replace(late.clearance, lower_m=0.019, upper_m=0.019), cause=one)
    placeless = Finding("schedule", Verdict.FAIL, "cut_off", "too late")
    found = worst_failures(record, [mild, replace(late, cause=one, message="first"), placeless,
                                    replace(mild, cause=other)], 3)
    assert [item.message for item in found] == ["first", mild.message]
    assert worst_failures(record, [replace(late, verdict=Verdict.PASS)], 3) == []


@pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
def test_a_picture_of_a_failure_shows_everything_where_the_fault_brings_it(small_run, late, moving_s, joints):
    record, _ = small_run
    with Stage(record, (320, 180), Level.PLAIN) as stage:
        shown = failure(record, stage, late, "failed")
        there = held(record, moving_s, joints)
        for body, pose in zip(record.bodies, there.body_poses(moving_s)[0], strict=True):
            assert np.allclose(stage.scene.body_pose(body.name), pose, atol=1e-9), body.name
        stage.show(moving_s)
        flown = {body.name: pose for body, pose in zip(record.bodies, record.body_poses(moving_s)[0], strict=True)}
        assert all(np.allclose(stage.scene.body_pose(name), pose, atol=1e-9) for name, pose in flown.items())
    assert shown.title.startswith("Fails: ") and late.message in shown.words and np.ptp(shown.pixels) > 100
