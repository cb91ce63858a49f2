"""A finding: one verdict on one subject, in words a person acts on."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from html import escape
from typing import Any


class Verdict(StrEnum):
    """What a check came to; not assessed is never a pass."""

    PASS = "pass"
    FAIL = "fail"
    NOT_ASSESSED = "not_assessed"


@dataclass(frozen=True)
class ClearanceDetail:
    """What a clearance finding adds: proven bounds of the least distance, and where it is.

    Points are in the world frame, metres. ``lower_m`` is -inf where the bodies overlap. ``joints`` are the positions
    of the arm's joints there, in rad or m, where the arm is on a way that the run does not fly, as after a fault; empty
    where it is flown.
    """

    lower_m: float
    upper_m: float
    required_m: float
    time_s: float
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]
    joints: tuple[float, ...] = ()


@dataclass(frozen=True)
class Way:
    """One case of a locked joint: when it locks, what the other joints bring the rider to, and by which way.

    ``corners`` are positions of the arm's joints in rad or m, gone through one after another in ``lasting_s``
    seconds; empty where no way was found.
    """

    time_s: float
    kind: str
    where: str
    lasting_s: float
    corners: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Cause:
    """What findings come from: ``kind`` is ``step`` (of the day) or ``move`` (of a carry), ``name`` its name.

    ``written`` is where that stands in the script: file, line, and what was meant if it followed from an intent.
    """

    kind: str
    name: str
    written: str = ""


@dataclass(frozen=True)
class Finding:
    """One verdict of one check.

    Attributes:
        check: name of the check, the file name in checks/ without the ending.
        subject: what is judged: a body, joint, step or crewmember, by full name.
        other: the second body or thing, empty if none.
        start_s, end_s: when it holds, seconds from the start of the run.
        value, limit: in ``unit`` (SI or a plain word); None where there is no number.
        message: one sentence a person understands without a manual.
        remedy: what to change, empty for a pass.
        clearance: the gap it is about.
        ways: the cases it sums up, where it sums up ways out.
        cause: what it comes from, with others perhaps (see ``record.causes``); None for a pass, or if it stands alone.
    """

    check: str
    verdict: Verdict
    subject: str
    message: str
    other: str = ""
    start_s: float = 0.0
    end_s: float = 0.0
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    remedy: str = ""
    clearance: ClearanceDetail | None = None
    ways: tuple[Way, ...] = ()
    cause: Cause | None = None

    def _repr_html_(self) -> str:
        """Return what a notebook shows: verdict, check, words and remedy."""
        remedy = f"<br><i>{escape(self.remedy)}</i>" if self.remedy else ""
        return f"<p><b>{self.verdict}</b> {escape(self.check)}: {escape(self.message)}{remedy}</p>"

    def as_dict(self) -> dict[str, Any]:
        """Return the flat form written to findings.json; infinities become None."""
        flat = asdict(self)
        detail = flat.pop("clearance")
        if not self.ways:
            del flat["ways"]
        if self.cause is None:
            del flat["cause"]
        flat["verdict"] = str(self.verdict)
        if detail is not None:
            if not detail["joints"]:
                del detail["joints"]
            flat.update(detail)
        return {key: _finite(value) for key, value in flat.items()}


class Findings(tuple[Finding, ...]):
    """The findings of a run, failures first: a tuple that says on a line, and shows in a notebook, what it comes to."""

    __slots__ = ()

    def counts(self) -> dict[Verdict, int]:
        """Return how many findings have each verdict."""
        return {verdict: sum(item.verdict is verdict for item in self) for verdict in Verdict}

    def __repr__(self) -> str:
        """Return the counts on a line."""
        counts = self.counts()
        return (f"Findings({counts[Verdict.PASS]} passed, {counts[Verdict.FAIL]} failed, "
                f"{counts[Verdict.NOT_ASSESSED]} not assessed)")  # fmt: skip

    def _repr_html_(self) -> str:
        """Return what a notebook shows: what did not pass in full, and a line a check that passed."""
        open_ = [item for item in self if item.verdict is not Verdict.PASS]
        checks = {item.check for item in self} - {item.check for item in open_}
        words = f"<p><b>{escape(repr(self))}</b></p>" + "".join(item._repr_html_() for item in open_)
        return words + (f"<p>passed: {escape(', '.join(sorted(checks)))}</p>" if checks else "")


def _finite(value: Any) -> Any:
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value
