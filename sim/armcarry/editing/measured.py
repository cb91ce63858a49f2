"""From a rehearsed script to the answer: what is tightest, where the tool goes, how the joints stand."""

from __future__ import annotations

import numpy as np

from armcarry.checks import clearance, joint_margin, reach, schedule
from armcarry.editing.answer import TIGHTEST, Answer, Flown, Joint, OnClock, Tight, WayOfTool
from armcarry.editing.rehearsed import Rehearsed
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow, Record

#: points at which the way is shown where it is not proven yet
_REST = 400


def answer(known: Rehearsed, number: int, title: str, took_s: float, before: Answer | None) -> Answer:
    """Return the answer to a change.

    Args:
        known: the script as it was rehearsed.
        number: of the answer.
        title: the change in words.
        took_s: how long it took.
        before: the answer before, from which changes are counted.
    """
    record = known.record
    joints = _joint_margins(known)
    short = [item for item in reach.check(record) if _fails(item)]
    joint = tuple(one for one in joints if _fails(one))
    day = () if known.whole is None else tuple(one for one in known.whole.once(schedule.check) if _fails(one))
    failing = (*short, *day, *clearance.too_near(record.pairs), *joint)
    cut = known.left > 0 and known.whole is None
    return Answer(
        number, title, took_s, known.planned, known.proven, record, _moves(known), _way(known),
        _tightest(record, before), _joints(joints, None if cut else before), failing,
        None if before is None or cut else record.duration_s - before.duration_s, left=known.left,
        steps=_steps(known),
    )  # fmt: skip


def _joint_margins(known: Rehearsed) -> tuple[Finding, ...]:
    if known.whole is not None:
        return joint_margin.check(known.record)
    low, high = (np.stack([getattr(piece, end) for piece in known.pieces]) for end in ("low", "high"))
    return joint_margin.judged(known.record, low.min(axis=0), high.max(axis=0))


def _fails(finding: Finding) -> bool:
    return finding.verdict is Verdict.FAIL


def _steps(known: Rehearsed) -> tuple[OnClock, ...]:
    """Return the steps of the day on the clock."""
    plan = None if known.whole is None else known.whole.plan
    if plan is None:
        return ()
    words = {slot.name: plan.step(slot.name).title or slot.name.replace("_", " ") for slot in plan.schedule.slots}
    return tuple(
        OnClock(slot.name, words[slot.name], known.steps.get(slot.name), slot.actors, slot.start_s, slot.end_s,
                slot.critical)
        for slot in plan.schedule.slots
    )  # fmt: skip


def _tightest(record: Record, before: Answer | None) -> tuple[Tight, ...]:
    least: dict[frozenset[str], PairRow] = {}
    table = record.table
    for k in np.lexsort((table.margin_m, record.weights)).tolist():
        least.setdefault(frozenset((table[k].body_a, table[k].body_b)), table[k])
        if len(least) == TIGHTEST:
            break
    old: dict[frozenset[str], float] = {}
    for row in () if before is None else _as_far(before, record):
        pair = frozenset((row.body_a, row.body_b))
        old[pair] = min(row.margin_m, old.get(pair, np.inf))
    return tuple(
        Tight(row, None if pair not in old or not np.isfinite(old[pair]) else row.margin_m - old[pair])
        for pair, row in least.items()
    )


def _as_far(before: Answer, record: Record) -> tuple[PairRow, ...]:
    """Return the pairs of an answer before that were at their nearest by the end of the last move of a record."""
    last = record.moves[-1] if record.moves else None
    until = next((one.end_s for one in before.moves if last and (one.carry, one.number) == (last.carry, last.number)),
                 before.duration_s)  # fmt: skip
    return tuple(row for row in before.record.pairs if row.time_s <= until + 1e-6)


def _joints(found: tuple[Finding, ...], before: Answer | None) -> tuple[Joint, ...]:
    old = {} if before is None else {joint.name: joint.margin for joint in before.joints}
    return tuple(
        Joint(item.subject, value := float(item.value or 0.0), float(item.limit or 0.0),
              value - old[item.subject] if item.subject in old else None, item.unit)
        for item in found
    )  # fmt: skip


def _moves(known: Rehearsed) -> tuple[Flown, ...]:
    starts = np.array([piece.start_s for piece in known.pieces])
    least = np.array([piece.least_m for piece in known.pieces])
    moves = []
    for span in known.record.moves:
        inside = (starts >= span.start_s - 1e-6) & (starts < span.end_s - 1e-6)
        written = known.written.get((span.carry, span.number), (-1, -1))
        follows = known.left and span.end_s > known.pieces[-1].end_s + 1e-6
        margin = np.nan if follows else float(least[inside].min(initial=np.inf))
        moves.append(Flown(span.carry, span.number, written, span.title, span.start_s, span.end_s, margin))
    return tuple(moves)


def _way(known: Rehearsed) -> WayOfTool:
    """Return where the tool is at the ends of the cells of every stretch."""
    times = np.concatenate([piece.start_s + piece.times_s[:-1] for piece in known.pieces])
    margin = np.concatenate([piece.margin_m for piece in known.pieces])
    record, last = known.record, known.pieces[-1].end_s
    rest = np.linspace(last, record.duration_s, _REST + 1) if record.duration_s > last + 1e-6 else np.array([last])
    edges, unproven = np.append(times, rest), np.full(len(rest) - 1, np.nan)
    return WayOfTool(edges, record.tool_path(edges), np.concatenate([margin, unproven, [np.nan]]))
