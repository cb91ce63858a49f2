"""Ways out with one joint locked: proven ways that end where they say, on the short run and on the plain rider."""

import json
from dataclasses import replace

import numpy as np
import pytest

from armcarry.asked.pairs import arm_pairs
from armcarry.checks import locked_joint
from armcarry.clearance import distances
from armcarry.clearance.second_opinion import BANDS_M, engine_distance
from armcarry.files.documents.rules import LockedJoint
from armcarry.motion.forward import forward
from armcarry.record.finding import Verdict
from armcarry.record.store import load, save
from armcarry.timeline.handrails import rails_of
from armcarry.whatif.faults import Side, windows
from armcarry.whatif.locked_joint import escapes, instants


@pytest.fixture(scope="module")
def found(short_run):
    return short_run[0], escapes(short_run[0])


def whole(record, item, points=200):
    """Return joint vectors (N, n) along a way."""
    share = np.linspace(0, len(item.way) - 1, points)
    q = np.repeat(record.motion.at(item.time_s)[None], points, axis=0)
    for k, column in enumerate(record.scene.arm_columns):
        q[:, column] = np.interp(share, np.arange(len(item.way)), item.way[:, k])
    return q


def test_every_joint_is_asked_about_at_every_instant_with_a_rider(found):
    record, items = found
    aboard = [t for t in instants(record) if record.scene.aboard(record.phase_at(t).tree)]
    assert aboard
    assert {(item.time_s, item.joint) for item in items} == {(t, k) for t in aboard for k in range(7)}


def test_a_run_that_begins_later_is_asked_from_then_on(found):
    record = found[0]
    late = float(instants(record)[1]) + 1.0
    phases = tuple(replace(one, start_s=max(one.start_s, late)) for one in record.phases if one.end_s > late)
    rest = replace(record, phases=phases)
    asked = instants(rest)
    assert len(asked) == len(instants(record)) and asked.min() > late and asked.max() < record.duration_s
    aboard = [t for t in asked if rest.scene.aboard(rest.phase_at(t).tree)]
    assert aboard and {item.time_s for item in escapes(rest)} == set(aboard)


def test_a_way_starts_where_the_joint_locks_and_leaves_it_there(found):
    record, items = found
    limits = record.scene.tree.joint_limits[record.scene.arm_columns]
    for item in items:
        assert item.way[0] == pytest.approx(record.motion.at(item.time_s)[record.scene.arm_columns])
        assert np.ptp(item.way[:, item.joint]) == 0.0
        assert np.all((item.way >= limits[:, 0] - 1e-9) & (item.way <= limits[:, 1] + 1e-9))


def test_a_way_ends_with_a_handrail_or_the_safe_point_in_reach(found):
    record, items = found
    assert {item.kind for item in items} & {"handrail", "safe point"}
    for item in items:
        tree = record.phase_at(item.time_s).tree
        member = record.scene.loaded.crew[item.crew]
        q = whole(record, item)[-1]
        if item.kind == "handrail":
            rails = rails_of(record.scene.loaded.platform.document, tree, q)
            rail = next(r for r in rails if r.name == item.where)
            points = forward(tree, q, [f"{item.crew}/{link}" for link in member.document.shoulders])[:, :3, 3]
            gap = min(np.linalg.norm(rail.point(rail.nearest(p)) - p) for p in points)
        elif item.kind == "safe point":
            plate = record.scene.tool(tree)
            start = tree.pose_of(plate, record.motion.at(0.0))
            gap = np.linalg.norm(tree.pose_of(plate, q)[:3, 3] - start[:3, 3])
        else:
            continue
        assert gap <= member.size.reach.one_hand + 1e-9


@pytest.fixture(scope="module")
def measured(found):
    """Measure the judged pairs along every way: item, side, rows of its pairs, what must be left, poses, gaps."""
    record, items = found
    known = {}
    done = []
    for item in items:
        if item.kind == "none":
            continue
        phase = record.phase_at(item.time_s)
        if id(phase) not in known:
            known[id(phase)] = tuple(windows(Side.of(record, phase, arm_pairs(record.scene, phase.tree))))
        window = next(w for w in known[id(phase)] if w.start_s <= item.time_s <= w.end_s)
        side, bodies = window.side, phase.tree.bodies
        frames = forward(phase.tree, whole(record, item, 20), [body.link for body in bodies])
        placed = frames @ np.stack([body.pose for body in bodies])
        rows = np.flatnonzero(~np.isnan(window.left_m))
        gaps = distances([body.shape for body in bodies], placed, side.pairs[rows]).upper_m
        done.append((item, side, rows, window.left_m[rows], placed, gaps))
    return done


def test_a_way_keeps_what_must_be_left(measured):
    for item, _, _, left_m, _, gaps in measured:
        assert (gaps - left_m).min() >= min(item.lower_m, 0.0) - 1e-6
        assert item.lower_m >= 0


def test_the_check_tells_the_longest_way_of_every_joint(found):
    record, items = found
    findings = locked_joint.check(record)
    assert len(findings) == 7
    for finding in findings:
        mine = [item for item in items if record.scene.arm_joints[item.joint] == finding.subject]
        if finding.verdict is Verdict.PASS:
            assert finding.value == max(item.lasting_s for item in mine)
            assert "the longest way takes" in finding.message
        else:
            assert finding.value == sum(item.kind == "none" for item in mine)
            assert "no way was found" in finding.message


def test_ways_are_kept_with_the_finding_and_come_back(short_run, tmp_path):
    record, findings = short_run
    mine = [finding for finding in findings if finding.check == "locked_joint"]
    assert all(len(finding.ways) == len(instants(record)) for finding in mine)
    save(record, findings, tmp_path / "run")
    told = [item for item in json.loads((tmp_path / "run" / "findings.json").read_text()) if "ways" in item]
    assert [item["subject"] for item in told] == [finding.subject for finding in mine]
    assert {len(corner) for item in told for way in item["ways"] for corner in way["corners"]} == {7}
    assert load(tmp_path / "run")[1] == findings


def test_a_way_out_keeps_its_distance_for_coal_too(measured):
    pytest.importorskip("coal")
    coal = engine_distance("coal")
    looked = 0
    for item, side, rows, left_m, placed, gaps in measured:
        if len(item.way) < 2:
            continue
        over, bodies = gaps - left_m, side.phase.tree.bodies
        for k, p in zip(*np.unravel_index(np.argsort(over, axis=None)[:3], over.shape), strict=True):
            a, b = side.pairs[rows[p]]
            theirs = coal(bodies[a].shape, placed[k, a], bodies[b].shape, placed[k, b])
            assert theirs >= left_m[p] + item.lower_m - BANDS_M["coal"]
            looked += 1
    assert looked > 50


def test_rules_may_leave_it_out(found, monkeypatch):
    record, _ = found
    monkeypatch.setattr(record.scene.loaded.rules, "__dict__", {
        **record.scene.loaded.rules.__dict__, "locked_joint": LockedJoint(instants=0)
    })  # fmt: skip
    (finding,) = locked_joint.check(record)
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.remedy == "give rules.locked_joint some instants"
