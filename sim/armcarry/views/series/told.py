"""What is told of several runs: each with its findings and tasks, and what stands otherwise between them."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from armcarry.comparing.joined import Otherwise, differences
from armcarry.procedure.model import Procedure
from armcarry.procedure.tasks import procedure
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.views.table import Table
from armcarry.views.words import counted, overall, verdict_word


@dataclass(frozen=True, eq=False)
class Told:
    """One run of several.

    Attributes:
        name, title, date: as the series calls it; of a run on its own its folder and the scenario's title.
        folder: where it is.
        record, findings: the run.
        changes: what stands otherwise at its start, with the reason that the series gives.
    """

    name: str
    title: str
    folder: Path
    record: Record
    findings: tuple[Finding, ...]
    date: str = ""
    changes: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def procedure(self) -> Procedure:
        """Everybody's tasks in it."""
        return procedure(self.record, self.findings)

    @property
    def verdict(self) -> Verdict:
        """Its worst verdict."""
        return overall(self.findings)

    @property
    def words(self) -> str:
        """Its verdict and how many findings gave which."""
        return f"{verdict_word(self.verdict)}: {counted(self.findings)}"


def joins(runs: Sequence[Told]) -> tuple[tuple[Otherwise, ...], ...]:
    """Return what stands otherwise at the start of each run but the first."""
    return tuple(differences(a.record, b.record, b.changes) for a, b in itertools.pairwise(runs))


def unexplained(found: Sequence[Sequence[Otherwise]]) -> int:
    """Return how much stands otherwise for no stated reason."""
    return sum(not each.why for join in found for each in join)


def join_table(found: Sequence[Otherwise]) -> Table:
    """Return what stands otherwise as a table, what nobody gives a reason for first."""
    rows = sorted(found, key=lambda each: bool(each.why))
    return Table(("who or what", "was left", "begins", "why"), tuple(
        (each.what.replace("_", " "), each.left, each.begins, each.why or "✕ no reason is given") for each in rows
    ))
