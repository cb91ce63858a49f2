"""What a briefing says, as plain tables: the same for the report, the slides and the cards."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from armcarry.asked.requirement import NEIGHBOURS, RESTS
from armcarry.checks.budget import left_m, root_sum_square_m, terms_of, worst_case_m
from armcarry.files.documents.rules import RulesDocument
from armcarry.quantities import clock, rounded_down, show
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import MoveSpan, PairRow, Record
from armcarry.scene.words import plain
from armcarry.version import VERSION, installed
from armcarry.views.brief.answer import failures_table, findings_table, headline, tightest
from armcarry.views.brief.day import day_table
from armcarry.views.closest import asked, judged, said
from armcarry.views.hooked import hands_table
from armcarry.views.table import Table as Table
from armcarry.views.told import tightest_of_each
from armcarry.views.whatifs import CHECKS, WHAT_IFS, WhatIf
from armcarry.views.words import counted, overall

#: rows of a table of margins, and its first columns
_PAIRS = 12
_PAIR_COLUMNS = ("body", "other body", "at", "proven least, m", "required, m", "margin, mm")
#: what hardware in its seat keeps farther than this from is not told, m: nothing but no contact is asked of it
_RESTS_NEAR_M = 0.05
_LIBRARIES = ("numpy", "scipy", "numba", "pyvista", "vtk", "matplotlib", "pydantic", "roboticstoolbox-python")
#: said of a carry in which no pair is tightest
NONE_LEAST = "No pair comes nearest here: every one of them is nearer at another time of the run."


@dataclass(frozen=True)
class Carry:
    """One carry: its name, title and stretch of the run."""

    name: str
    title: str
    start_s: float
    end_s: float
    moves: tuple[MoveSpan, ...]

    @property
    def when(self) -> str:
        """When it is, and in how many moves."""
        count = len(self.moves)
        return f"{clock(self.start_s)} to {clock(self.end_s)}, {count} move{'s' if count != 1 else ''}"


class Answer(NamedTuple):
    """A what-if, with the findings of its check, None where it was not made, and what is told beside them."""

    asked: WhatIf
    findings: Table | None
    more: Table | None


@dataclass(frozen=True)
class Briefing:
    """Everything but the pictures.

    ``headline`` is the answer in a sentence or two; ``failed`` is what fails, of all checks, and ``decides`` the
    tightest of each check that passed; ``day`` is None where the run belongs to no day; ``assumptions`` is a table for
    each file; ``assumed`` counts them all.
    """

    title: str
    purpose: str
    verdict: Verdict
    counts: str
    headline: str
    tightest: str
    failed: Table
    decides: Table
    configuration: Table
    day: Table | None
    hands: Table | None
    timeline: Table
    carries: tuple[Carry, ...]
    margins: Table
    relaxed: Table
    budget: Table
    budget_words: str
    findings: Table
    what_ifs: tuple[Answer, ...]
    assumptions: tuple[tuple[str, Table], ...]
    assumed: int
    provenance: Table


def briefing(record: Record, findings: Sequence[Finding]) -> Briefing:
    """Gather what a briefing says of a run."""
    script = record.scene.loaded.scenario
    return Briefing(
        title=script.title,
        purpose=script.purpose,
        verdict=overall(findings),
        counts=counted(findings),
        headline=headline(record, findings),
        tightest=tightest(record),
        failed=failures_table(findings),
        decides=Table(("check that passed", "its tightest", "at", "on"), tuple(tightest_of_each(findings))),
        configuration=_configuration(record),
        day=day_table(record),
        hands=hands_table(record),
        timeline=_timeline(record.moves),
        carries=carries(record),
        margins=margins(record),
        relaxed=relaxed_margins(record),
        budget=_budget(record.scene.loaded.rules),
        budget_words=budget_words(record.scene.loaded.rules),
        findings=findings_table([f for f in findings if f.check not in CHECKS]),
        what_ifs=tuple(_answer(record, findings, item) for item in WHAT_IFS),
        assumptions=_assumptions(record),
        assumed=len(record.scene.loaded.assumptions),
        provenance=_provenance(record),
    )


def _answer(record: Record, findings: Sequence[Finding], item: WhatIf) -> Answer:
    found = [finding for finding in findings if finding.check == item.check]
    return Answer(item, findings_table(found), item.table(record)) if found else Answer(item, None, None)


def carries(record: Record) -> tuple[Carry, ...]:
    """Return the carries of a run in order of time."""
    titles = {carry.name: carry.title for carry in record.scene.loaded.scenario.carries}
    by_name: dict[str, list[MoveSpan]] = {}
    for move in record.moves:
        by_name.setdefault(move.carry, []).append(move)
    found = []
    for name, moves in by_name.items():
        start, end = min(move.start_s for move in moves), max(move.end_s for move in moves)
        found.append(Carry(name, titles.get(name) or plain(name), start, end, tuple(moves)))
    return tuple(found)


def margins(record: Record, start_s: float = -np.inf, end_s: float = np.inf) -> Table:
    """Return the pairs kept to the rules whose least distance falls in a window, least left after uncertainty first."""
    lines = []
    for row in _tightest_first(record, start_s, end_s, relaxed=False):
        terms = terms_of(record, row).values()
        lines.append((
            *_pair(row), _millimetres(row), _millimetres(row, root_sum_square_m(terms)),
            _millimetres(row, worst_case_m(terms)),
        ))
    columns = (*_PAIR_COLUMNS, "margin less likely uncertainty, mm", "less worst case, mm")
    return Table(columns, tuple(lines))


def relaxed_margins(record: Record, start_s: float = -np.inf, end_s: float = np.inf) -> Table:
    """Return the tightest pairs of which less is required for a time, with the reason the script gives."""
    rows = _tightest_first(record, start_s, end_s, relaxed=True)
    lines = tuple((*_pair(row), _millimetres(row), row.why) for row in rows)
    return Table((*_PAIR_COLUMNS, "why less is required"), lines)


def _tightest_first(record: Record, start_s: float, end_s: float, relaxed: bool) -> list[PairRow]:
    chosen = [
        row for row in record.table.near
        if judged(row) and start_s <= row.time_s <= end_s and (row.why != "rule") == relaxed
        and not (row.why in (RESTS, NEIGHBOURS) and row.margin_m > _RESTS_NEAR_M)
    ]
    return sorted(chosen, key=lambda row: (row.margin_m if relaxed else left_m(record, row), row.upper_m))[:_PAIRS]


def _pair(row: PairRow) -> tuple[str, ...]:
    least, required = (words.removesuffix(" required").removesuffix(" m") for words in (
        said(row, row.lower_m), asked(row, row.lower_m)
    ))  # fmt: skip
    return plain(row.body_a), plain(row.body_b), clock(row.time_s), least, required


def _millimetres(row: PairRow, off_m: float = 0.0) -> str:
    left = (row.margin_m - off_m) * 1e3
    return "none" if left == -np.inf else f"{rounded_down(left, 0):.0f}"


def budget_words(rules: RulesDocument) -> str:
    """Say how the terms of the budget are put together and which way a run is judged by."""
    judged_by = "the worst case" if rules.budget_combination == "worst_case" else "the likely uncertainty"
    return (
        "Likely uncertainty is the root of the sum of the squares of the terms that count for a pair, worst case "
        f"their sum; a term that moves both bodies alike cancels. This run is judged by {judged_by}. A relaxed "
        "requirement belongs to a short approach made by eye and gets no budget."
    )


def _budget(rules: RulesDocument) -> Table:
    """Return what the uncertainty is made of."""
    rows = tuple(
        (term.title, f"{term.amount * 1e3:.0f}", ", ".join(term.applies_to)) for term in rules.budget.values()
    )
    return Table(("what may be off", "by at most, mm", "counts for the bodies of one of these classes"), rows)


def _timeline(moves: Sequence[MoveSpan]) -> Table:
    rows = tuple(
        (clock(m.start_s), clock(m.end_s), plain(m.carry), plain(m.title).removeprefix(f"{plain(m.carry)} "),
         plain(m.load), m.say)
        for m in moves
    )  # fmt: skip
    return Table(("from", "to", "carry", "move", "load", "caption"), rows)


def _configuration(record: Record) -> Table:
    loaded = record.scene.loaded
    script = loaded.scenario
    station = script.base.station
    base = plain(script.base.mount) + ("" if station is None else f" at {show(station, 'length', 2)}")
    rows = [
        ("platform", loaded.platform.document.title),
        ("arm", loaded.arm.document.title),
        ("arm base", base),
        ("rules", loaded.rules.title),
        ("visiting vehicle", "comes in" if script.vehicle_from is not None else script.vehicle),
        *((plain(name), plain(state)) for name, state in script.appendages.items()),
        *((plain(name), show(station, "length", 2)) for name, station in script.carts.items()),
    ]
    if script.restraint is not None:
        rows.append(("foot restraint", f"{plain(script.restraint.model)} on {plain(script.restraint.at)}"))
        rows += [(f"restraint {plain(name)}", text) for name, text in restraint_settings(record)]
    for name, member in script.crew.items():
        rows.append((f"crew {name}", f"size {member.size}, posture {plain(member.posture)}, at {plain(member.at)}"))
    for name, item in script.hardware.items():
        rows.append((f"hardware {plain(name)}", f"{plain(item.model)} at {plain(item.at)}"))
    return Table(("what", "how"), tuple(rows))


def _assumptions(record: Record) -> tuple[tuple[str, Table], ...]:
    by_file: dict[str, list[tuple[str, str]]] = {}
    for each in record.scene.loaded.assumptions:
        by_file.setdefault(each.file, []).append((each.key, each.text))
    return tuple((file, Table(("number", "assumed"), tuple(rows))) for file, rows in by_file.items())


def restraint_settings(record: Record) -> tuple[tuple[str, str], ...]:
    """Return each setting of the foot restraint with its angle and how many steps that is from zero."""
    loaded = record.scene.loaded
    if loaded.restraint is None or loaded.scenario.restraint is None:
        return ()
    found = []
    for name, setting in loaded.restraint.document.settings.items():
        angle = loaded.scenario.restraint.settings.get(name, 0.0)
        steps = angle / setting.step if setting.step else 0.0
        found.append((name, f"{show(angle, 'angle', 1)} ({steps:+.3g} steps of {show(setting.step, 'angle', 1)})"))
    return tuple(found)


def _provenance(record: Record) -> Table:
    rows = [("armcarry", VERSION), ("Python", platform.python_version())]
    rows += [(name, installed(name)) for name in _LIBRARIES]
    rows += [(f"input {item.role_path}", f"SHA-256 {item.sha256}") for item in record.scene.loaded.inputs]
    return Table(("what", "which"), tuple(rows))
