"""A smaller requirement that a script grants to named bodies for a while."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Relaxed:
    """A smaller required clearance for pairs whose names match, from start_s to end_s.

    ``place`` says which worksite, seat, rail, zone or thing grants it to whoever is there; empty for a script's own.
    """

    pattern_a: str
    pattern_b: str
    required_m: float
    start_s: float
    end_s: float
    why: str
    place: str = ""

    @property
    def said(self) -> str:
        """The reason, and the place that gives it."""
        return f"{self.why}, {self.place}" if self.place else self.why
