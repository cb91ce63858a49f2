"""Joint rates near structure: a post beside the swinging tip, and half of the rates allowed within 1 m of it."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks import slowing
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Phase, Record
from armcarry.whatif.near_structure import SHARP_S, near_stretches

RATE, WITHIN_M = np.radians(4.0), 1.0  # of the load in conftest, and of its rules
LOAD = {"joint_rate": {"default": "4 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
        "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "0.2 m/s", "near_structure": 0.5}  # fmt: skip
LOADS = dict.fromkeys(("free", "rider", "rider_and_hardware"), LOAD)


@pytest.fixture
def scene(rider_scene):
    """A post where the tip starts, which the tip leaves as the first joint turns."""
    plain = rider_scene({})
    tip = plain.tree.pose_of(plain.tool(plain.tree), plain.position)[:3, 3]
    post = Body("post", "yard", Sphere(0.1), poses.rotation_about((0, 0, 1), -0.2) @ poses.translation(tip))
    return rider_scene({}, bodies=[post], arm={"loads": LOADS})


def _gap_m(scene, turned):
    """Measure how near anything the arm moves is to the post with j1 turned so far (N,)."""
    tree = scene.tree
    q = np.repeat(scene.position[None], len(turned), axis=0)
    q[:, tree.column("arm/j1")] += turned
    placed = forward(tree, q, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    post = [body.name for body in tree.bodies].index("platform/post")
    pairs = np.array([(k, post) for k in range(len(tree.bodies)) if k != post])
    return distances([body.shape for body in tree.bodies], placed, pairs).upper_m.min(axis=1)


def _leaving_rad(scene):
    """The angle at which nothing is within 1 m of the post any more."""
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if _gap_m(scene, np.array([middle]))[0] < WITHIN_M else (low, middle)
    return high


def _turned(scene, parts, standing_s=0.0):
    """Build a run of j1 from (rate, seconds) pieces in one move, then standing."""
    table = np.zeros((len(parts) + 1, 2, len(scene.position)))
    column, at = scene.tree.column("arm/j1"), 0.0
    for k, (rate, lasts) in enumerate([*parts, (0.0, standing_s or 1.0)]):
        table[k, 0] = scene.position
        table[k, :, column] += (at, rate)
        at += rate * lasts
    breaks = np.cumsum([0.0, *(lasts for _, lasts in parts), standing_s or 1.0])
    moves = (
        MoveSpan("round", 1, "swing", "to_joints", 0.0, breaks[-2], "rider"),
        MoveSpan("round", 2, "wait", "hold", breaks[-2], breaks[-1], "rider"),
    )
    return Record(scene, (Phase(0.0, breaks[-1], scene.tree),), Motion(scene.tree.joints, breaks, table), moves)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("share", "verdict"), [(0.999, Verdict.PASS), (1.001, Verdict.FAIL)])
def test_near_structure_the_reduced_rate_counts_either_way(scene, sign, share, verdict):
    (found,) = slowing.check(_turned(scene, [(sign * share * RATE / 2, 2.0)]))
    assert found.verdict is verdict
    assert found.value == pytest.approx(share)
    assert (found.subject, found.limit) == ("arm/j1", 1.0)


def test_away_from_structure_the_full_rate_is_allowed(scene):
    away = _leaving_rad(scene) / (RATE / 2) + 0.2  # s at the reduced rate until it has left
    (found,) = slowing.check(_turned(scene, [(RATE / 2, away), (RATE, 5.0)]))
    assert found.verdict is Verdict.PASS
    early = away - 0.2 - 2 * SHARP_S - 0.1
    (found,) = slowing.check(_turned(scene, [(RATE / 2, early), (RATE, 5.0)]))
    assert found.verdict is Verdict.FAIL
    assert found.value == pytest.approx(2.0)
    assert early - 0.01 <= found.start_s <= away


@pytest.mark.parametrize("standing_s", [1.0, 60.0, 3000.0])
def test_the_verdict_does_not_depend_on_how_long_the_run_is(scene, standing_s):
    """The arm leaves, is fast for a while and comes back: long cells of time would take all of that for near."""
    away = _leaving_rad(scene) / (RATE / 2) + 0.2
    there_and_back = [(RATE / 2, away), (RATE, 0.3), (-RATE, 0.3), (-RATE / 2, away)]
    (found,) = slowing.check(_turned(scene, there_and_back, standing_s))
    assert found.verdict is Verdict.PASS
    assert found.value == pytest.approx(1.0)
    (found,) = slowing.check(_turned(scene, [(RATE / 2, 1.0), (RATE, 3.0)], standing_s))
    assert (found.verdict, found.value) == (Verdict.FAIL, pytest.approx(2.0))


def test_stretches_told_near_are_near_and_all_others_but_slivers_are_not(scene):
    record = _turned(scene, [(-RATE / 2, 4.0), (RATE, 8.0), (-RATE / 3, 9.0)])
    found = near_stretches(record, record.phases[0], 0.0, 21.0)
    times = np.linspace(0.0, 21.0, 4201)
    gaps = _gap_m(scene, record.motion.at(times)[:, scene.tree.column("arm/j1")])
    inside = np.zeros(len(times), dtype=bool)
    unsure = np.zeros(len(times), dtype=bool)
    for start, end in found.near:
        inside |= (times >= start) & (times <= end)
    for start, end in found.maybe:
        assert end - start <= SHARP_S
        unsure |= (times >= start) & (times <= end)
    assert gaps[inside].max() < WITHIN_M
    assert gaps[~inside & ~unsure].min() >= WITHIN_M
    assert 0 < inside.sum() < len(times)
    assert unsure.mean() < 0.02


def test_the_message_and_what_to_do(scene):
    (found,) = slowing.check(_turned(scene, [(RATE / 2, 1.0), (RATE * 0.75, 1.0)]))
    assert found.message.startswith(
        "within 1 m of structure for at least 0:00:03.0 (told to 0.05 s); the fastest joint there is arm/j1 with 150 % "
        "of its reduced rate, in swing"
    )
    assert found.remedy == "slow swing there to 66 % of its rate"
    assert 1.0 <= found.start_s <= 2.0
    assert slowing.check(_turned(scene, [(RATE / 2, 1.0)]))[0].remedy == ""


def test_what_is_left_out_is_named(rider_scene):
    # the foot of the arm stands on a deck; with 3 m the first boom never leaves the ball about the first joint
    deck = Body("deck", "yard", Sphere(0.1), poses.translation((0.0, 0.3, 0.0)))
    scene = rider_scene({}, bodies=[deck], arm={"loads": LOADS}, rules={"slow_within": "3 m"})
    (found,) = slowing.check(_turned(scene, [(RATE / 2, 1.0)]))
    assert found.message.endswith(
        "; left out, as the arm always stands near something: within 3 m of its first joint arm/boom_2, and arm/boom_3 "
        "against structure there"
    )


def test_without_structure_that_is_said(rider_scene):
    (found,) = slowing.check(_turned(rider_scene({}, arm={"loads": LOADS}), [(RATE, 2.0)]))
    assert (found.verdict, found.subject) == (Verdict.PASS, "arm")
    assert found.message.startswith("there is no structure that the arm could come near")


def test_far_from_structure_that_is_said(scene):
    record = _turned(scene, [(RATE, 2.0)])
    column = scene.tree.column("arm/j1")
    turned = record.motion.coefficients.copy()
    turned[:, 0, column] += 2.0
    far = replace(record, motion=replace(record.motion, coefficients=turned))
    (found,) = slowing.check(far)
    assert found.message.startswith("the arm does not move within 1 m of structure")
    assert (found.verdict, found.value) == (Verdict.PASS, 0.0)


def test_only_moves_are_judged(scene):
    record = _turned(scene, [(RATE, 2.0)])
    (found,) = slowing.check(replace(record, moves=record.moves[1:]))
    assert found.verdict is Verdict.PASS
