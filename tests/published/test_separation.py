"""Separation distances against makers' worked examples; tolerances are those of the printed figures."""

from __future__ import annotations

import pytest

from armcarry.errors import MotionError
from armcarry.timeline.separation import WALKING_M_S, protective_separation


def test_speed_of_approach():
    # ABB 2TLA050007R0602: walking 1600 mm/s
    assert WALKING_M_S == 1.6


def test_constant_speeds_make_the_six_terms():
    # ISO/TS 15066:2016, 5.5.4, formula from memory: Sp = v_h (Tr + Ts) + v_r Tr + Ss + C + Zd + Zr
    sp = protective_separation(
        machine_speed_m_s=0.2, reaction_s=0.5, stopping_s=2.0, stopping_m=0.2, intrusion_m=0.1,
        worker_error_m=0.05, machine_error_m=0.03,
    )
    assert sp.total_m == pytest.approx(1.6 * 2.5 + 0.2 * 0.5 + 0.2 + 0.1 + 0.05 + 0.03)
    assert "4.480 m = worker 4.000 + reaction 0.100" in sp.explain()
    assert "formula from memory" in sp.explain()


def test_what_makes_no_sense_is_refused():
    with pytest.raises(MotionError, match="stopping_m of a protective separation is -1; it must be 0 or more"):
        protective_separation(machine_speed_m_s=0.2, reaction_s=0.5, stopping_s=2.0, stopping_m=-1.0)
