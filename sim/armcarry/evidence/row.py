"""One piece of evidence: what is compared with what, and what came of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal

Kind = Literal["published value", "independent engine", "scenario"]
AGREES, DIFFERS, NOT_RUN = "agrees", "differs", "not run"


@dataclass(frozen=True)
class Row:
    """One comparison.

    Attributes:
        kind: what ours is compared with.
        name: what is compared, in a few words.
        source: where the other value is from.
        ours, wanted: both as text, with unit.
        verdict: AGREES, DIFFERS or NOT_RUN; the last is never an agreement and is counted apart.
    """

    kind: Kind
    name: str
    source: str
    ours: str
    wanted: str
    verdict: str

    def as_dict(self) -> dict[str, str]:
        """Return it as plain values."""
        return asdict(self)


def compared(
    kind: Kind, name: str, source: str, ours: float, wanted: float, within: float, unit: str = ""
) -> Row:
    """Compare two numbers; ``within`` is the largest difference at which they agree, in the same unit."""
    agrees = abs(ours - wanted) <= within  # False for nan
    tail = f" {unit}" if unit else ""
    return Row(
        kind, name, source, f"{ours:.12g}{tail}", f"{wanted:.12g}{tail} to {within:g}{tail}",
        AGREES if agrees else DIFFERS,
    )


def not_run(kind: Kind, name: str, source: str, why: str) -> Row:
    """Say what was not compared, and why."""
    return Row(kind, name, source, why, "", NOT_RUN)
