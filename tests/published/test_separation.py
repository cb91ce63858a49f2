"""Separation distances against makers' worked examples; tolerances are those of the printed figures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from armcarry.errors import MotionError
from armcarry.timeline.separation import (
    HAND_M_S,
    WALKING_M_S,
    intrusion_m,
    light_curtain_distance_m,
    minimum_distance_m,
    protective_separation,
    protective_separation_varying,
)


def test_speeds_of_approach():
    # ABB 2TLA050007R0602: walking 1600 mm/s, hand 2000 mm/s within 500 mm
    assert (WALKING_M_S, HAND_M_S) == (1.6, 2.0)


def test_two_branch_light_curtain():
    # SICK C4000 manual 8009861, p. 41: 290 + 30 ms, d = 14 mm: 640 mm > 500 mm, so 1600 mm/s: 512 mm;
    # Rockwell 450L-UM001D, p. 72: 290 + 20 + 10 ms gives the same
    assert minimum_distance_m(HAND_M_S, 0.290 + 0.030, intrusion_m(0.014)) == pytest.approx(0.640, abs=1e-9)
    assert light_curtain_distance_m(0.290 + 0.030, 0.014) == pytest.approx(0.512, abs=1e-9)
    assert light_curtain_distance_m(0.290 + 0.020 + 0.010, 0.014) == pytest.approx(0.512, abs=1e-9)


def test_second_branch_is_at_least_half_a_metre():
    # same manual: if the second result is 500 mm or less, 500 mm is used; 2000*.28=560, 1600*.28=448
    assert light_curtain_distance_m(0.280, 0.014) == pytest.approx(0.500)


@pytest.mark.parametrize(("resolution_mm", "distance_mm"), [(47, 891.12), (98, 1241.12), (30, 179.4)])
def test_three_resolutions(resolution_mm, distance_mm):
    # wenglor SG4-30 manual, p. 31: t1 5.7 ms, t2 20 ms
    assert 1e3 * light_curtain_distance_m(0.0057 + 0.020, resolution_mm / 1e3) == pytest.approx(distance_mm, abs=5e-3)


def test_constant_speeds_make_the_six_terms():
    # ISO/TS 15066:2016, 5.5.4, formula from memory: Sp = v_h (Tr + Ts) + v_r Tr + Ss + C + Zd + Zr
    sp = protective_separation(
        machine_speed_m_s=0.2, reaction_s=0.5, stopping_s=2.0, stopping_m=0.2, intrusion_m=0.1,
        worker_error_m=0.05, machine_error_m=0.03,
    )
    assert sp.total_m == pytest.approx(1.6 * 2.5 + 0.2 * 0.5 + 0.2 + 0.1 + 0.05 + 0.03)
    assert "4.480 m = worker 4.000 + reaction 0.100" in sp.explain()
    assert "formula from memory" in sp.explain()
    assert sp.keeps(sp.total_m)
    assert not sp.keeps(sp.total_m - 1e-9)


def test_varying_speeds_integrate_and_agree_with_constant_ones():
    times = np.linspace(0.0, 10.0, 11)
    still = {"at_s": 2.3, "reaction_s": 0.5, "stopping_s": 2.0, "stopping_m": 0.2}
    constant = protective_separation_varying(times, np.full(11, 1.6), np.full(11, 0.2), **still)
    assert constant.total_m == pytest.approx(1.6 * 2.5 + 0.2 * 0.5 + 0.2)
    rng = np.random.default_rng(1)
    worker, machine = rng.uniform(0, 2, 11), rng.uniform(0, 1, 11)
    varying = protective_separation_varying(times, worker, machine, **still)
    knots = [3.0, 4.0]
    expected = quad(lambda t: np.interp(t, times, worker), 2.3, 4.8, points=knots)[0]
    assert varying.worker_m == pytest.approx(expected, abs=1e-9)
    assert varying.reaction_m == pytest.approx(quad(lambda t: np.interp(t, times, machine), 2.3, 2.8)[0], abs=1e-9)


def test_what_makes_no_sense_is_refused():
    with pytest.raises(MotionError, match="stopping_m of a protective separation is -1; it must be 0 or more"):
        protective_separation(machine_speed_m_s=0.2, reaction_s=0.5, stopping_s=2.0, stopping_m=-1.0)
    with pytest.raises(MotionError, match="speeds that vary need increasing times, one speed each"):
        protective_separation_varying([1, 1], [1, 1], [1, 1], at_s=0, reaction_s=1, stopping_s=1, stopping_m=0)
