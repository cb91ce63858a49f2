"""What a briefing says, as plain tables: the same for the report, the slides and the cards."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import NamedTuple

import numpy as np

from armcarry import __version__
from armcarry.checks.budget import root_sum_square_m, terms_of, worst_case_m
from armcarry.quantities import clock, rounded_down, show
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import MoveSpan, PairRow, Record
from armcarry.views import palette
from armcarry.views.closest import judged
from armcarry.views.words import counted, plain, verdict_word

#: rows of the table of margins
_PAIRS = 15
_LIBRARIES = ("numpy", "scipy", "numba", "pyvista", "vtk", "matplotlib", "pydantic", "roboticstoolbox-python")
#: checks that ask "what if", each with a part of the report of its own, and what they ask
WHAT_IF = {
    "stopping": "Told to stop late",
    "runaway": "A joint runs away",
    "locked_joint": "A joint locks",
    "stranded": "The arm quits and its rider is stranded",
    "seen": "What the cameras see",
    "light": "In what light",
    "near_people": "Loads and rates near people",
}


class Table(NamedTuple):
    """A table: column titles, and rows of as many texts."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Carry:
    """One carry: its name, title and stretch of the run."""

    name: str
    title: str
    start_s: float
    end_s: float
    moves: tuple[MoveSpan, ...]


class WhatIf(NamedTuple):
    """What one check that asks "what if" found: its name, what it asks, and its findings."""

    check: str
    title: str
    findings: Table


@dataclass(frozen=True)
class Briefing:
    """Everything but the pictures."""

    title: str
    purpose: str
    verdict: Verdict
    counts: str
    tightest: str
    configuration: Table
    timeline: Table
    carries: tuple[Carry, ...]
    margins: Table
    findings: Table
    what_ifs: tuple[WhatIf, ...]
    assumptions: Table
    provenance: Table


def briefing(record: Record, findings: Sequence[Finding]) -> Briefing:
    """Gather what a briefing says of a run."""
    script = record.scene.loaded.scenario
    return Briefing(
        title=script.title,
        purpose=script.purpose,
        verdict=overall(findings),
        counts=counted(findings),
        tightest=_tightest(record),
        configuration=_configuration(record),
        timeline=_timeline(record.moves),
        carries=carries(record),
        margins=margins(record),
        findings=findings_table([f for f in findings if f.check not in WHAT_IF]),
        what_ifs=tuple(
            WhatIf(check, title, findings_table(found))
            for check, title in WHAT_IF.items()
            if (found := [f for f in findings if f.check == check])
        ),
        assumptions=Table(
            ("file", "value", "text"),
            tuple((a.file, a.key, a.text) for a in record.scene.loaded.assumptions),
        ),
        provenance=_provenance(record),
    )


def overall(findings: Sequence[Finding]) -> Verdict:
    """Return fail if anything failed, else not assessed if anything was not, else pass."""
    seen = {finding.verdict for finding in findings}
    return next((v for v in (Verdict.FAIL, Verdict.NOT_ASSESSED) if v in seen), Verdict.PASS)


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
    """Return the tightest pairs whose least distance falls in a window, with the uncertainty of each."""
    rules = record.scene.loaded.rules
    rows = [row for row in record.pairs if judged(row) and start_s <= row.time_s <= end_s]
    rows = sorted(rows, key=lambda row: (row.margin_m, row.upper_m))[:_PAIRS]
    lines = []
    for row in rows:
        terms = terms_of(rules, row).values()
        likely, worst = root_sum_square_m(terms), worst_case_m(terms)
        least = "contact" if row.lower_m == -np.inf else f"{rounded_down(row.lower_m):.3f}"
        lines.append((
            plain(row.body_a), plain(row.body_b), clock(row.time_s), least, f"{row.required_m:.3f}",
            _millimetres(row, 0.0), _millimetres(row, likely), _millimetres(row, worst),
        ))
    columns = ("body", "other body", "at", "proven least, m", "required, m", "margin, mm",
               "margin less likely uncertainty, mm", "less worst case, mm")
    return Table(columns, tuple(lines))


def _millimetres(row: PairRow, off_m: float) -> str:
    left = (row.margin_m - off_m) * 1e3
    return "none" if left == -np.inf else f"{rounded_down(left, 0):.0f}"


def findings_table(findings: Sequence[Finding]) -> Table:
    """Return findings as a table, in their order."""
    rows = []
    for finding in findings:
        verdict = f"{palette.VERDICTS[finding.verdict][1]} {verdict_word(finding.verdict)}"
        rows.append((verdict, plain(finding.check), clock(finding.start_s), finding.message, finding.remedy))
    return Table(("verdict", "check", "at", "what was found", "what to change"), tuple(rows))


def _tightest(record: Record) -> str:
    row = record.tightest
    if row is None:
        return "No pair of bodies with a required clearance moves against another."
    pair = f"{plain(row.body_a)} and {plain(row.body_b)}"
    if row.lower_m == -np.inf:
        return f"Tightest clearance: {pair} touch at {clock(row.time_s)}; {row.required_m:.2f} m is required."
    return (
        f"Tightest clearance: {pair} keep {rounded_down(row.lower_m):.3f} m at {clock(row.time_s)}; "
        f"{row.required_m:.2f} m is required ({rounded_down(row.margin_m * 1e3, 0):+.0f} mm)."
    )


def _timeline(moves: Sequence[MoveSpan]) -> Table:
    rows = tuple(
        (clock(m.start_s), clock(m.end_s), plain(m.carry), plain(m.title), plain(m.load), m.say) for m in moves
    )
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
        ("visiting vehicle", script.vehicle),
        *((f"appendage {plain(name)}", plain(state)) for name, state in script.appendages.items()),
        *((f"cart {plain(name)}", show(station, "length", 2)) for name, station in script.carts.items()),
    ]
    if script.restraint is not None:
        rows.append(("foot restraint", f"{plain(script.restraint.model)} on {plain(script.restraint.at)}"))
        rows += [(f"restraint {plain(name)}", text) for name, text in restraint_settings(record)]
    for name, member in script.crew.items():
        rows.append((f"crew {name}", f"size {member.size}, posture {plain(member.posture)}, at {plain(member.at)}"))
    for name, item in script.hardware.items():
        rows.append((f"hardware {plain(name)}", f"{plain(item.model)} at {plain(item.at)}"))
    return Table(("what", "how"), tuple(rows))


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
    rows = [("armcarry", __version__), ("Python", platform.python_version())]
    for name in _LIBRARIES:
        try:
            rows.append((name, version(name)))
        except PackageNotFoundError:
            rows.append((name, "absent"))
    rows += [(f"input {item.role_path}", f"SHA-256 {item.sha256}") for item in record.scene.loaded.inputs]
    return Table(("what", "which"), tuple(rows))
