"""The one place where findings are made: every check makes its own through a ``Maker``."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from armcarry.record.figures import Compared
from armcarry.record.finding import ClearanceDetail, Finding, Verdict, Way

#: an instant, or from when to when, seconds from the start of the run
When = float | tuple[float, float]


@dataclass(frozen=True)
class Maker:
    """Makes the findings of one check.

    Attributes:
        check: its name.
    """

    check: str

    def judged(
        self,
        compared: Compared,
        subject: str,
        message: str,
        *,
        other: str = "",
        at: When = 0.0,
        remedy: str = "",
        clearance: ClearanceDetail | None = None,
        ways: Iterable[Way] = (),
    ) -> Finding:
        """Make a finding whose verdict a value and its limit give.

        Args:
            compared: value and limit; the message tells them as ``compared.said`` and ``compared.asked``.
            subject, message, other, clearance, ways: as in ``Finding``.
            at: when it holds.
            remedy: what to change, left out where the limit is kept.
        """
        start, end = _times(at)
        verdict = compared.verdict
        return Finding(
            self.check, verdict, subject, message, other=other, start_s=start, end_s=end,
            value=_number(compared.value), limit=_number(compared.limit), unit=compared.si_unit,
            remedy="" if verdict is Verdict.PASS else remedy, clearance=clearance, ways=tuple(ways),
        )  # fmt: skip

    def passed(
        self, subject: str, message: str, *, other: str = "", at: When = 0.0, value: float | None = None,
        limit: float | None = None, unit: str = "",
    ) -> Finding:
        """Make a finding that passes without a comparison: what was looked at, or that there was nothing to judge."""
        return self._plain(Verdict.PASS, subject, message, other, at, value, limit, unit)

    def failed(
        self, subject: str, message: str, remedy: str, *, other: str = "", at: When = 0.0, value: float | None = None,
        limit: float | None = None, unit: str = "", clearance: ClearanceDetail | None = None, ways: Iterable[Way] = (),
    ) -> Finding:
        """Make a finding that fails without a comparison: contact, or what is missing or in the wrong order."""
        return self._plain(
            Verdict.FAIL, subject, message, other, at, value, limit, unit, remedy, clearance, tuple(ways)
        )

    def not_assessed(
        self, subject: str, message: str, remedy: str, *, other: str = "", at: When = 0.0, value: float | None = None,
        limit: float | None = None, unit: str = "",
    ) -> Finding:
        """Make a finding that says what could not be judged, why, and what to supply."""
        return self._plain(Verdict.NOT_ASSESSED, subject, message, other, at, value, limit, unit, remedy)

    def _plain(
        self, verdict: Verdict, subject: str, message: str, other: str, at: When, value: float | None,
        limit: float | None, unit: str, remedy: str = "", clearance: ClearanceDetail | None = None,
        ways: tuple[Way, ...] = (),
    ) -> Finding:
        start, end = _times(at)
        return Finding(
            self.check, verdict, subject, message, other=other, start_s=start, end_s=end,
            value=_number(value), limit=_number(limit), unit=unit, remedy=remedy, clearance=clearance, ways=ways,
        )  # fmt: skip


def _times(at: When) -> tuple[float, float]:
    start, end = at if isinstance(at, tuple) else (at, at)
    return float(start), float(end)


def _number(value: float | None) -> float | None:
    """Return a finite number, None for what is without bound or unknown."""
    return None if value is None or not math.isfinite(value) else float(value)
