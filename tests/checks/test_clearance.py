"""Verdicts on clearance rows: contact, too near, no rule, and what a pass says."""

import math
from dataclasses import replace

import pytest

from armcarry.checks.clearance import check
from armcarry.record.finding import Verdict
from armcarry.record.record import PairRow

POINT = (1.0, 2.0, 3.0)


def row(status="proven", lower_m=0.5, upper_m=0.5005, required_m=0.3, why="rule", **names):
    bodies = {"body_a": "arm/boom", "body_b": "platform/post", "class_a": "arm", "class_b": "structure"} | names
    return PairRow(**bodies, start_s=0.0, end_s=100.0, required_m=required_m, why=why, status=status,
                   lower_m=lower_m, upper_m=upper_m, time_s=61.5, point_a=POINT, point_b=POINT)


@pytest.fixture
def judged(rider_scene, turning_record):
    scene = rider_scene({})
    return lambda *rows: check(turning_record(scene, pairs=rows))


def test_overlap_is_a_contact_and_never_a_number(judged):
    (finding,) = judged(row("contact", -math.inf, 0.0))
    assert finding.verdict is Verdict.FAIL
    assert finding.message == "arm/boom and platform/post touch at 0:01:01.5; 0.300 m is required (rule)"
    assert finding.value is None
    written = finding.as_dict()
    assert written["lower_m"] is None
    assert written["upper_m"] == 0.0


def test_a_proof_that_was_given_up_is_never_a_pass(judged):
    (finding,) = judged(row("unresolved", -math.inf, 0.9))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        "arm/boom to platform/post: the proof was given up between 0:00:00.0 and 0:01:40.0, for the motion is too "
        "fast for its clock; measured once, at 0.900 m, and contact is not ruled out"
    )
    assert finding.remedy == "give the motion more time, or a clock that starts nearer to 0 s"
    # what was measured is enough to fail, and beside a pass nothing passes
    (near,) = judged(row("unresolved", -math.inf, 0.2))
    assert (near.verdict, near.value) == (Verdict.FAIL, 0.2)
    assert near.message == "arm/boom and platform/post come within 0.200 m at 0:01:01.5; 0.300 m is required (rule)"
    found = judged(row(), row("unresolved", -math.inf, 0.9, body_b="platform/hit"))
    assert [(f.verdict, f.other) for f in found] == [(Verdict.NOT_ASSESSED, "platform/hit")]


def test_contact_fails_even_where_nothing_is_required_between_the_classes(judged):
    (finding,) = judged(row("contact", -math.inf, 0.0, required_m=0.0))
    assert finding.verdict is Verdict.FAIL


def test_what_is_not_proven_fails_though_the_bodies_may_be_far_enough(judged):
    # 0.2995 to 0.3004: perhaps 0.3 and perhaps not
    (finding,) = judged(row(lower_m=0.2995, upper_m=0.3004))
    assert finding.verdict is Verdict.FAIL
    # to three digits both would be 0.300 m
    assert finding.message == (
        "arm/boom and platform/post come within 0.2995 m at 0:01:01.5; 0.3000 m is required (rule)"
    )
    assert (finding.value, finding.limit) == (0.2995, 0.3)
    assert finding.remedy.startswith("lead the carry farther from platform/post")


def test_every_failing_pair_is_told_worst_first_and_passing_ones_once(judged):
    found = judged(
        row(lower_m=0.1, upper_m=0.1004, body_b="platform/near"), row("contact", -math.inf, 0.0, body_b="platform/hit"),
        row(lower_m=0.2, upper_m=0.2004), row(),
        row(body_a="ev1/trunk", class_a="rider"), row("farther", 3.2, math.inf, body_a="ev1/helmet", class_a="rider"),
    )  # fmt: skip
    assert [(f.verdict.value, f.other) for f in found] == [
        ("fail", "platform/hit"), ("fail", "platform/near"), ("fail", "platform/post"), ("pass", "platform/post"),
    ]  # fmt: skip
    assert found[-1].message == (
        "rider to structure: 2 pairs; tightest ev1/trunk to platform/post, at least 0.500 m at 0:01:01.5, "
        "0.300 m required"
    )


def test_classes_without_a_rule_are_not_assessed_and_say_what_was_measured(judged):
    (finding,) = judged(row(required_m=None, why="no rule"), row(required_m=None, lower_m=0.2, upper_m=0.2003))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        "no rule says how close arm may come to structure; 2 pairs of bodies were measured, the nearest arm/boom to "
        "platform/post at 0.201 m"
    )
    assert finding.remedy == "add a rule between arm and structure"


def test_contact_that_is_not_declared_fails_where_no_rule_says_how_close(judged):
    found = judged(row("contact", -math.inf, 0.0, required_m=None, why="no rule"), row(required_m=None, why="no rule"))
    assert [f.verdict for f in found] == [Verdict.FAIL, Verdict.NOT_ASSESSED]
    assert found[0].message == (
        "arm/boom and platform/post touch at 0:01:01.5; no rule covers the two and no contact of theirs is declared"
    )
    (alone,) = judged(row("contact", -math.inf, 0.0, required_m=None, why="no rule"))
    assert alone.verdict is Verdict.FAIL


def test_intended_contact_is_neither_passed_nor_failed(judged):
    assert judged(row("intended", 0.0, 0.0, required_m=None, why="intended contact")) == ()


def test_a_relaxed_pair_is_judged_by_what_was_granted(judged):
    (passed,) = judged(row(lower_m=0.05, upper_m=0.0505, required_m=0.04, why="the seat is near"))
    assert passed.verdict is Verdict.PASS
    assert passed.message.endswith("0.040 m required (the seat is near)")
    failed = judged(row(lower_m=0.03, upper_m=0.0305, required_m=0.04, why="the seat is near"))
    assert failed[0].message.endswith("0.040 m is required (the seat is near)")


def test_bodies_that_the_arms_document_leaves_unjudged_are_told_and_no_pass(rider_scene, turning_record):
    scene = rider_scene({})
    arm = scene.loaded.arm
    document = arm.document.model_copy(update={"ignore_pairs": [("boom_1*", "boom_2*"), ("base", "case")]})
    changed = replace(scene, loaded=replace(scene.loaded, arm=replace(arm, document=document)))
    (finding,) = check(turning_record(changed, pairs=()))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        "the arm's document leaves 2 pairs of its bodies unjudged, in every posture: boom_1* and boom_2*; base and case"
    )
    assert check(turning_record(scene, pairs=())) == ()
