"""Numbers as findings and views tell them: compared as exactly as files state them, and rounded the safe way.

What is proven of a distance is rounded down and what is proven of a speed or a time up, so that no text claims
more than was proven. A value beside its limit gets as many digits as it takes to see which side it is on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict

#: two figures nearer than this, as a share, are the same: no file states more than six digits
SAME = 1e-6
#: the same where the limit is zero, in the SI unit: what sums of such figures leave of rounding
NOTHING = 1e-9
_MOST_DIGITS = 15
#: what lasts less is told in seconds alone where a figure stands without words, s
_SHORT_S = 60.0
Rounded = Literal["down", "up", "near"]


class _Shown(NamedTuple):
    """How people read an SI value: factor, word behind it, digits behind the point."""

    factor: float
    word: str
    digits: int


#: what a caller names -> how it is shown; the SI unit of a finding is in _SI
_SHOWN = {
    "m": _Shown(1.0, " m", 3),
    "mm": _Shown(1e3, " mm", 0),
    "rad": _Shown(math.degrees(1.0), " deg", 1),
    "rad/s": _Shown(math.degrees(1.0), " deg/s", 3),
    "rad/s^2": _Shown(math.degrees(1.0), " deg/s^2", 3),
    "m/s": _Shown(1.0, " m/s", 4),
    "m/s^2": _Shown(1.0, " m/s^2", 4),
    "s": _Shown(1.0, "", 1),
    "seconds": _Shown(1.0, " s", 2),
    "%": _Shown(100.0, " %", 0),
    "": _Shown(1.0, "", 4),
}
_SI = {"mm": "m", "%": "", "seconds": "s"}


def within(value: float, limit: float) -> bool:
    """Tell whether a value is at most its limit, or beyond it by less than files can state."""
    return value <= limit or _same(value, limit)


def reaches(value: float, limit: float) -> bool:
    """Tell whether a value is at least its limit, or short of it by less than files can state."""
    return value >= limit or _same(value, limit)


def _same(value: float, limit: float) -> bool:
    return math.isclose(value, limit, rel_tol=SAME, abs_tol=NOTHING)


def down(value: float, unit: str, digits: int | None = None) -> str:
    """Write a value rounded down: what is proven to be at least so much."""
    return _text(value, unit, digits, "down")


def up(value: float, unit: str, digits: int | None = None) -> str:
    """Write a value rounded up: what is proven to be at most so much, or a remedy that must be enough."""
    return _text(value, unit, digits, "up")


def near(value: float, unit: str, digits: int | None = None) -> str:
    """Write a value rounded to the nearest: what a file states, or a description that nobody relies on."""
    return _text(value, unit, digits, "near")


def rate_share(share: float) -> str:
    """Write the share of its rate that a move is to be slowed to: ``88 %``, rounded down to two digits that count.

    Raises:
        ValueError: the share is not above zero, so that no rate is slow enough.
    """
    if not share > 0.0:
        raise ValueError(f"no rate is a share of {share}")
    digits = max(0, 1 - math.floor(math.log10(share * 100.0)))
    return down(share, "%", 0 if share >= 0.01 else digits)


@dataclass(frozen=True)
class Compared:
    """A value beside its limit.

    Attributes:
        value, limit: SI.
        unit: how both are shown: ``m``, ``mm``, ``rad``, ``rad/s``, ``m/s``, ``s`` (on the clock), ``seconds`` (of
            braking and the like), ``%`` or nothing.
        at_least: the value must be at least the limit, else at most.
        digits: least number of digits shown, None for what the unit has.
        slack: width of the band in which the value is known; beyond its limit by less is not proven beyond it.
    """

    value: float
    limit: float
    unit: str
    at_least: bool
    digits: int | None = None
    slack: float = 0.0

    @property
    def verdict(self) -> Verdict:
        """Pass or fail; not assessed where a number is none."""
        if math.isnan(self.value) or math.isnan(self.limit):
            return Verdict.NOT_ASSESSED
        return Verdict.PASS if self.kept else Verdict.FAIL

    @property
    def kept(self) -> bool:
        """Whether the value keeps its limit, as exactly as files state figures and the value is known."""
        if self.at_least:
            return reaches(self.value + self.slack, self.limit)
        return within(self.value - self.slack, self.limit)

    @property
    def si_unit(self) -> str:
        """The unit of ``value`` and ``limit``."""
        return _SI.get(self.unit, self.unit)

    @property
    def said(self) -> str:
        """The value, rounded the safe way, with as many digits as tell on which side of the limit it is."""
        if self._at_limit:
            return self.asked
        return _text(self.value, self.unit, self.shown_digits, self._safe)

    @property
    def asked(self) -> str:
        """The limit, with as many digits as the value."""
        return near(self.limit, self.unit, self.shown_digits)

    @property
    def short(self) -> str:
        """What it takes to keep the limit, rounded up; ``0`` where nothing is missing."""
        missing = self.limit - self.value if self.at_least else self.value - self.limit
        return up(max(missing, 0.0), self.unit, self.digits)

    @property
    def shown_digits(self) -> int:
        """How many digits behind the point it takes for the two texts to stand as the numbers do."""
        digits = _SHOWN[self.unit].digits if self.digits is None else self.digits
        if not (math.isfinite(self.value) and math.isfinite(self.limit)) or self._at_limit:
            return digits
        while digits < _MOST_DIGITS:
            # a failure by little is told as that, not as one by a whole last digit
            ours = _whole(self.value, self.unit, digits, self._safe if self.kept else "near")
            theirs = _whole(self.limit, self.unit, digits, "near")
            if (ours >= theirs if self.at_least else ours <= theirs) is self.kept:
                break
            digits += 1
        return digits

    @property
    def _at_limit(self) -> bool:
        """Whether the two are told as one number: kept, though the value lies a trifle beyond its limit."""
        beyond = self.value < self.limit if self.at_least else self.value > self.limit
        return self.kept and (beyond or _same(self.value, self.limit))

    @property
    def _safe(self) -> Rounded:
        return "down" if self.at_least else "up"


def at_least(value: float, limit: float, unit: str, digits: int | None = None) -> Compared:
    """Compare a value with what it must at least be."""
    return Compared(float(value), float(limit), unit, True, digits)


def at_most(value: float, limit: float, unit: str, digits: int | None = None, slack: float = 0.0) -> Compared:
    """Compare a value with what it may at most be."""
    return Compared(float(value), float(limit), unit, False, digits, slack)


def of_finding(finding: Finding) -> Compared | None:
    """Return value and limit of a finding as they are told, None where it has no two numbers.

    Which way the limit works follows from the verdict; a unit that is no quantity counts things.
    """
    value, limit = finding.value, finding.limit
    if value is None or limit is None or finding.verdict is Verdict.NOT_ASSESSED:
        return None
    over = value >= limit if finding.verdict is Verdict.PASS else value > limit
    lower_limit = over is (finding.verdict is Verdict.PASS)
    unit = finding.unit if finding.unit in _SHOWN else ""
    if unit == "s" and max(abs(value), abs(limit)) < _SHORT_S:
        unit = "seconds"
    return Compared(value, limit, unit, lower_limit)


def _whole(value: float, unit: str, digits: int, way: Rounded) -> int:
    """Return how many of the last digit a finite value has; a millionth of it is rounding of the computation."""
    scaled = float(value) * _SHOWN[unit].factor * 10.0**digits
    if way == "near":
        return round(scaled)
    return math.floor(scaled + 1e-6) if way == "down" else math.ceil(scaled - 1e-6)


def _text(value: float, unit: str, digits: int | None, way: Rounded) -> str:
    shown = _SHOWN[unit]
    digits = shown.digits if digits is None else digits
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "without bound" if value > 0 else "none"
    number = _whole(value, unit, digits, way) / 10.0**digits + 0.0  # no -0
    return clock(number, digits) if unit == "s" else f"{number:.{digits}f}{shown.word}"
