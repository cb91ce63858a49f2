"""Verdicts on clearance rows: contact, too near, no rule, and what a pass says."""

import math
from dataclasses import replace

import pytest

from armcarry.checks import clearance
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Follows, Joint
from armcarry.geometry.shapes import Sphere
from armcarry.record.finding import Verdict
from armcarry.record.record import PairRow

POINT = (1.0, 2.0, 3.0)


def check(record):
    """Return what is found, but for the booms of the plain arm, which touch wherever their joint stands."""
    found = clearance.check(record)
    (settled,) = [finding for finding in found if finding.message.startswith("bodies of links that a joint joins: ")]
    assert settled.verdict is Verdict.PASS
    assert settled.message == (
        "bodies of links that a joint joins: 1 touch wherever it stands, so that no motion brings them together: "
        "arm/boom_2 and arm/boom_3"
    )
    return tuple(finding for finding in found if finding is not settled)


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
    far = [row("farther", lower_m, math.inf, required_m=None, why="no rule") for lower_m in (7.5, 6.25)]
    (finding,) = judged(*far)  # never near enough to be measured
    assert finding.message.endswith("arm/boom to platform/post no nearer than 6.250 m")


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
    assert finding.subject == "arm"
    assert finding.remedy == (
        "keep in ignore_pairs only what touches in every posture; the document's notes may say why"
    )
    assert check(turning_record(scene, pairs=())) == ()


@pytest.fixture
def branching(rider_scene, turning_record, monkeypatch):
    """Judge rows of bodies that are there, and say at which instants another branch was asked for."""
    post = [Body(name, "yard", Sphere(0.1), poses.translation((9.0, k, 0.0))) for k, name in enumerate("pq")]
    scene = rider_scene({}, post)

    def build(*rows, branch="elbow bend -96 deg"):
        asked = []
        monkeypatch.setattr(clearance, "other_branch", lambda record, time_s: asked.append((record, time_s)) or branch)
        record = turning_record(scene, pairs=rows)
        found = check(record)
        assert all(of is record for of, _ in asked)
        return found, [time_s for _, time_s in asked]

    return build


def _near(k, body_a="arm/boom_2", body_b="platform/p", at=None, **more):
    near = row(lower_m=0.01 * k, upper_m=0.01 * k + 1e-4, body_a=body_a, body_b=body_b, **more)
    return replace(near, time_s=float(k if at is None else at))


@pytest.mark.parametrize(("branch", "words"), [
    ("elbow bend -96 deg", "; another branch, elbow bend -96 deg, holds the tool the same at 0:00:05.0 and keeps every "
                           "clearance"),
    ("", "; no other branch of the arm that was tried has room at 0:00:05.0"),
])  # fmt: skip
def test_a_gap_beside_the_arm_says_what_another_branch_would_do(branching, branch, words):
    for pair in (("arm/boom_2", "platform/p"), ("platform/p", "arm/boom_2")):
        (found,), asked = branching(_near(5, *pair), branch=branch)
        assert found.remedy == f"lead the carry farther from {pair[1]}: move the via point before it{words}"
        assert asked == [5.0]


def test_branches_are_looked_for_once_an_instant_and_at_the_three_worst(branching):
    rows = [_near(k, at=t) for k, t in ((9, 90), (1, 10), (2, 10), (5, 50), (7, 70), (3, 30))]
    found, asked = branching(*rows, _near(40), _near(4, "ev1/trunk", class_a="rider", at=40))
    assert asked == [10.0, 30.0, 50.0]
    told = [(f.start_s, "another branch" in f.remedy) for f in found if f.verdict is Verdict.FAIL]
    assert told == [(10.0, True), (10.0, True), (30.0, True), (40.0, False), (50.0, True), (70.0, False), (90.0, False)]
    assert not any(f.remedy for f in found if f.verdict is Verdict.PASS)


def test_of_bodies_that_the_run_does_not_have_no_branch_is_asked(branching):
    (found,), asked = branching(_near(5, body_b="platform/gone"))
    assert (found.remedy, asked) == ("lead the carry farther from platform/gone: move the via point before it", [])


@pytest.mark.parametrize(("names", "remedy"), [
    ({"body_a": "platform/post", "body_b": "arm/boom", "class_a": "structure", "class_b": "arm"},
     "lead the carry farther from platform/post: move the via point before it"),
    ({"class_a": "hardware", "class_b": "appendage"},
     "stow the appendage that platform/post belongs to, or lead the carry farther from it"),
    ({"body_a": "platform/wing", "class_a": "appendage", "body_b": "ev1/trunk", "class_b": "rider"},
     "stow the appendage that platform/wing belongs to, or lead the carry farther from it"),
    ({"class_b": "vehicle"}, "lead the carry farther from platform/post, or make it while the vehicle is absent"),
    ({"body_a": "vehicle/nose", "class_a": "vehicle", "body_b": "load/box", "class_b": "hardware"},
     "lead the carry farther from vehicle/nose, or make it while the vehicle is absent"),
    ({"body_a": "ev2/trunk", "class_a": "worker"},
     "let the worker go another way, farther from platform/post, or turn the body along it"),
    ({"body_a": "platform/post", "class_a": "structure", "body_b": "ev2/trunk", "class_b": "worker"},
     "let the worker go another way, farther from platform/post, or turn the body along it"),
])  # fmt: skip
def test_what_to_do_goes_by_what_is_in_the_way(judged, names, remedy):
    assert judged(row(lower_m=0.1, upper_m=0.1004, **names))[0].remedy == remedy


def test_a_failure_carries_where_it_is_and_what_was_asked(judged):
    (near,) = judged(row(lower_m=0.1, upper_m=0.1004))
    assert (near.unit, near.subject, near.other, near.start_s) == ("m", "arm/boom", "platform/post", 61.5)
    detail = near.clearance
    assert (detail.lower_m, detail.upper_m, detail.required_m, detail.time_s) == (0.1, 0.1004, 0.3, 61.5)
    assert detail.point_a == detail.point_b == POINT
    (touch,) = judged(row("contact", -math.inf, 0.0))
    assert (touch.unit, touch.limit, touch.start_s, touch.clearance.required_m) == ("m", 0.3, 61.5, 0.3)
    (free,) = judged(row("contact", -math.inf, 0.0, required_m=None, why="no rule"))
    assert (free.limit, free.clearance.required_m) == (None, 0.0)
    (open_,) = judged(row("unresolved", -math.inf, 0.9))
    assert (open_.subject, open_.other, open_.start_s, open_.end_s) == ("arm/boom", "platform/post", 0.0, 100.0)
    (passed,) = judged(row())
    assert (passed.subject, passed.other, passed.start_s) == ("arm/boom", "platform/post", 61.5)
    assert (passed.value, passed.limit, passed.unit, passed.clearance.upper_m) == (0.5, 0.3, "m", 0.5005)


def test_what_is_farther_than_was_asked_for_is_said_so(judged):
    (found,) = judged(row("farther", 3.0, math.inf))
    assert "; tightest arm/boom to platform/post, farther than 3.000 m at 0:01:01.5, " in found.message


def test_joints_of_the_arm_that_no_move_moves_are_told_and_no_pass(rider_scene, turning_record):
    scene = rider_scene({})
    arm = scene.loaded.arm
    grip = Joint("grip", "prismatic", "tip", "finger", lower=0.0, upper=0.1)
    other = Joint("other", "prismatic", "tip", "thumb", lower=0.0, upper=0.1, follows=Follows("grip"))
    model = replace(arm.model, links=(*arm.model.links, "finger", "thumb"), joints=(*arm.model.joints, grip, other))
    changed = replace(scene, loaded=replace(scene.loaded, arm=replace(arm, model=model)))
    told = [f for f in check(turning_record(changed, pairs=())) if "stand all through" in f.message]
    assert [(f.verdict, f.subject) for f in told] == [(Verdict.NOT_ASSESSED, "arm")]
    assert told[0].message == (
        "2 joints of the arm stand all through where home has them, and are judged there alone: grip, other (which "
        "follows grip)"
    )
