"""Every assumption of a run in one table: its value, what it enters, and how much verdicts depend on it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from functools import lru_cache

from armcarry.evidence.basis import BASES
from armcarry.evidence.methods import keys
from armcarry.evidence.turning import Turn, rule_of, turn
from armcarry.files.loaded import Assumption
from armcarry.files.reference import Key, fits
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record

#: folder of a model file -> kind of its document
_KINDS = {"arms": "arm", "platforms": "platform", "crew": "crew", "hardware": "hardware", "restraints": "restraint",
          "rules": "rules"}  # fmt: skip
HEADINGS = (
    "file", "key", "value", "meaning", "used by", "tightest finding", "its verdict", "verdict turns at",
    "room, share of the value", "source (yours)",
)  # fmt: skip


@dataclass(frozen=True)
class Assumed:
    """One number without a source.

    Attributes:
        number: file, key and text.
        meaning: what the reference says of its key, empty where that has none.
        used: pages of methods that it enters, in their order.
        tightest: the finding of those checks that is nearest to its limit, None where none has one.
        turn: where the nearest verdict turns that it decides, None where that is not worked out.
    """

    number: Assumption
    meaning: str
    used: tuple[str, ...]
    tightest: Finding | None
    turn: Turn | None

    def cells(self) -> tuple[str, ...]:
        """Return it under HEADINGS, the last cell empty: it is the user's."""
        found, where = self.tightest, self.turn
        finding = "" if found is None else " ".join(filter(None, (found.check, found.subject, found.other)))
        verdict = "" if found is None else str(found.verdict)
        if where is not None:
            finding = " ".join(filter(None, (where.check, where.subject, where.other)))
        room = "" if where is None or where.now == 0 else f"{where.room:.3g}"
        said = "" if where is None else where.said
        return (self.number.file, self.number.key, self.number.text, self.meaning, ", ".join(self.used), finding,
                verdict, said, room, "")  # fmt: skip

    def as_dict(self) -> dict[str, str]:
        """Return it as plain values, by heading."""
        return dict(zip(HEADINGS, self.cells(), strict=True))


def assumptions(record: Record, findings: tuple[Finding, ...]) -> tuple[Assumed, ...]:
    """Return every assumption of a run, those first whose verdict turns soonest, then in the order of the files."""
    tight = _tightest(findings)
    found = [_assumed(record, findings, number, tight) for number in record.scene.loaded.assumptions]
    return tuple(sorted(found, key=lambda one: (one.turn is None, 0.0 if one.turn is None else one.turn.room)))


def deciding(found: tuple[Assumed, ...]) -> tuple[Assumed, ...]:
    """Return the assumptions at a known value of which a verdict turns."""
    return tuple(one for one in found if one.turn is not None)


def in_short(record: Record, findings: tuple[Finding, ...]) -> str:
    """Say in one line how many assumptions decide a verdict and which is nearest to turning one; empty for none."""
    found = []
    for number in record.scene.loaded.assumptions:
        spelled = rule_of(kind_of(number.file), _steps(number.key))
        where = None if spelled is None else turn(record, findings, spelled, _path(number.key))
        if where is not None:
            found.append((number, where))
    if not found:
        return ""
    first, where = min(found, key=lambda one: one[1].room)
    many = f"{len(found)} assumptions decide a verdict" if len(found) > 1 else "1 assumption decides a verdict"
    return f"{many}; soonest {first.key} {first.text}: {where.check} turns at {where.said}"


def _assumed(
    record: Record, findings: tuple[Finding, ...], number: Assumption, tight: dict[str, Finding]
) -> Assumed:
    document = kind_of(number.file)
    key = reference_key(document, number.key)
    if key is None:
        return Assumed(number, "", (), None, None)
    spelled = f"{document}.{key.spelled}"
    used = tuple(name for name, basis in BASES.items() if any(_holds(one, spelled) for one in basis.keys))
    of_used = [tight[name] for name in used if name in tight]
    where = turn(record, findings, spelled, _path(number.key))
    return Assumed(number, key.meaning, used, min(of_used, key=_share, default=None), where)


def _path(key: str) -> tuple[str, ...]:
    """Return the steps of a number's key, an item's number for an item."""
    return tuple(re.findall(r"[^.\[\]]+", key))


def _steps(key: str) -> tuple[str, ...]:
    """Return the steps of a number's key, ``[]`` for an item, as the reference has them."""
    return tuple("[]" if step.startswith("[") else step for step in re.findall(r"[^.\[\]]+|\[\d+\]", key))


def kind_of(file: str) -> str:
    """Return the kind of document of an input by its place in the run folder."""
    parts = file.split("/")
    return _KINDS.get(parts[1], "scenario") if len(parts) > 1 else "scenario"


def reference_key(document: str, key: str) -> Key | None:
    """Return the key of the reference that a number stands under, the longest that fits; None for none.

    Args:
        document: its kind.
        key: as an assumption spells it: ``loads.rider.joint_rate.wrist_turn``, ``required[2].distance``.
    """
    return _longest(document, _steps(key))


@lru_cache(maxsize=4096)
def _longest(document: str, steps: tuple[str, ...]) -> Key | None:
    """Return the longest key that fits steps; the numbers of one file are of few kinds."""
    best: Key | None = None
    for one in keys()[document]:
        if fits(one.path, steps):
            best = one if best is None or len(one.path) > len(best.path) else best
    return best


def _holds(outer: str, spelled: str) -> bool:
    return spelled == outer or spelled.startswith((f"{outer}.", f"{outer}["))


def _tightest(findings: tuple[Finding, ...]) -> dict[str, Finding]:
    """Return check -> its finding nearest to its limit; failures first."""
    found: dict[str, Finding] = {}
    for finding in findings:
        if finding.value is not None and finding.limit is not None:
            best = found.setdefault(finding.check, finding)
            if _share(finding) < _share(best):
                found[finding.check] = finding
    return found


def _share(finding: Finding) -> tuple[bool, float]:
    value, limit = finding.value or 0.0, finding.limit or 0.0
    return finding.verdict is not Verdict.FAIL, abs(value - limit) / (abs(limit) or 1.0)


def as_csv(found: tuple[Assumed, ...]) -> str:
    """Return the table as CSV that a spreadsheet opens; text that it would take for a formula is marked as text."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    writer.writerows([tuple(map(_as_text, one.cells())) for one in found])
    return "\ufeff" + text.getvalue()  # the mark by which spreadsheets know UTF-8


def _as_text(cell: str) -> str:
    formula = cell[:1] in ("=", "@", "\t", "\r") or re.match(r"[+-](?![\d.])", cell) is not None
    return f"'{cell}" if formula else cell
