"""Relaxations stay narrow: in time, in distance, and to bodies that are named."""

import numpy as np
import pytest

from armcarry.checks.relaxation import check, tip_spread_m
from armcarry.geometry.model import Body
from armcarry.geometry.poses import translation
from armcarry.geometry.shapes import Sphere
from armcarry.record.finding import Verdict
from armcarry.timeline.run import Relaxed


@pytest.fixture
def judged(rider_scene, turning_record):
    posts = [Body(f"post_{k}", "yard", Sphere(0.1), translation((9.0, k, 0.0))) for k in range(14)]

    def build(item, limits=None, rate_rad_s=0.02):
        rules = {"relaxation": {"longest": "30 s", "least": "0.05 m", "reach": "1 m"} | (limits or {})}
        record = turning_record(rider_scene({}, posts, rules=rules), rate_rad_s=rate_rad_s, relaxed=(item,))
        return record, check(record)[0]

    return build


def granted(start_s=45.0, end_s=55.0, required_m=0.1, a="ev1/glove", b="platform/post_1"):
    return Relaxed(a, b, required_m, start_s, end_s, "the glove takes the post")


def test_a_short_one_at_rest_to_named_bodies_passes(judged):
    _, finding = judged(granted())
    assert finding.verdict is Verdict.PASS
    assert finding.message == (
        "ev1/glove to platform/post_1 relaxed to 0.1 m for 0:10.0 (the glove takes the post), the tip within 0.00 m"
    )


@pytest.mark.parametrize(
    ("item", "fault"),
    [
        (granted(10.0, 55.0), "it lasts 0:45.0, 0:30.0 is allowed"),
        (granted(required_m=0.01), "it leaves 0.01 m, 0.05 m is the least allowed"),
        (granted(b="platform/post_*"), "'platform/post_*' fits 14 bodies, name them closer"),
        (granted(b="platform/pots_1"), "'platform/pots_1' fits no body"),
    ],
)
def test_each_way_of_being_too_wide_fails_and_is_said(judged, item, fault):
    _, finding = judged(item)
    assert finding.verdict is Verdict.FAIL
    assert fault in finding.message
    assert finding.remedy == "relax fewer moves, or name the bodies that must come close"


def test_a_long_way_fails_with_the_distance_of_the_arc(judged):
    record, finding = judged(granted(0.0, 20.0), rate_rad_s=0.05)
    tip = record.link_path("arm/tip", [0.0])[0, :3, 3]
    radius = np.hypot(tip[0], tip[1])
    # half of the way is 0.5 rad from either end: a chord of 2 r sin(0.25)
    chord = 2 * radius * np.sin(0.25)
    assert tip_spread_m(record, 0.0, 20.0) == pytest.approx(chord, rel=1e-3)
    assert finding.verdict is Verdict.FAIL
    assert f"the tip is up to {chord:.2f} m from where it begins or ends, 1 m is allowed" in finding.message
