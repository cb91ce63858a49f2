"""Protective separation: how far a moving machine stays from a person so that it can stop in time.

    Sp = Sh + Sr + Ss + C + Zd + Zr               ISO/TS 15066:2016, 5.5.4; formula from memory, discussed in
                                                  Marvel and Norcross, Robotics and CIM 44 (2017) 144-155

The speeds of persons in it were measured on the ground. For a suited worker on handrails they are
on the safe side; use the crew model's own speed only where the rules say so.
"""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.errors import MotionError

#: walking speed K and default speed of a person, m/s (ISO 13855:2010; ABB 2TLA050007R0602)
WALKING_M_S = 1.6

SOURCE = "ISO/TS 15066:2016, 5.5.4 (formula from memory)"


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

    def explain(self, digits: int = 3) -> str:
        """Write the sum out with its source; ``digits`` behind the point of the sum itself."""
        return (
            f"{self.total_m:.{digits}f} m = worker {self.worker_m:.3f} + reaction {self.reaction_m:.3f} "
            f"+ stopping {self.stopping_m:.3f} + intrusion {self.intrusion_m:.3f} "
            f"+ worker's position {self.worker_error_m:.3f} + arm's position {self.machine_error_m:.3f} ({SOURCE})"
        )


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


def _checked(terms: Separation) -> Separation:
    for name, value in vars(terms).items():
        if not 0.0 <= value < float("inf"):
            raise MotionError(f"{name} of a protective separation is {value:g}; it must be 0 or more")
    return terms
