"""A joint that runs away beside a post while the arm stands: against the excursion summed by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import runaway
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Record

FAST, BRAKE, DETECTION_S = np.radians(5.0), np.radians(4.0), 0.2
EXCURSION = FAST * DETECTION_S + FAST**2 / (2 * BRAKE)
LEFT_M = 0.1
_BEARING = []

#: what a script can change while the arm moves
BY_SCRIPT = "stand farther off and pass the stretch without stopping, or come there from another base station"


def _post(scene, bearing_rad):
    tip = scene.tree.pose_of(scene.tool(scene.tree), scene.position)[:3, 3]
    return Body("post", "yard", Sphere(0.1), poses.rotation_about((0, 0, 1), bearing_rad) @ poses.translation(tip))


@pytest.fixture
def standing(rider_scene, moving_record):
    """Build a run in which nothing moves, a post beside the tip; the arm's joints can run away at 5 deg/s."""

    def build(bearing_rad, arm=None, remainder_m=LEFT_M):
        arm = {"runaway_rate": {"default": "5 deg/s"}} if arm is None else arm
        rules = {"stop_remainder": f"{remainder_m} m"}
        scene = rider_scene({}, bodies=[_post(rider_scene({}), bearing_rad)], arm=arm, rules=rules)
        return moving_record(scene, {})

    return build


def _least_m(record, excursion, *, joints=range(6), signs=(1, -1)):
    """Measure how near the post comes when a joint goes any part of an excursion."""
    tree, scene = record.scene.tree, record.scene
    q = np.repeat(scene.position[None], 41 * len(joints) * len(signs), axis=0)
    row = 0
    for joint in joints:
        for sign in signs:
            q[row : row + 41, scene.arm_columns[joint]] += sign * np.linspace(0, excursion, 41)
            row += 41
    placed = forward(tree, q, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    post = [body.name for body in tree.bodies].index("platform/post")
    pairs = np.array([(k, post) for k in range(len(tree.bodies)) if k != post])
    return float(distances([body.shape for body in tree.bodies], placed, pairs).upper_m.min())


@pytest.fixture
def limit_bearing(standing):
    """The bearing of the post at which the worst runaway leaves just what must be left."""
    if not _BEARING:  # looked for once
        near, far = 0.12, 0.6
        for _ in range(40):
            middle = (near + far) / 2
            near, far = (middle, far) if _least_m(standing(middle), EXCURSION) < LEFT_M else (near, middle)
        _BEARING.append(far)
    return _BEARING[0]


def test_just_far_enough_passes_and_just_too_near_fails(standing, limit_bearing):
    inside = runaway.check(standing(limit_bearing + 0.012))
    assert [item.verdict for item in inside] == [Verdict.PASS, Verdict.PASS]
    first, second = runaway.check(standing(limit_bearing - 0.002))
    assert (first.verdict, second.verdict) == (Verdict.FAIL, Verdict.FAIL)
    assert {first.subject, first.other} == {"platform/post", "restraint/slab"}
    assert (first.limit, first.unit) == (LEFT_M, "m")
    # the worst runaway is that of the first joint, towards the post
    assert first.value == pytest.approx(_least_m(standing(limit_bearing - 0.002), EXCURSION), abs=0.025)
    assert "arm/j1 + running away at 5.000 deg/s around" in first.message
    assert f" within {rounded_down(first.value):.3f} m of each other, 0.100 m must be left" in first.message
    assert (first.clearance.required_m, first.clearance.lower_m) == (LEFT_M, first.value)
    assert second.subject == "arm/j1"


def test_the_pass_tells_the_tightest(standing, limit_bearing):
    found, detection = runaway.check(standing(limit_bearing + 0.03))
    least = _least_m(standing(limit_bearing + 0.03), EXCURSION)
    assert least - 0.05 <= found.value <= least + 1e-6
    assert found.message.startswith(
        "any joint running away either way at any instant is caught 0.2 s later; tightest platform/post to "
        "restraint/slab, at least "
    )
    assert found.message.endswith(" by arm/j1 +, 0.100 m must be")
    assert (found.remedy, detection.remedy) == ("", "")
    assert (found.start_s, found.limit) == (found.end_s, LEFT_M)
    assert (found.unit, found.clearance.required_m, found.clearance.time_s) == ("m", LEFT_M, found.start_s)
    assert 0.0 <= found.start_s <= 10.0


def test_the_longest_safe_detection_is_that_of_the_excursion(standing, limit_bearing):
    record = standing(limit_bearing + 0.03)
    low, high = 0.0, 3.0
    for _ in range(40):
        middle = (low + high) / 2
        kept = _least_m(record, FAST * middle + FAST**2 / (2 * BRAKE), joints=[0], signs=[1]) >= LEFT_M
        low, high = (middle, high) if kept else (low, middle)
    _, found = runaway.check(record)
    assert low - 0.04 <= found.value <= low + 1e-6
    assert (found.limit, found.unit, found.verdict) == (DETECTION_S, "s", Verdict.PASS)
    assert found.message.startswith(
        f"detection within {int(found.value * 100) / 100:.2f} s would be quick enough everywhere; arm/j1 + "
    )
    assert found.message.endswith("sets that; the arm takes 0.20 s")


def test_a_slow_detection_fails_with_the_time_that_would_do(standing, limit_bearing):
    slow = {"runaway_rate": {"default": "5 deg/s"}, "detection_time": "1 s"}
    stretch, detection = runaway.check(standing(limit_bearing, arm=slow))
    told = "do not dwell between 0:00:00.0 and 0:00:10.0: arm/j1 + running away at 5.000 deg/s"
    assert stretch.message.startswith(told)
    assert (stretch.start_s, stretch.end_s) == (0.0, 10.0)
    assert detection.verdict is Verdict.FAIL
    assert DETECTION_S - 0.04 <= detection.value <= DETECTION_S + 0.01
    within = float(stretch.remedy.removeprefix("detect a runaway within ").split(" s ")[0])
    assert DETECTION_S - 0.04 <= within <= detection.value
    assert "(now 1 s), or limit the drive of arm/j1 to " in stretch.remedy
    rate = np.radians(float(stretch.remedy.split("arm/j1 to ")[1].split(" deg/s")[0]))
    assert rate * 1.0 + rate**2 / (2 * BRAKE) <= EXCURSION + 1e-3
    assert len(stretch.remedy.split("arm/j1 to ")[1].split(" deg/s")[0].split(".")[1]) == 2
    assert f" there, or {BY_SCRIPT}" in stretch.remedy
    assert stretch.remedy.endswith("(armcarry stations; or leave base, start and settings out, and they are found)")
    assert detection.remedy == "see the stretches not to dwell in; arm/j1 + is the joint to catch sooner"


def test_where_braking_alone_takes_too_far_no_detection_helps(standing):
    record = standing(0.1)  # nearer than what must be left to begin with
    stretch, detection = runaway.check(record)
    assert detection.value < 0
    assert " no detection of " in detection.message
    assert "braking alone takes too far" in detection.message
    assert stretch.remedy.startswith(BY_SCRIPT)


def test_what_is_touched_is_told_with_the_time_after_the_fault(standing):
    slow = {"runaway_rate": {"default": "5 deg/s"}, "detection_time": "3 s"}
    found = runaway.check(standing(0.3, arm=slow))[0]
    assert "brings platform/post and " in found.message
    after = float(found.message.split(" to touch ")[1].split(" s after the fault")[0])
    # the first joint turns at its rate until it is seen
    touched = next(k for k in range(60) if _least_m(standing(0.3), FAST * k / 10, joints=[0], signs=[1]) <= 1e-9)
    assert after <= touched / 10 + 0.1


def test_every_fault_that_does_so_is_named_once(standing):
    record = standing(0.22, remainder_m=0.55)  # more than there is to begin with: any runaway leaves too little
    found = runaway.check(record)[0]
    faults = [f"arm/j{k} {sign}" for k in range(1, 7) for sign in "+-"]
    assert found.message.endswith(f"; so do {', '.join(faults[1:])}")
    assert ": arm/j1 + running away" in found.message


def test_far_from_everything_nothing_limits_the_detection(standing):
    found, detection = runaway.check(standing(2.0))
    assert detection.message == (
        "detection within 3 s, the longest looked at, would be quick enough everywhere; the arm takes 0.20 s"
    )
    assert (found.verdict, detection.verdict, detection.start_s) == (Verdict.PASS, Verdict.PASS, 0.0)


def test_stretches_apart_are_told_apart(standing, limit_bearing):
    record = standing(limit_bearing)
    scene = record.scene
    # the arm stands by the post, swings away, stands, and comes back
    away, lasts = 0.3, 20.0
    table = np.zeros((5, 2, len(scene.position)))
    table[:, 0] = scene.position
    column = scene.tree.column("arm/j1")
    table[0, 0, column] += 0.05
    table[1, :, column] += (0.05, -away / lasts)
    table[2, 0, column] += 0.05 - away
    table[3, :, column] += (0.05 - away, away / lasts)
    table[4, 0, column] += 0.05
    motion = replace(record.motion, breaks_s=np.arange(6) * lasts, coefficients=table)
    phase = replace(record.phases[0], end_s=5 * lasts)
    moves = (MoveSpan("round", 1, "all", "to_joints", 0.0, 5 * lasts, "rider"),)
    found = runaway.runaways(Record(scene, (phase,), motion, moves))
    first, second = runaway.bad_stretches(found)
    assert first.start_s == 0.0
    assert lasts <= first.end_s < 2.5 * lasts < second.start_s <= 4 * lasts
    assert second.end_s == 5 * lasts


def test_an_arm_that_does_not_say_is_not_assessed(standing):
    (found,) = runaway.check(standing(0.3, arm={}))
    assert found.verdict is Verdict.NOT_ASSESSED
    assert found.message == "the arm does not say how fast a joint can run away with load 'free'"
    assert found.remedy == "add runaway_rate to the arm's document"


def test_where_all_pairs_have_enough_to_spare_that_is_said(standing, monkeypatch):
    monkeypatch.setattr(runaway, "_tightest", lambda part: iter(()))
    found = runaway.check(standing(2.0))[0]
    assert (found.verdict, found.subject, found.value, found.message) == (
        Verdict.PASS, "arm", None,
        "any joint running away either way at any instant is caught 0.2 s later; nothing comes nearer than 0.6 m",
    )  # fmt: skip


def test_the_cell_with_the_least_margin_is_the_tightest_and_none_where_there_is_enough():
    def part(pair, lower_m):
        return SimpleNamespace(leaves=SimpleNamespace(pair=np.array(pair), lower_m=np.array(lower_m)))

    assert list(runaway._tightest(part([-1, 0, 3], [-9.0, 0.3, 0.2]))) == [2]
    assert list(runaway._tightest(part([0], [0.3]))) == [0]
    assert list(runaway._tightest(part([-1, 4], [0.1, runaway.ENOUGH_M]))) == []
