"""Published timing of moves from rest to rest.

Sources: docstrings of modern_robotics 1.1.1 and K. Lynch and F. Park, Modern Robotics (2017), ch. 9; the examples
plot_scalar_example.py and plot_straight_line.py of toppra (inputs), whose answers are closed forms; tests/
test_trajectory.py of Robotics Toolbox for Python 1.5.0.
"""

import numpy as np
import pytest

from armcarry.motion.path import joint_segment
from armcarry.motion.timing import RateLimits, compose, smooth, time_path
from measures import greatest_rates


def test_cubic_and_quintic_time_scaling():
    # docstrings of CubicTimeScaling and QuinticTimeScaling: t = 0.6, Tf = 2
    assert smooth(2.0, 3).at(0.6)[0] == pytest.approx(0.216, abs=1e-12)
    assert smooth(2.0, 5).at(0.6)[0] == pytest.approx(0.16308, abs=1e-12)


def test_joint_trajectory_of_eight_joints():
    # docstring of JointTrajectory: Tf 4, N 6, cubic; second row
    start, end = (1, 0, 0, 1, 1, 0.2, 0, 1), (1.2, 0.5, 0.6, 1.1, 2, 2, 0.9, 1)
    motion = compose(joint_segment([f"j{k}" for k in range(8)], start, end).curve, smooth(4.0, 3))
    expected = (1.0208, 0.052, 0.0624, 1.0104, 1.104, 0.3872, 0.0936, 1)
    np.testing.assert_allclose(motion.at(0.8), expected, atol=1e-12)


def test_peaks_of_the_cubic_and_the_quintic():
    # Lynch and Park, sec. 9.2: unit move in unit time
    rate, acceleration = greatest_rates(smooth(1.0, 5))
    assert rate[0] == pytest.approx(15 / 8, abs=1e-12) and acceleration[0] == pytest.approx(10 / np.sqrt(3), abs=1e-12)
    assert smooth(1.0, 5).at(0.5 - np.sqrt(3) / 6, 2)[0] == pytest.approx(10 / np.sqrt(3), abs=1e-12)
    rate, acceleration = greatest_rates(smooth(1.0, 3))
    assert rate[0] == pytest.approx(1.5, abs=1e-12) and acceleration[0] == pytest.approx(6.0, abs=1e-12)


@pytest.mark.parametrize(("length", "seconds"), [(10.0, 4.083333333333333), (0.5, 0.7071067811865476)])
def test_minimum_time_trapezoid_and_triangle(length, seconds):
    # toppra plot_scalar_example.py, V 3, A 4; closed form L/V + V/A or 2 sqrt(L/A)
    path = joint_segment(("a",), (0.0,), (length,))
    assert time_path(path, RateLimits(np.array([3.0]), np.array([4.0]))).duration_s == pytest.approx(seconds, rel=1e-10)


def test_three_joints_on_a_straight_segment():
    # toppra plot_straight_line.py: s rate 0.3, s acceleration 3
    path = joint_segment(("a", "b", "c"), (0, 0, 1), (0.2, 0.3, 0))
    motion = time_path(path, RateLimits(np.array([0.1, 0.2, 0.3]), np.array([1.0, 2.0, 3.0])))
    assert motion.duration_s == pytest.approx(3.433333333333333, rel=1e-10)


def test_our_minimum_time_is_not_beaten_by_another_library():
    toppra = pytest.importorskip("toppra")
    algo, constraint = pytest.importorskip("toppra.algorithm"), pytest.importorskip("toppra.constraint")
    ends = np.array([[0, 0, 1.0], [0.2, 0.3, 0]])
    v, a = np.array([0.1, 0.2, 0.3]), np.array([1.0, 2.0, 3.0])
    problem = algo.TOPPRA(
        [
            constraint.JointVelocityConstraint(np.stack([-v, v], 1)),
            constraint.JointAccelerationConstraint(np.stack([-a, a], 1)),
        ],
        toppra.SplineInterpolator([0, 1], ends), gridpoints=np.linspace(0, 1, 2001),
    )
    theirs = problem.compute_trajectory().duration
    ours = time_path(joint_segment("abc", *ends), RateLimits(v, a)).duration_s
    assert ours <= theirs and ours == pytest.approx(theirs, abs=1e-5)


def test_quintic_is_symmetric():
    # rtb tests/test_trajectory.py: quintic from 1 to 2
    law = smooth(10.0)
    assert 1.0 + law.at(5.0)[0] == pytest.approx(1.5, abs=1e-12)
    assert law.at(5.0, 2)[0] == pytest.approx(0.0, abs=1e-12)
    assert law.at(np.linspace(0, 10, 11), 2).sum() == pytest.approx(0.0, abs=1e-12)
