"""Published stopping distances and times against the run-out that the checks use."""

import numpy as np
import pytest

from armcarry.motion.braking import rate_that_keeps, run_out, runaway

# UR5 user manual version 3.4.5, appendix A.1 p. I-53: stop of category 0 from 183 deg/s at full extension with 5 kg
UR5_RATE = np.deg2rad(183.0)
UR5 = {"base": (0.31, 0.244), "shoulder": (0.70, 0.530), "elbow": (0.22, 0.164)}


@pytest.mark.parametrize("joint", UR5)
def test_braking_evenly_over_the_published_time_runs_out_farther_than_published(joint):
    distance, time_s = UR5[joint]
    even = run_out(UR5_RATE, UR5_RATE / time_s)
    assert even.time_s == pytest.approx(time_s)
    # v t / 2 = 0.390, 0.846, 0.262 rad: 1.26, 1.21 and 1.19 times what was measured, so on the safe side
    over = {"base": (0.390, 1.26), "shoulder": (0.846, 1.21), "elbow": (0.262, 1.19)}[joint]
    assert even.distance == pytest.approx(over[0], abs=5e-4)
    assert even.distance / distance == pytest.approx(over[1], abs=5e-3)


@pytest.mark.parametrize("joint", UR5)
def test_the_implied_deceleration_gives_the_published_distance_back(joint):
    distance, _ = UR5[joint]
    implied = {"base": 16.5, "shoulder": 7.3, "elbow": 23.2}[joint]  # v^2 / 2d, rad/s^2
    assert UR5_RATE**2 / (2 * distance) == pytest.approx(implied, abs=0.05)
    assert run_out(UR5_RATE, implied).distance == pytest.approx(distance, abs=2e-3)


def test_reaction_and_even_braking_reproduce_the_highway_code():
    # The Highway Code (UK), rule 126, typical stopping distances: thinking and braking distance in metres
    mph = np.array([20, 30, 40, 50, 60, 70])
    thinking, braking = np.array([6, 9, 12, 15, 18, 21]), np.array([6, 14, 24, 38, 55, 75])
    speed = mph * 0.44704
    braked = run_out(speed, 6.57)
    whole = run_out(speed, 6.57, 0.67)
    assert np.abs(whole.distance - braked.distance - thinking).max() < 0.5
    assert np.abs(braked.distance - braking).max() < 0.5
    assert whole.time_s == pytest.approx(0.67 + speed / 6.57)


def test_the_excursion_of_a_runaway():
    # closed form: w0 t + a t^2/2 + (w0 + a t)^2/2b with w0 = 0, a = 0.02, t = 1, b = 0.04 is 0.01 + 0.005 rad
    found = runaway(0.0, 1.0, 0.04, 0.02)
    assert found.distance == pytest.approx(0.015)
    assert found.time_s == pytest.approx(1.5)


def test_a_rate_limited_by_its_stopping_distance_stops_in_it():
    # UR20 user manual, safety functions: the speed is limited so that a stop always fits the stopping distance
    for allowed in (0.01, 0.3, 2.0):
        assert runaway(rate_that_keeps(allowed, 0.25, 0.5), 0.25, 0.5).distance == pytest.approx(allowed)
