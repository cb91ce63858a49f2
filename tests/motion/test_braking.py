"""Braking joints: each to its own stop, continuous, and as the closed form says."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from armcarry.errors import MotionError
from armcarry.motion.braking import (
    braking,
    detection_that_keeps,
    run_out,
    runaway,
    time_to,
)
from measures import braking_motion

BRAKES = np.array([0.5, 0.2, 1.0, 0.05])


def test_every_joint_stops_at_its_own_time_after_its_own_way():
    rate = np.array([0.1, -0.3, 0.0, 0.02])
    motion = braking_motion(("a", "b", "c", "d"), np.array([1.0, 2.0, 3.0, 4.0]), rate, BRAKES)
    end = motion.at(motion.end_s)
    assert end == pytest.approx(np.array([1, 2, 3, 4]) + np.sign(rate) * rate**2 / (2 * BRAKES), abs=1e-8)
    for joint, stop in enumerate(np.abs(rate) / BRAKES):
        assert motion.at(stop + 1e-6, 1)[joint] == 0.0
        if stop > 0:
            assert motion.at(0.99 * stop, 1)[joint] * rate[joint] > 0


def test_the_way_while_braking_is_that_of_an_integrator():
    rng = np.random.default_rng(3)
    rates = rng.normal(size=(20, 4)) * 0.2
    rates[rng.random(rates.shape) < 0.2] = 0.0
    arc = braking(rates, BRAKES)
    for n in range(len(rates)):
        times = np.linspace(0.0, arc.rest_s[n], 9)

        def slope(_t, y):
            return np.concatenate([y[4:], np.where(np.abs(y[4:]) > 1e-4, -np.sign(y[4:]) * BRAKES, 0.0)])

        begun = np.concatenate([np.zeros(4), rates[n]])
        exact = solve_ivp(slope, (0, times[-1] + 1e-9), begun, t_eval=times, max_step=2e-3)
        motion = braking_motion(tuple("abcd"), np.zeros(4), rates[n], BRAKES)
        assert motion.at(times) == pytest.approx(exact.y[:4].T, abs=1e-3)


def test_pieces_join_even_where_joints_stop_together_or_never_move():
    rates = np.array([[0.5, 0.2, 1.0, 0.05], [0.0, 0.0, 0.0, 0.0], [0.5, -0.2, 0.0, 0.05]])
    arc = braking(rates, BRAKES)
    assert np.all(np.diff(arc.breaks_s, axis=1) > 0)
    span = np.diff(arc.breaks_s, axis=1)[:, :, None]
    table = arc.coefficients
    ends = table[:, :, 0] + span * (table[:, :, 1] + span * table[:, :, 2])
    assert np.abs(ends[:, :-1] - table[:, 1:, 0]).max() < 1e-8


def test_brakes_that_do_not_brake_are_refused():
    with pytest.raises(MotionError, match="brakes need a deceleration greater than zero"):
        braking(np.ones((1, 2)), np.array([1.0, 0.0]))


def test_the_longest_detection_time_is_the_one_that_uses_up_the_excursion():
    assert runaway(0.02, detection_that_keeps(0.03, 0.02, 0.01), 0.01).distance == pytest.approx(0.03)
    assert detection_that_keeps(0.01, 0.02, 0.01) < 0  # braking alone takes 0.02


def test_the_time_to_an_excursion_is_that_of_the_fault():
    whole = runaway(0.02, 0.5, 0.01)
    assert time_to(0.005, 0.02, 0.5, 0.01) == pytest.approx(0.25)
    assert time_to(float(whole.distance), 0.02, 0.5, 0.01) == pytest.approx(float(whole.time_s))
    assert time_to(1.01 * float(whole.distance), 0.02, 0.5, 0.01) == np.inf
    halfway = 0.01 + run_out(0.02, 0.01).distance * 0.75  # three quarters of the way are braked in half the time
    assert time_to(float(halfway), 0.02, 0.5, 0.01) == pytest.approx(1.5)
