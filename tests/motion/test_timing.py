"""Timing: no limit is passed at any instant, and no time is wasted where a path is straight."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from armcarry.errors import MotionError, ReachError
from armcarry.motion import timing
from armcarry.motion.line import straight_line
from armcarry.motion.path import joint_segment, rounded
from armcarry.motion.speed import tip_speed_maximum
from armcarry.motion.timing import (
    RateLimits,
    compose,
    law_of,
    smooth,
    time_path,
)
from measures import greatest_rates, minimum_time_s, tool_speed

positive = st.floats(0.01, 10.0)
V, A = np.array([0.05, 0.04, 0.05, 0.06, 0.05, 0.08, 0.1]), np.full(7, 0.02)


def holds(motion, limits):
    rate, acceleration = greatest_rates(motion)
    return (rate <= limits.velocity * (1 + 1e-9)).all() and (acceleration <= limits.acceleration * (1 + 1e-9)).all()


def steady(motion):
    """Position and rate have no jump, and both ends are at rest."""
    inner = motion.breaks_s[1:-1]
    for order in (0, 1):
        np.testing.assert_allclose(motion.at(inner, order, "left"), motion.at(inner, order), atol=1e-9)
    assert np.abs(motion.at(motion.start_s, 1)).max() < 1e-9
    assert np.abs(motion.at(motion.end_s, 1, "left")).max() < 1e-9


@settings(max_examples=80, deadline=None)
@given(positive, positive, positive)
def test_one_joint_takes_the_time_of_the_closed_form(length, speed, acceleration):
    path = joint_segment(("a",), (0.0,), (length,))
    motion = time_path(path, RateLimits(np.array([speed]), np.array([acceleration])))
    assert motion.duration_s == pytest.approx(minimum_time_s(length, speed, acceleration), rel=1e-9)
    assert motion.at(motion.end_s, side="left")[0] == pytest.approx(length, rel=1e-9)
    assert greatest_rates(motion)[0][0] <= speed * (1 + 1e-12)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 8))
def test_a_joint_segment_takes_the_time_of_its_slowest_joint_exactly(seed, count):
    rng = np.random.default_rng(seed)
    start, end = rng.uniform(-3, 3, (2, count))
    limits = RateLimits(rng.uniform(0.01, 1, count), rng.uniform(0.01, 1, count))
    motion = time_path(joint_segment([f"j{k}" for k in range(count)], start, end), limits, 12.0)
    change = np.abs(end - start)
    speed, push = (limits.velocity / change).min(), (limits.acceleration / change).min()
    expected = 1 / speed + speed / push if speed**2 / push <= 1 else 2 / np.sqrt(push)
    assert motion.start_s == 12.0 and motion.duration_s == pytest.approx(expected, rel=1e-9)
    assert holds(motion, limits)
    steady(motion)
    np.testing.assert_allclose(motion.at(motion.end_s), end, atol=1e-9)
    # joints keep their proportion all the way
    some = motion.at(np.linspace(12.0, motion.end_s, 50))
    share = (some[:, 0] - start[0]) / (end[0] - start[0])
    np.testing.assert_allclose(some, start + share[:, None] * (end - start), atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 0.9), st.floats(0.02, 0.5), st.floats(0.05, 1.0)), min_size=1, max_size=4))
def test_slow_zones_are_kept_and_the_rest_is_not_slowed(zones):
    zones = [(first, min(1.0, first + width), factor) for first, width, factor in zones]
    assume(all(last - first > 1e-6 for first, last, _ in zones))
    limits = RateLimits(np.array([0.3, 0.2]), np.array([0.1, 0.4]))
    path = joint_segment(("a", "b"), (0.0, 1.0), (2.0, -1.0))
    law = law_of(path, limits, zones)
    motion = compose(path.curve, law)
    assert holds(motion, limits)
    steady(motion)
    inside = np.linspace(0, law.end_s, 3001)
    s, speed = law.at(inside)[:, 0], law.at(inside, 1)[:, 0]
    for first, last, factor in zones:
        there = (s > first + 1e-9) & (s < last - 1e-9)
        assert (speed[there] <= 0.1 * factor * (1 + 1e-9)).all()  # joint b: 0.2 rad/s over 2 rad
    assert law.duration_s >= minimum_time_s(1.0, 0.1, 0.05) - 1e-9
    none = law_of(path, limits, [(0.2, 0.5, 1.0)])
    assert none.duration_s == pytest.approx(minimum_time_s(1.0, 0.1, 0.05), rel=1e-9)


@pytest.mark.parametrize("zone", [(1e-9, 0.5, 0.5), (5e-10, 0.5, 0.5), (0.5, 1 - 5e-10, 0.5), (0.5, 1 - 2e-9, 0.5)])
def test_slow_zones_that_all_but_touch_an_end_are_kept(zone):
    path = joint_segment(("a",), (0.0,), (4.0,))
    law = law_of(path, RateLimits(np.ones(1), np.ones(1)), [zone])
    assert law.duration_s == pytest.approx(1 + 1.125 + 0.5 + 1.875 / 0.5 + 0.5, rel=1e-6)
    assert law.at(law.end_s)[0] == pytest.approx(1.0, abs=1e-12)


def test_two_zones_by_hand():
    # at rest, full speed 1 and slow speed 0.5 over the second half, acceleration 1, path of length 4
    path = joint_segment(("a",), (0.0,), (4.0,))
    law = law_of(path, RateLimits(np.array([1.0]), np.array([1.0])), [(0.5, 1.0, 0.5)])
    # 0 to 1 in 1 s over 0.5; down to 0.5 over 0.375 in 0.5 s; 2 - 0.875 at 1; then 2 - 0.125 at 0.5; 0.5 s to rest
    assert law.duration_s == pytest.approx(1 + 1.125 + 0.5 + 1.875 / 0.5 + 0.5, rel=1e-9)


def test_lines_keep_every_limit_at_every_instant(chain, bent, rng):
    limits = RateLimits(V, A, tip_speed_m_s=0.15, tip_angular_speed_rad_s=0.03)
    done = 0
    for k in range(6):
        q = bent + rng.normal(0, 0.3, 7)
        goal = chain.forward(q)
        goal[:3, 3] += rng.normal(0, 1.0, 3)
        if k % 2:
            goal[:3, :3] = chain.forward(q + 0.1)[:3, :3]
        try:
            path = straight_line(chain, q, goal)
        except ReachError:
            continue
        done += 1
        motion = time_path(path, limits, 3.0, slow_zones=[(0.4, 0.7, 0.3)])
        assert holds(motion, limits)
        steady(motion)
        assert tip_speed_maximum(chain, motion, tolerance_m_s=1e-5)[1] <= 0.15 * (1 + 1e-4)
        time = np.linspace(motion.start_s, motion.end_s, 4001)
        linear, angular = tool_speed(chain, motion, time)
        assert linear.max() <= 0.15 * (1 + 1e-9) and angular.max() <= 0.03 * (1 + 1e-9)
        # the line is a line again: where the tool is gives s, and inside the slow zone it is slow
        place = chain.forward(motion.at(time))[:, :3, 3] - chain.forward(q)[:3, 3]
        s = np.linalg.norm(place, axis=1) / path.length_m
        slow = (s > 0.41) & (s < 0.69)
        assert linear[slow].max() <= 0.3 * 0.15 * (1 + 1e-9)
        # the motion is the path: nothing is sampled
        np.testing.assert_allclose(motion.at(motion.end_s), path.end, atol=1e-9)
        assert motion.coefficients.shape[1] == 7  # cubic of a quadratic: degree 6
        # some limit is nearly used, else it would be needlessly slow
        rate, acceleration = greatest_rates(motion)
        used = [rate / limits.velocity, acceleration / limits.acceleration, [linear.max() / 0.15, angular.max() / 0.03]]
        assert np.max(np.concatenate(used)) > 0.95
    assert done >= 4


def test_the_tip_speed_limit_of_a_joint_segment_is_met_closely(chain, bent):
    path = joint_segment(chain.joints, bent, bent + 0.5)
    limits = RateLimits(V, A, tip_speed_m_s=0.1)
    motion = time_path(path, limits, chain=chain)
    lower, upper, time = tip_speed_maximum(chain, motion, tolerance_m_s=1e-6)
    assert 0.0997 < lower <= upper <= 0.1 * (1 + 1e-5)
    assert tool_speed(chain, motion, np.array(time))[0] == pytest.approx(lower)


def test_smooth_laws_compose_exactly_over_breaks(chain, bent):
    path = straight_line(chain, bent, chain.forward(bent)[:3, 3] + (1.0, 0.7, 0.2))
    assert len(path.curve.breaks_s) > 3
    law = smooth(40.0)
    motion = compose(path.curve, law, 7.0)
    time = np.linspace(0, 40, 801)
    np.testing.assert_allclose(motion.at(7.0 + time), path.at(law.at(time)[:, 0]), atol=1e-11)
    assert motion.duration_s == pytest.approx(40.0)
    steady(motion)


def test_bad_requests_are_told():
    path = joint_segment(("a",), (0.0,), (1.0,))
    one = np.ones(1)
    with pytest.raises(MotionError, match="rate and acceleration limits must be greater than zero; pin a joint"):
        RateLimits(np.array([0.0]), one)
    with pytest.raises(MotionError, match="a tip speed limit needs a chain and its tool point"):
        time_path(path, RateLimits(one, one, tip_speed_m_s=1.0))
    with pytest.raises(MotionError, match=r"slow zone \(0.5, 1.5, 0.5\) is not inside the path or its factor not in"):
        time_path(path, RateLimits(one, one), slow_zones=[(0.5, 1.5, 0.5)])
    with pytest.raises(MotionError, match=r"slow zone \(0, 1, 0\) is not inside"):
        time_path(path, RateLimits(one, one), slow_zones=[(0.0, 1.0, 0.0)])
    with pytest.raises(MotionError, match="a smooth law has degree 3 or 5, not 4"):
        smooth(1.0, 4)
    with pytest.raises(MotionError, match="2 rate and acceleration limits for 1 joints"):
        time_path(path, RateLimits(np.ones(2), np.ones(2)))
    with pytest.raises(MotionError, match="the path stands still over part of its length, or nothing limits it"):
        time_path(path, RateLimits(one * np.inf, one * np.inf))


def test_one_kind_of_limit_is_enough():
    path = joint_segment(("a",), (0.0,), (4.0,))
    assert time_path(path, RateLimits(np.full(1, np.inf), np.ones(1))).duration_s == pytest.approx(4.0)
    assert time_path(path, RateLimits(np.ones(1), np.full(1, np.inf))).duration_s == pytest.approx(4.0)


def test_a_bend_cut_finer_is_passed_quicker_and_no_limit_is(chain, rng):
    """Rounded ways: at 32 zones a bend 3 % to 20 % quicker than at 4, lines and straight segments as before."""
    for _ in range(4):
        corners = np.cumsum(np.vstack([rng.uniform(-1, 1, 7), rng.uniform(-0.7, 0.7, (3, 7))]), axis=0)
        path = rounded(chain.joints, corners)
        coarse, fine = (RateLimits(V, A, tip_speed_m_s=0.15, bend_zones=zones) for zones in (4, 32))
        slow, quick = (time_path(path, limits, chain=chain) for limits in (coarse, fine))
        assert 0.8 * slow.duration_s < quick.duration_s < 0.97 * slow.duration_s
        assert holds(quick, fine)
        assert tip_speed_maximum(chain, quick, None)[0] <= 0.15 * (1 + 1e-9)
    straight = joint_segment(chain.joints, corners[0], corners[1])
    assert time_path(straight, fine, chain=chain).duration_s == time_path(straight, coarse, chain=chain).duration_s


def test_phases_shorter_than_the_clock_tells_apart_are_left_out():
    # three zones of a rounded way, the middle one 1e-7 long: from the first to its own speed takes 1e-14 s, late
    edges = np.array([0.8061057344127266, 0.8338050798036678, 0.8338051845445147, 1.0])
    speed = np.array([0.0030594360223863606, 0.0033560345184357318, 0.0033190535904403288])
    push = np.array([0.0016528251633913212, 0.0018458189851396523, 0.0018210970577965293])
    law = timing._join(edges, speed, push)
    assert np.all(np.diff(law.breaks_s) > 0.0)
    assert law.at(law.end_s)[0] == pytest.approx(1.0, abs=1e-12)
    before, after = (law.at(law.breaks_s[1:-1], side=side) for side in ("left", "right"))
    np.testing.assert_allclose(before, after, atol=1e-12)
