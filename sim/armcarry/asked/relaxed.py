"""A smaller requirement that a script grants to named bodies for a while."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Relaxed:
    """A smaller required clearance for pairs whose names match, from start_s to end_s."""

    pattern_a: str
    pattern_b: str
    required_m: float
    start_s: float
    end_s: float
    why: str
