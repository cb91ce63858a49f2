"""Protective separation: how far a moving machine stays from a person so that it can stop in time.

Two formulas, each with where it is from:

    S = K T + C                                   ISO 13855:2010 (as quoted in makers' manuals)
    Sp = Sh + Sr + Ss + C + Zd + Zr               ISO/TS 15066:2016, 5.5.4; formula from memory, discussed in
                                                  Marvel and Norcross, Robotics and CIM 44 (2017) 144-155

The speeds of persons in both were measured on the ground. For a suited worker on handrails they are
on the safe side; use the crew model's own speed only where the rules say so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError

#: walking speed K and default speed of a person, m/s (ISO 13855:2010; ABB 2TLA050007R0602)
WALKING_M_S = 1.6
#: speed K of a hand close to the machine, m/s (ISO 13855:2010)
HAND_M_S = 2.0
#: up to this distance the speed of the hand counts, m (ISO 13855:2010)
HAND_RANGE_M = 0.5

SOURCE = "ISO/TS 15066:2016, 5.5.4 (formula from memory)"


def minimum_distance_m(speed_m_s: float, time_s: float, intrusion_m: float) -> float:
    """Return S = K T + C: speed of approach times overall stopping time, and the intrusion distance.

    Source: ISO 13855:2010 as quoted in makers' manuals.
    """
    return speed_m_s * time_s + intrusion_m


def intrusion_m(resolution_m: float) -> float:
    """Return C, how far a part of the body gets in before a sensor of this resolution sees it.

    8 (d - 14 mm), not below 0, up to 40 mm; 850 mm up to 70 mm; 1200 mm beyond.
    Source: ISO 13855:2010 as quoted in the wenglor SG4-30 manual, p. 31.
    """
    if resolution_m <= 0.040:
        return max(8.0 * (resolution_m - 0.014), 0.0)
    return 0.850 if resolution_m <= 0.070 else 1.200


def light_curtain_distance_m(time_s: float, resolution_m: float) -> float:
    """Return the least distance of a light curtain: hand speed within 0.5 m, walking speed beyond.

    Source: ISO 13855:2010 as quoted in the SICK C4000 manual 8009861, p. 41.
    """
    extra = intrusion_m(resolution_m)
    if resolution_m > 0.040:
        return minimum_distance_m(WALKING_M_S, time_s, extra)
    near = minimum_distance_m(HAND_M_S, time_s, extra)
    if near <= HAND_RANGE_M:
        return near
    return max(minimum_distance_m(WALKING_M_S, time_s, extra), HAND_RANGE_M)


@dataclass(frozen=True)
class Separation:
    """The terms of a protective separation distance, metres.

    Attributes:
        worker_m: Sh, how far the worker comes while the machine reacts and stops.
        reaction_m: Sr, how far the machine goes before it brakes.
        stopping_m: Ss, how far it goes while it brakes.
        intrusion_m: C, how far a part of the body gets in before it is noticed.
        worker_error_m, machine_error_m: Zd and Zr, how wrongly either's position is known.
    """

    worker_m: float
    reaction_m: float
    stopping_m: float
    intrusion_m: float = 0.0
    worker_error_m: float = 0.0
    machine_error_m: float = 0.0

    @property
    def total_m(self) -> float:
        """Sp, the sum of the terms."""
        return (
            self.worker_m + self.reaction_m + self.stopping_m
            + self.intrusion_m + self.worker_error_m + self.machine_error_m
        )

    def explain(self) -> str:
        """Write the sum out with its source."""
        return (
            f"{self.total_m:.3f} m = worker {self.worker_m:.3f} + reaction {self.reaction_m:.3f} "
            f"+ stopping {self.stopping_m:.3f} + intrusion {self.intrusion_m:.3f} "
            f"+ worker's position {self.worker_error_m:.3f} + arm's position {self.machine_error_m:.3f} ({SOURCE})"
        )

    def keeps(self, distance_m: float) -> bool:
        """Tell whether this distance needs no protective stop, nor a lower speed or another way.

        Below it a protective stop is due; a lower speed or another way that restores it is allowed
        (ISO/TS 15066 as quoted in the VALU3S requirement uc7_r_3).
        """
        return distance_m >= self.total_m


def protective_separation(
    *,
    worker_speed_m_s: float = WALKING_M_S,
    machine_speed_m_s: float,
    reaction_s: float,
    stopping_s: float,
    stopping_m: float,
    intrusion_m: float = 0.0,
    worker_error_m: float = 0.0,
    machine_error_m: float = 0.0,
) -> Separation:
    """Return the protective separation at constant speeds: Sh = v_h (Tr + Ts), Sr = v_r Tr.

    Raises:
        MotionError: a negative term.
    """
    terms = Separation(
        worker_speed_m_s * (reaction_s + stopping_s), machine_speed_m_s * reaction_s, stopping_m,
        intrusion_m, worker_error_m, machine_error_m,
    )
    return _checked(terms)


def protective_separation_varying(
    times_s: ArrayLike,
    worker_speed_m_s: ArrayLike,
    machine_speed_m_s: ArrayLike,
    *,
    at_s: float,
    reaction_s: float,
    stopping_s: float,
    stopping_m: float,
    intrusion_m: float = 0.0,
    worker_error_m: float = 0.0,
    machine_error_m: float = 0.0,
) -> Separation:
    """Return the protective separation at at_s for speeds that vary, linear between times_s (T,).

    Sh is the integral of the worker's speed over reaction and stopping, Sr that of the machine's over
    the reaction. Beyond the last time the last speed holds, before the first the first.

    Raises:
        MotionError: a negative term, or times not increasing.
    """
    braking, end = at_s + reaction_s, at_s + reaction_s + stopping_s
    terms = Separation(
        _integral(times_s, worker_speed_m_s, at_s, end), _integral(times_s, machine_speed_m_s, at_s, braking),
        stopping_m, intrusion_m, worker_error_m, machine_error_m,
    )
    return _checked(terms)


def _integral(times_s: ArrayLike, values: ArrayLike, start_s: float, end_s: float) -> float:
    """Integrate piecewise linear values (T,) over times_s (T,) from start_s to end_s, exactly."""
    times, values = np.asarray(times_s, dtype=float), np.asarray(values, dtype=float)
    if times.ndim != 1 or times.shape != values.shape or np.any(np.diff(times) <= 0):
        raise MotionError("speeds that vary need increasing times, one speed each")
    inner = times[(times > start_s) & (times < end_s)]
    knots = np.concatenate([[start_s], inner, [end_s]])
    return float(np.trapezoid(np.interp(knots, times, values), knots))


def _checked(terms: Separation) -> Separation:
    for name, value in vars(terms).items():
        if not 0.0 <= value < float("inf"):
            raise MotionError(f"{name} of a protective separation is {value:g}; it must be 0 or more")
    return terms
