"""What is left of the tightest clearances when everything that can be off is off?"""

from __future__ import annotations

import math
from collections.abc import Iterable

from armcarry.files.documents.rules import ARM_POSITIONING, BudgetTerm
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down, near, reaches
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import PLATFORM

#: terms every budget must state, if only as "0 m": none is silently zero
TERMS = (ARM_POSITIONING, "structure_placement", "thermal", "grasp")
#: pairs that are told, the one with least left first; of those that fall short every one
PAIRS = 10
_make = Maker("budget")


def check(record: Record) -> tuple[Finding, ...]:
    """Judge every pair that keeps the rules' clearance by its margin with uncertainty, and tell the ten worst.

    Not assessed where the rules leave a term out, and in a perturbed run, which is off already. Pairs under a
    relaxation are left out and counted: an approach is made by eye, and its smaller requirement already takes that
    into account.
    """
    if record.displaced is not None:
        message = "this run stands where a campaign drew it, so its clearances have had their uncertainty already"
        remedy = "see the budget of the rehearsal, or the campaign's share of runs that fall short"
        return (_make.not_assessed("run", message, remedy),)
    rules = record.scene.loaded.rules
    missing = [name for name in TERMS if name not in rules.budget]
    if missing:
        listed = ", ".join(missing)
        message = f"the rules' budget does not state {listed}; a term that is nothing is stated as 0 m"
        return (_make.not_assessed("rules", message, f"state {listed} in the rules' budget"),)
    kept = [
        row for row in record.table.near
        if row.status == "proven" and row.required_m is not None and reaches(row.lower_m, row.required_m)
    ]
    # a pair with more terms may be worse off than a nearer one with fewer; of what is left alike, to a nanometre, the
    # first is told, on whatever machine
    rows = sorted((row for row in kept if row.why == "rule"), key=lambda row: round(left_m(record, row), 9))
    relaxed = len(kept) - len(rows)
    if not rows:
        return (_make.passed("arm", "no pair that keeps its clearance comes within the report distance"),)
    short = sum(not reaches(left_m(record, row), 0.0) for row in rows)
    findings = [_finding(record, row) for row in rows[: max(PAIRS, short)]]
    if relaxed:
        message = f"{relaxed} pairs are relaxed for a time and get no budget then: an approach is made by eye"
        findings.append(_make.passed("relaxation", message))
    return tuple(findings)


def _holds_on(record: Record, row: PairRow) -> bool:
    """Tell whether a pair is somebody outside, or what they bring, and the very structure they hold on to."""
    for kind, body, other in ((row.class_a, row.body_a, row.body_b), (row.class_b, row.body_b, row.body_a)):
        who = body.split("/", 1)[0] if kind == "worker" else _brought_by(record, row, body, kind)
        if who is not None and other.startswith(f"{PLATFORM}/") and {row.class_a, row.class_b} == {kind, "structure"}:
            return not record.ledger.at(row.time_s).people[who].inside
    return False


def _brought_by(record: Record, row: PairRow, body: str, kind: str) -> str | None:
    """Return who brings a body of hardware off the arm while a row holds; None where nobody does."""
    if kind != "hardware":
        return None
    tree = record.phase_at((row.start_s + row.end_s) / 2).tree
    return record.scene.brought_by(tree, body.split("/", 1)[0])


def terms_of(record: Record, row: PairRow) -> dict[str, BudgetTerm]:
    """Return the terms that count for a pair: those that name the class of one of its bodies.

    A term that names both moves both alike (the arm's positioning, for arm and rider) and cancels. What somebody off
    the arm brings has none of the terms that name the arm. Where structure truly stands counts neither for somebody
    outside who holds on to that very structure nor, as hands guide it past, for what they bring.
    """
    held = _holds_on(record, row)
    if held and "hardware" in (row.class_a, row.class_b):
        return {}
    one, other = (
        (kind, _brought_by(record, row, body, kind) is None)
        for body, kind in ((row.body_a, row.class_a), (row.body_b, row.class_b))
    )
    return {
        name: term
        for name, term in record.scene.loaded.rules.budget.items()
        if not (held and "structure" in term.applies_to) and _counts(term, *one) != _counts(term, *other)
    }


def _counts(term: BudgetTerm, kind: str, by_arm: bool) -> bool:
    return kind in term.applies_to and (by_arm or "arm" not in term.applies_to)


def worst_case_m(terms: Iterable[BudgetTerm]) -> float:
    """Return the sum of all terms in metres: every one off by its most, all the wrong way."""
    return math.fsum(term.amount for term in terms)


def root_sum_square_m(terms: Iterable[BudgetTerm]) -> float:
    """Return the root of the sum of squares in metres: independent terms, together about as likely as one alone."""
    return math.sqrt(math.fsum(term.amount**2 for term in terms))


def left_m(record: Record, row: PairRow) -> float:
    """Return the margin of a pair less its terms, combined as the rules say, in metres."""
    terms, rules = terms_of(record, row).values(), record.scene.loaded.rules
    return row.margin_m - (worst_case_m if rules.budget_combination == "worst_case" else root_sum_square_m)(terms)


def _finding(record: Record, row: PairRow) -> Finding:
    terms, rules = terms_of(record, row), record.scene.loaded.rules
    worst, likely = worst_case_m(terms.values()), root_sum_square_m(terms.values())
    left, required = at_least(left_m(record, row), 0.0, "mm"), row.required_m or 0.0
    margin = at_least(row.lower_m, required, "m")
    listed = ", ".join(f"{term.title} {near(term.amount, 'mm')}" for term in terms.values()) or "no term applies"
    # of the two sums the one that is judged gets the digits that show on which side of nothing it is
    said = {"worst_case": down(row.margin_m - worst, "mm"), "root_sum_square": down(row.margin_m - likely, "mm")}
    said[rules.budget_combination] = left.said
    return _make.judged(
        left,
        row.body_a,
        f"{row.body_a} to {row.body_b}: {margin.said} less {margin.asked} required leaves {down(row.margin_m, 'mm')}; "
        f"less uncertainty {said['worst_case']} worst case, {said['root_sum_square']} root-sum-square ({listed}); "
        f"judged by {rules.budget_combination.replace('_', ' ')}",
        other=row.body_b,
        at=row.time_s,
        remedy=f"lead the carry {left.short} farther away at {clock(row.time_s)}, or narrow a term",
    )
