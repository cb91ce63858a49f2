"""At which value of an assumption the tightest finding that rests on it would come out otherwise.

Told only where that follows from the run: a limit that a figure is held against, a time that is added, a term of the
budget. What shapes the motion itself (rates, geometry, when things happen) has to be rehearsed anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from armcarry.checks.budget import left_m, terms_of
from armcarry.files.documents.rules import ARM_POSITIONING, BudgetTerm
from armcarry.files.reference import fits
from armcarry.record.figures import near, reaches
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow, Record
from armcarry.whatif.nearness import nearness, worker_speed_m_s
from armcarry.whatif.stranding import strandings

#: a pair with more left than this is not looked at for the terms of the budget, m
_MOST_LEFT_M = 1.0


@dataclass(frozen=True)
class Turn:
    """The value at which a verdict changes.

    Attributes:
        check, subject, other: the finding that turns.
        now, at: the number as it is and where it turns, SI.
        unit: as ``record.figures`` names it.
        sure: the verdict turns just there; else it does not turn before, and where it does is not worked out.
    """

    check: str
    subject: str
    other: str
    now: float
    at: float
    unit: str
    sure: bool = True

    @property
    def room(self) -> float:
        """By which share of itself the number may change before the verdict does; inf where it is 0."""
        return abs(self.at - self.now) / abs(self.now) if self.now else math.inf

    @property
    def said(self) -> str:
        """Where it turns, as people read it."""
        return f"{'' if self.sure else 'not before '}{near(self.at, self.unit, 4)}"


Key = tuple[str, ...]
_Rule = Callable[[Record, tuple[Finding, ...], Key], Iterable[Turn]]


def turn(record: Record, findings: tuple[Finding, ...], spelled: str, key: Key) -> Turn | None:
    """Return where the nearest verdict turns that a number decides; None where that is not worked out.

    Args:
        record, findings: the run as it was judged.
        spelled: key of the reference with its document, such as ``rules.required[].distance``.
        key: the number's own path, an item's number in place of ``[]``.
    """
    rule = _RULES.get(spelled)
    found = [] if rule is None else [one for one in rule(record, findings, key) if math.isfinite(one.at)]
    return min(found, key=lambda one: one.room, default=None)


def rule_of(document: str, steps: tuple[str, ...]) -> str | None:
    """Return the key of the reference, of those of which it is worked out where they turn, that a number stands under.

    Args:
        document: its kind.
        steps: of the number's key, ``[]`` for an item of a list.
    """
    spelled = (document, *steps)
    return next((key for key, path in _PATHS.items() if fits(path, spelled)), None)


def _limit(check: str, unit: str, fits: Callable[[Finding, Key], bool] = lambda finding, key: True) -> _Rule:
    """Return the rule of a number that a check holds figures against: it turns at the figure."""
    si = {"": "", "seconds": "s"}.get(unit, unit)

    def rule(_record: Record, findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
        for found in findings:
            numbers = found.value is not None and found.limit is not None and found.unit == si
            if found.check == check and numbers and found.verdict is not Verdict.NOT_ASSESSED and fits(found, key):
                yield Turn(check, found.subject, found.other, found.limit or 0.0, found.value or 0.0, unit)

    return rule


def _either(*rules: _Rule) -> _Rule:
    def rule(record: Record, findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
        for one in rules:
            yield from one(record, findings, key)

    return rule


def _other(*names: str) -> Callable[[Finding, Key], bool]:
    return lambda finding, key: finding.other in names


def _required(record: Record, _findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
    """A required distance turns at the least that is proven of the pairs which it is asked of."""
    rule = record.scene.loaded.rules.required[int(key[1])]
    classes = set(rule.between)
    rows = [row for row in record.table.near if row.why == "rule" and {row.class_a, row.class_b} == classes]
    rows = [row for row in rows if row.required_m == rule.distance and math.isfinite(row.lower_m)]
    if rows:
        least = min(rows, key=lambda row: row.lower_m)
        # proven farther than told of: it turns no sooner than there
        sure = least.status != "farther"
        yield Turn("clearance", least.body_a, least.body_b, rule.distance, least.lower_m, "m", sure)


def _remainder(record: Record, findings: tuple[Finding, ...], _key: Key) -> Iterator[Turn]:
    left = record.scene.loaded.rules.stop_remainder
    for check in ("stopping", "runaway"):
        yield from _limit(check, "m", lambda finding, key: finding.limit == left)(record, findings, ())


def _added(check: str, other: str, unit: str, now: Callable[[Record, Key], float]) -> _Rule:
    """Return the rule of a number that is added to a figure: it turns where what is left is used up."""

    def rule(record: Record, findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
        for one in _limit(check, unit, _other(other))(record, findings, key):
            mine = now(record, key)
            yield Turn(check, one.subject, one.other, mine, mine + one.now - one.at, unit)

    return rule


def _way_home(record: Record, key: Key) -> float:
    return float(getattr(record.scene.loaded.rules.way_home, key[1]))


def _budget_rows(record: Record) -> list[tuple[PairRow, dict[str, BudgetTerm], float]]:
    """Return the pairs of which a term may use up what is left, their terms, and what these leave, m."""
    near = (row for row in record.table.near if row.status == "proven" and row.required_m is not None)
    kept = (row for row in near if row.why == "rule")
    rows = [row for row in kept if row.margin_m < _MOST_LEFT_M and reaches(row.lower_m, row.required_m or 0.0)]
    return [(row, terms_of(record, row), left_m(record, row)) for row in rows]


def _budget(record: Record, _findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
    """A term turns where it uses up what the others leave of some pair."""
    rules, name = record.scene.loaded.rules, key[1]
    for row, terms, left in record.once(_budget_rows):
        if name in terms:
            now = terms[name].amount
            rest = [term.amount for other, term in terms.items() if other != name]
            if rules.budget_combination == "worst_case":
                at = row.margin_m - math.fsum(rest)
            else:
                spare = row.margin_m**2 - math.fsum(amount**2 for amount in rest)
                at = math.sqrt(spare) if spare >= 0 else -math.inf
            if at >= 0 and (at - now) * left >= 0:
                yield Turn("budget", row.body_a, row.body_b, now, at, "m")


def _positioning(record: Record, findings: tuple[Finding, ...], _key: Key) -> Iterator[Turn]:
    """The arm's own positioning is a term of the budget, and of the separation from people."""
    now = record.scene.loaded.arm.document.tip_positioning
    for one in _budget(record, findings, ("budget", ARM_POSITIONING, "amount")):
        yield Turn(one.check, one.subject, one.other, now, one.at, "m")
    for crew in record.scene.loaded.crew:
        found = nearness(record, crew)
        if found is not None:
            yield Turn("near_people", crew, found.body, now, now + found.margin_m, "m")


def _worker_speed(record: Record, _findings: tuple[Finding, ...], _key: Key) -> Iterator[Turn]:
    """The way a worker comes grows with the speed, everything else of the separation stays."""
    now = worker_speed_m_s(record)
    for crew in record.scene.loaded.crew:
        found = nearness(record, crew)
        if found is not None and found.separation.worker_m > 0:
            at = now * (found.separation.worker_m + found.margin_m) / found.separation.worker_m
            yield Turn("near_people", crew, found.body, now, at, "m/s")


def _pace(record: Record, _findings: tuple[Finding, ...], _key: Key) -> Iterator[Turn]:
    """A rider who goes along handrails more slowly is late at the worst of the instants that were looked at."""
    allowed = record.scene.loaded.rules.safe_return
    for item in strandings(record):
        if len(item.time_s) and np.all(item.extra_s < allowed):
            at = float(np.max(item.way_m / (allowed - item.extra_s)))
            yield Turn("stranded", item.crew, "airlock", item.speed_m_s, at, "m/s")


def _hands(hands: str) -> _Rule:
    """Return the rule of a reach: less of it by what a point is inside the envelope cannot put the point outside."""

    def rule(record: Record, findings: tuple[Finding, ...], key: Key) -> Iterator[Turn]:
        sites = record.scene.loaded.platform.document.worksites.values()
        asked = {point for site in sites if site.hands == hands for point in site.work_points}
        for one in _limit("work_reach", "m", lambda finding, _: finding.other in asked)(record, findings, key):
            member = record.scene.loaded.crew[one.subject]
            if member.size_name == key[1]:
                now = float(getattr(member.size.reach, f"{hands}_hand"))
                yield Turn("work_reach", one.subject, one.other, now, now - one.at, "m", sure=False)

    return rule


#: key of the reference -> how its turning value follows from a run
_RULES: dict[str, _Rule] = {
    "rules.required[].distance": _required,
    "rules.margins.joint_position": _limit("joint_margin", "rad"),
    "rules.margins.joint_travel": _limit("joint_margin", "m"),
    "rules.margins.smallest_singular_value": _limit("singularity", ""),
    "rules.stop_remainder": _remainder,
    "rules.rider_tip_speed": _limit("near_people", "m/s", _other("tip")),
    "rules.safe_return": _either(_limit("stranded", "s", _other("airlock")), _limit("locked_joint", "s")),
    "rules.tether_reach": _limit("stranded", "m", _other("handrail")),
    "rules.confidence": _limit("schedule", "", _other("chance")),
    "rules.relaxation.longest": _limit("relaxation", "s"),
    "rules.relaxation.least": _limit("relaxation", "m"),
    "rules.way_home.leave_restraint": _added("stranded", "airlock", "s", _way_home),
    "rules.way_home.go_in": _added("stranded", "airlock", "s", _way_home),
    "rules.worker_speed": _worker_speed,
    "rules.budget.<name>.amount": _budget,
    "arm.tip_positioning": _positioning,
    "arm.detection_time": _limit("runaway", "seconds"),
    "crew.corridor": _limit("corridor", "m"),
    "crew.translation_speed": _pace,
    "crew.sizes.<name>.reach.one_hand": _hands("one"),
    "crew.sizes.<name>.reach.two_hand": _hands("two"),
}
_PATHS = {key: tuple(key.replace("[]", ".[]").split(".")) for key in _RULES}
