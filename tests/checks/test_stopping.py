"""A late stop before a post: the arm turns about its upright and brakes beyond where it was commanded to stand."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.checks import stopping
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.record.finding import Verdict
from armcarry.whatif.cells import Leaves
from armcarry.whatif.faults import Side
from armcarry.whatif.late_stop import braking_arcs

RATE, LASTS_S, REACTION_S = 0.02, 10.0, 0.5
BEYOND = RATE**2 / (2 * np.radians(4.0))  # what braking from the rate takes


@pytest.fixture
def before_post(rider_scene, moving_record):
    """Build the run, its post at a bearing, and how much must be left."""

    def build(remainder_m, bearing_rad=0.31, **options):
        scene = rider_scene({})
        tip = scene.tree.pose_of(scene.tool(scene.tree), scene.position)[:3, 3]
        post = Body("post", "yard", Sphere(0.1), poses.rotation_about((0, 0, 1), bearing_rad) @ poses.translation(tip))
        ruled = [{"between": ["arm", "structure"], "distance": "0.5 m"}]
        scene = rider_scene({}, bodies=[post], rules={"stop_remainder": f"{remainder_m} m", "required": ruled})
        return moving_record(scene, {"arm/j1": [RATE]}, LASTS_S, **options)

    return build


def _left_m(record, turned_rad):
    """Measure what arm, restraint and rider leave to the post with j1 turned so far."""
    tree, q = record.scene.tree, record.scene.position.copy()
    q[tree.column("arm/j1")] = turned_rad
    placed = forward(tree, q, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    post = [body.name for body in tree.bodies].index("platform/post")
    pairs = np.array([(k, post) for k in range(len(tree.bodies)) if k != post])
    return float(distances([body.shape for body in tree.bodies], placed[None], pairs).upper_m.min())


@pytest.mark.parametrize(("off_m", "verdict"), [(-0.03, Verdict.PASS), (0.002, Verdict.FAIL)])
def test_what_braking_takes_beyond_the_commanded_end_counts(before_post, off_m, verdict):
    commanded, stopped = (_left_m(before_post(0.1), turned) for turned in (RATE * LASTS_S, RATE * LASTS_S + BEYOND))
    assert commanded > stopped + 0.005
    (found,) = stopping.check(before_post(stopped + off_m))
    assert found.verdict is verdict
    assert found.limit == pytest.approx(stopped + off_m)
    assert stopped - 0.03 <= found.value <= stopped + 1e-6
    assert {found.subject, found.other} == {"platform/post", "restraint/slab"}
    detail = found.clearance
    assert detail.upper_m == pytest.approx(stopped, abs=0.03)
    assert (detail.required_m, detail.lower_m, found.unit) == (found.limit, found.value, "m")
    assert LASTS_S - 1.0 < detail.time_s <= LASTS_S
    assert np.linalg.norm(np.subtract(detail.point_a, detail.point_b)) == pytest.approx(detail.upper_m, abs=1e-3)
    if verdict is Verdict.PASS:
        assert found.start_s == found.end_s == detail.time_s
        assert " tightest platform/post to restraint/slab, at least " in found.message


def test_a_stop_in_time_that_the_commanded_way_would_break_is_not_blamed_on_braking(before_post):
    # the commanded way alone leaves too little; that a stop does so too is true, and slowing down is of no use
    stopped = _left_m(before_post(0.1), RATE * LASTS_S)
    (found,) = stopping.check(before_post(stopped + 0.05))
    assert found.verdict is Verdict.FAIL
    assert found.remedy == "lead the carry farther from there"


def test_the_words_of_a_failure(before_post):
    stopped = _left_m(before_post(0.1), RATE * LASTS_S + BEYOND)
    (found,) = stopping.check(before_post(stopped + 0.002))
    assert found.message.startswith("told to stop around 0:00:10.0, the arm runs out 0.0")
    assert f"m at the tip in {REACTION_S + RATE / np.radians(4.0):.1f} s and " in found.message
    assert f" of each other; {stopped + 0.002:.3f} m must be left. The same holds for stops between " in found.message
    assert found.end_s == pytest.approx(LASTS_S)
    assert LASTS_S - 1.0 < found.start_s < LASTS_S
    share = int(found.remedy.removeprefix("slow swing to ").split(" ", 1)[0])
    assert found.remedy == f"slow swing to {share} % of its rate there, or lead the carry farther from there"
    # the way that braking takes goes with the square of the rate
    assert _left_m(before_post(0.1), RATE * LASTS_S + BEYOND * (share / 100) ** 2) >= stopped + 0.002


def test_a_post_that_is_run_into_is_touched(before_post):
    record = before_post(0.1, bearing_rad=0.22)
    touched = [item for item in stopping.check(record) if item.other == "restraint/slab"]
    (found,) = touched
    assert " platform/post and restraint/slab touch; 0.100 m must be left" in found.message
    assert (found.value, found.verdict) == (0.0, Verdict.FAIL)
    assert all(
        first.value - first.limit <= second.value - second.limit + 1e-9
        for first, second in zip(stopping.check(record), stopping.check(record)[1:], strict=False)
    )


def test_far_from_everything_only_the_run_out_is_told(before_post):
    (found,) = stopping.check(before_post(0.1, bearing_rad=2.0))
    assert found.verdict is Verdict.PASS
    assert found.message.startswith("told to stop at any instant, the arm runs out 0.0")
    assert f"stands within {REACTION_S + RATE / np.radians(4.0):.1f} s, 0.5 s of it reaction; " in found.message
    # a rate kept for the reaction time, then braked: on the arc of the tip
    tree = found.message
    lever = float(tree.split("runs out ")[1].split(" m")[0]) / (RATE * REACTION_S + BEYOND)
    plate = before_post(0.1).scene
    tip = plate.tree.pose_of(plate.tool(plate.tree), plate.position)[:2, 3]
    assert lever == pytest.approx(np.hypot(*tip), rel=0.02)


def test_a_relaxation_lowers_what_must_be_left(before_post):
    stopped = _left_m(before_post(0.1), RATE * LASTS_S + BEYOND)
    granted = Relaxed("platform/post", "restraint/*", stopped - 0.03, 0.0, LASTS_S, "brought by eye")
    found = stopping.check(before_post(stopped + 0.01, relaxed=(granted,)))
    assert [item.verdict for item in found] == [Verdict.PASS]
    (blamed,) = stopping.check(before_post(stopped + 0.01))
    assert blamed.other == "restraint/slab"


def test_arcs_begun_elsewhere_in_a_cell_stay_within_the_slack(rider_scene, moving_record):
    # the arm speeds up while the rider leans: both are elsewhere when braking begins at another instant of the cell
    record = moving_record(rider_scene({}), {"arm/j1": [0.0, 0.02], "ev1/hips": [0.01]}, LASTS_S)
    side = Side.of(record, record.phases[0])
    arcs = braking_arcs(side, np.array([4.0]), np.array([6.0]))
    turns, leans = (record.scene.tree.column(name) for name in ("arm/j1", "ev1/hips"))
    brake = np.radians(4.0)
    begun = np.linspace(4.0, 6.0, 21)
    rests = 0.02 * begun**2 + (0.04 * begun) ** 2 / (2 * brake)
    middle = 0.02 * 25.0 + 0.2**2 / (2 * brake)
    assert np.abs(rests - middle).max() <= arcs.slack[0, turns] + 1e-12
    # as commanded until the arm stands
    assert 0.01 * (1.0 + 0.2 / brake) <= arcs.slack[0, leans] + 1e-12


def test_where_all_pairs_have_enough_to_spare_that_is_said(before_post, monkeypatch):
    monkeypatch.setattr(stopping, "_tightest", lambda part: None)
    (found,) = stopping.check(before_post(0.1, bearing_rad=2.0))
    assert (found.verdict, found.subject, found.value) == (Verdict.PASS, "arm", None)
    assert found.message.endswith(" of it reaction; nothing comes nearer than 0.6 m")


def test_the_cell_with_the_least_margin_is_the_tightest_and_none_where_there_is_enough():
    def part(pair, lower_m):
        return SimpleNamespace(leaves=SimpleNamespace(pair=np.array(pair), lower_m=np.array(lower_m)))

    assert stopping._tightest(part([-1, 0, 3], [-9.0, 0.3, 0.2])) == 2
    assert stopping._tightest(part([0], [0.3])) == 0
    assert stopping._tightest(part([-1, 4], [0.1, stopping.ENOUGH_M])) is None


@pytest.mark.parametrize(("free", "gone"), [((2.0, 0.6, 1.8), 0.3), ((9.0, 2.0, 2.0), 1.0), ((0.0, 1.0, 1.0), 0.0)])
def test_the_share_of_the_rate_is_that_at_which_braking_goes_as_far_as_there_is_room(monkeypatch, free, gone):
    """Of an arc that takes 2 s the part that is free, at both ends and in the middle of each cell; the least counts."""
    starts, ends = np.array([1.0, 5.0, 7.0]), np.array([3.0, 5.0, 8.0])
    leaves = Leaves(starts, ends, *(np.zeros(3) for _ in range(5)))
    window = SimpleNamespace(side=SimpleNamespace(prover="prover"), wanted_m="wanted")
    part = SimpleNamespace(leaves=leaves, window=window)
    asked = []

    def arcs(side, at, until):
        asked.append(at)
        np.testing.assert_array_equal(at, until)
        return SimpleNamespace(without_slack=lambda: SimpleNamespace(until=np.full(len(at), 2.0)))

    def room(prover, arcs, wanted_m, resolution):
        assert (prover, wanted_m, len(arcs.until)) == ("prover", "wanted", 6)
        return np.array([*free, *free]), None

    monkeypatch.setattr(stopping, "braking_arcs", arcs)
    monkeypatch.setattr(stopping, "free_until", room)
    share = stopping._slower_share(stopping._Short(((part, 0), (part, 2))))
    assert share == pytest.approx(np.sqrt(1.0 - (1.0 - gone) ** 2))
    (at,) = asked
    assert at == pytest.approx([1.0, 7.0, 2.0, 7.5, 3.0, 8.0], abs=1e-5)
    assert np.all(at[4:] < ends[[0, 2]])  # just before the end, where the rate may jump
