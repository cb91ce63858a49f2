"""What several findings come from: one wrong step or move is told once, however many findings it gives.

The rule, for every finding that did not pass:

1. one that names a step of the day or a move of the script comes from that;
2. what befalls an item that nothing holds any more comes from the step that let it loose;
3. two bodies that fail again come from what made them fail first;
4. else it comes from what is under way, or was done last, at its worst instant: a step of the day in which one of its
   two takes part, or whoever has one of them in the hands or on a tether, else a move;
5. one that holds for the whole run, or for no time at all, stands alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from armcarry.record.finding import Cause, Finding, Verdict
from armcarry.record.record import Record

#: the truth that an item is held or made fast
_LOOSE = "secured"
#: an act that begins this long after an instant is not what was under way then, s
_SAME_S = 1e-6


def with_causes(record: Record, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings in their order, each that did not pass with what it comes from."""
    findings = tuple(findings)
    open_ = sorted((k for k, item in enumerate(findings) if item.verdict is not Verdict.PASS), key=lambda k: (
        worst_s(findings[k]), k
    ))  # fmt: skip
    first: dict[frozenset[str], Cause] = {}
    found, loose = list(findings), _let_loose(record)
    for k in open_:
        item = findings[k]
        pair = frozenset((item.subject, item.other)) if item.clearance is not None else None
        cause = _named(record, item) or _adrift(item, loose) or (first.get(pair) if pair else None)
        cause = cause or _under_way(record, item)
        if cause is not None:
            cause = replace(cause, written=_written(record, cause))
            found[k] = replace(item, cause=cause)
            if pair:
                first.setdefault(pair, cause)
    return tuple(found)


def _written(record: Record, cause: Cause) -> str:
    """Return where a step or move was written; empty for a run that was not read from a script."""
    loaded = record.scene.loaded
    if cause.kind == "step":
        return loaded.written_at("step", cause.name)
    flown = [(move.carry, move.number) for move in record.moves if move.title == cause.name]
    flown += [(cut.carry, cut.number) for cut in record.shortfalls if cut.title == cause.name]
    return loaded.written_at("move", flown[0][0], str(flown[0][1])) if flown else ""


def causes(findings: Iterable[Finding], verdict: Verdict = Verdict.FAIL) -> dict[Cause | int, list[Finding]]:
    """Group the findings of a verdict by what they come from, the earliest first: later ones may follow from it.

    In a group, what is wrong with an act stands before gaps, which may follow from that. Findings that stand alone have
    their number as key.
    """
    groups: dict[Cause | int, list[Finding]] = {}
    for k, item in enumerate(findings):
        if item.verdict is verdict:
            groups.setdefault(item.cause or k, []).append(item)
    in_time = sorted(groups.items(), key=lambda group: min(map(worst_s, group[1])))
    return {key: sorted(same, key=lambda item: item.clearance is not None) for key, same in in_time}


def worst_s(finding: Finding) -> float:
    """Return the instant a finding is about: where its gap is least, else when it begins."""
    return finding.start_s if finding.clearance is None else finding.clearance.time_s


def _named(record: Record, item: Finding) -> Cause | None:
    steps = () if record.plan is None else record.plan.schedule.tasks_done()
    for name in (item.subject, item.other):
        if name in steps:
            return Cause("step", name)
        if any(name == move.title for move in record.moves) or name in {cut.title for cut in record.shortfalls}:
            return Cause("move", name)
    return None


def _let_loose(record: Record) -> dict[str, tuple[float, Cause]]:
    """Return of each item that was let loose in a day when that was first, and by which step."""
    found: dict[str, tuple[float, Cause]] = {}
    for broken in () if record.plan is None else record.ledger.violations:
        if broken.missing == _LOOSE and not broken.unknown and broken.time_s < found.get(broken.item, (np.inf,))[0]:
            found[broken.item] = broken.time_s, Cause("step", broken.step)
    return found


def _adrift(item: Finding, loose: Mapping[str, tuple[float, Cause]]) -> Cause | None:
    owners = [name.split("/", 1)[0] for name in (item.subject, item.other)]
    told = [loose[owner] for owner in owners if owner in loose and loose[owner][0] <= worst_s(item) + _SAME_S]
    return min(told, key=lambda one: one[0])[1] if told else None


def _under_way(record: Record, item: Finding) -> Cause | None:
    whole_run = item.start_s <= 0.0 and item.end_s >= record.duration_s
    if item.clearance is None and (whole_run or item.start_s == item.end_s == 0.0):
        return None
    time_s = worst_s(item) + _SAME_S
    if record.plan is not None:
        owners, states = {name.split("/", 1)[0] for name in (item.subject, item.other)}, record.ledger.at(time_s).states
        owners |= {who for name in owners & states.keys() for who in states[name].hands | states[name].tethers}
        slots = [slot for slot in record.plan.schedule.slots if slot.start_s <= time_s and owners & set(slot.actors)]
        if slots:
            return Cause("step", max(slots, key=lambda slot: slot.start_s).name)
    begun = [move for move in record.moves if move.start_s <= time_s]
    return Cause("move", max(begun, key=lambda move: move.start_s).title) if begun else None
