"""Motions as polynomials: values, exact extremes and parts, against numpy's own polynomials."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from armcarry.errors import FrameError, MotionError
from armcarry.motion.curve import Motion


@st.composite
def motions(draw):
    pieces, degree, joints = draw(st.integers(1, 4)), draw(st.integers(0, 6)), draw(st.integers(1, 3))
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    breaks = draw(st.floats(-100, 100)) + np.cumsum(rng.uniform(0.05, 30.0, pieces + 1))
    scale = np.diff(breaks)[:, None, None] ** -np.arange(degree + 1.0)[:, None]  # every power matters on its piece
    coefficients = rng.normal(size=(pieces, degree + 1, joints)) * scale
    coefficients[rng.uniform(size=coefficients.shape) < 0.2] = 0.0
    return Motion(tuple(f"j{k}" for k in range(joints)), breaks, coefficients)


def by_numpy(motion, time, order, joint):
    piece = int(np.clip(np.searchsorted(motion.breaks_s, time, side="right") - 1, 0, len(motion.breaks_s) - 2))
    polynomial = Polynomial(motion.coefficients[piece, :, joint])
    return (polynomial.deriv(order) if order else polynomial)(time - motion.breaks_s[piece])


@settings(max_examples=60, deadline=None)
@given(motions(), st.integers(0, 3), st.floats(0, 1))
def test_at_agrees_with_numpy(motion, order, share):
    time = motion.start_s + share * motion.duration_s
    for joint in range(len(motion.joints)):
        assert motion.at(time, order)[joint] == pytest.approx(by_numpy(motion, time, order, joint), rel=1e-9, abs=1e-9)


@settings(max_examples=80, deadline=None)
@given(motions(), st.integers(0, 3))
def test_extremes_bound_every_sample_and_are_reached(motion, order):
    low, high = motion.extremes(order)
    time = np.unique(np.concatenate([np.linspace(*ends, 2001) for ends in pairwise(motion.breaks_s)]))
    values = np.concatenate([motion.at(time, order), motion.at(motion.breaks_s, order, side="left")])
    size = np.abs(values).max(axis=0) + 1e-12
    assert (values >= low - 1e-9 * size).all() and (values <= high + 1e-9 * size).all()
    # 2000 samples a piece come within the square of their spacing of a smooth extreme
    slack = 2e-5 * size * motion.coefficients.shape[1] ** 4
    assert (values.min(axis=0) <= low + slack).all() and (values.max(axis=0) >= high - slack).all()


def test_extremes_survive_a_leading_coefficient_lost_in_rounding():
    table = np.array([0.0, 1.0, -0.5, 1e-30, 1e-40])[None, :, None]
    low, high = Motion(("a",), np.array([0.0, 3.0]), table).extremes()
    assert high[0] == pytest.approx(0.5, abs=1e-12) and low[0] == pytest.approx(-1.5, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(motions(), st.floats(0, 0.45), st.floats(0.55, 1), st.integers(0, 2))
def test_between_is_the_same_motion_on_its_interval(motion, first, last, order):
    start, end = motion.start_s + first * motion.duration_s, motion.start_s + last * motion.duration_s
    part = motion.between(start, end)
    assert (part.start_s, part.end_s) == (start, end)
    inside = np.linspace(start, end, 57)[1:-1]
    expected = motion.at(inside, order)
    np.testing.assert_allclose(part.at(inside, order), expected, atol=1e-8 * (1 + np.abs(motion.coefficients).max()))


@settings(max_examples=40, deadline=None)
@given(motions(), st.floats(-50, 50))
def test_then_puts_one_after_the_other(motion, shift):
    other = Motion(motion.joints, motion.breaks_s + shift, 2.0 * motion.coefficients)
    both = motion.then(other)
    assert both.duration_s == pytest.approx(motion.duration_s + other.duration_s)
    local = np.linspace(0.01, 0.99, 31) * motion.duration_s
    np.testing.assert_allclose(both.at(motion.start_s + local), motion.at(motion.start_s + local))
    np.testing.assert_allclose(both.at(motion.end_s + local), other.at(other.start_s + local), rtol=1e-6, atol=1e-6)


def test_ends_are_held_and_breaks_take_the_later_piece():
    motion = Motion(("a",), np.array([0.0, 1.0, 2.0]), np.array([[[0.0], [1.0]], [[5.0], [0.0]]]))
    np.testing.assert_allclose(motion.at([-1.0, 0.5, 1.0, 3.0])[:, 0], [0.0, 0.5, 5.0, 5.0])
    assert motion.at(1.0, side="left")[0] == 1.0
    held = Motion.hold(("a", "b"), (1.0, 2.0), 0.0, 10.0)
    np.testing.assert_array_equal(held.at(4.0), [1.0, 2.0])
    np.testing.assert_array_equal(held.extremes(1), np.zeros((2, 2)))


def test_bad_motions_are_told():
    with pytest.raises(MotionError, match="a motion needs at least two strictly increasing times"):
        Motion(("a",), np.array([0.0, 0.0]), np.zeros((1, 1, 1)))
    with pytest.raises(MotionError, match=r"coefficients of shape \(1, 1, 2\) do not fit 1 pieces of 1 joints"):
        Motion(("a",), np.array([0.0, 1.0]), np.zeros((1, 1, 2)))
    with pytest.raises(MotionError, match="a motion must be finite"):
        Motion(("a",), np.array([0.0, 1.0]), np.full((1, 1, 1), np.nan))
    one = Motion.hold(("a",), (0.0,), 0.0, 1.0)
    with pytest.raises(MotionError, match="only motions of the same joints can follow one another"):
        one.then(Motion.hold(("b",), (0.0,), 0.0, 1.0))
    with pytest.raises(MotionError, match=r"0\.5 to 2 s is not inside 0 to 1 s"):
        one.between(0.5, 2.0)
    assert list(one.columns_of(["a"])) == [0]
    with pytest.raises(FrameError, match="no joint named 'aa'; did you mean 'a'"):
        one.columns_of(["aa"])


def test_a_motion_that_goes_beyond_all_numbers_is_not_finite():
    with pytest.raises(MotionError, match="a motion must be finite"):
        Motion(("a",), np.array([0.0, 1e9]), np.full((1, 3, 1), 1e300))


def test_what_moves_is_what_is_not_constant_from_the_first_piece_to_the_last():
    # turns in the second piece; another value in every piece; the same in all; turns and comes back to 0
    table = np.zeros((2, 2, 4))
    table[1, 1, 0] = 0.5
    table[:, 0, 1] = 1.0, 2.0
    table[:, 0, 2] = 3.0
    table[:, 1, 3] = 1.0, -1.0
    moving = Motion(("a", "b", "c", "d"), np.array([0.0, 1.0, 2.0]), table).moving
    assert moving.tolist() == [True, True, False, True]


@settings(max_examples=40, deadline=None)
@given(motions(), st.lists(st.tuples(st.floats(0, 0.9), st.floats(0.05, 1.0)), min_size=1, max_size=6),
       st.integers(0, 2))  # fmt: skip
def test_extremes_of_many_stretches_are_those_of_each_alone(motion, spans, order):
    starts = motion.start_s + np.array([first for first, _ in spans]) * motion.duration_s
    ends = starts + np.array([share for _, share in spans]) * (motion.end_s - starts)
    low, high = motion.extremes_during(starts, ends, order)
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        alone = motion.between(start, end).extremes(order)
        scale = max(1.0, np.abs(alone).max())
        np.testing.assert_allclose([low[row], high[row]], alone, rtol=1e-7, atol=1e-7 * scale)
