"""What a flown order teaches: who and what came too near each other, and what each was at then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from armcarry.files.documents.steps import ARM
from armcarry.planning.clock import party_of
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.scheduling.meeting import Doing, Learned, Meeting
from armcarry.scheduling.write import Rearranged
from armcarry.timeline.plan import DayPlan

#: instants nearer than this are the same, s
_SAME_S = 1e-3


def learned_from(record: Record, findings: Iterable[Finding], change: Rearranged) -> Learned:
    """Return what failures of a flown order teach; nothing where no other order could help.

    Two that move by themselves are not to be at once what they were at. Who is put on a way, or does for another,
    and comes too near what stands still there, does not go that way, or leaves it to the other.

    Args:
        record: the order as it was flown.
        findings: what failed in it and may not.
        change: what it changes in the script.
    """
    plan, found = record.plan, Learned()
    if plan is None:
        return found
    goings = {going.name for going in change.goings}
    for finding in findings:
        parties = [_party(record, name, finding.start_s) for name in (finding.subject, finding.other)]
        who = [one for one in parties if one]
        doings = [list(_doings(plan, one, finding.start_s, goings)) for one in who]
        if len(set(who)) == 2:
            said = f"{finding.subject} and {finding.other} come too near each other"
            met = tuple(Meeting(one, other, said) for one in doings[0] for other in doings[1] if one != other)
            found = found.and_also(Learned(meetings=met))
        elif who and who[0] != ARM:
            found = found.and_also(_of_one(who[0], doings[0], change))
    return found


def _of_one(who: str, doings: Iterable[Doing], change: Rearranged) -> Learned:
    """Return that somebody does not go a way that is put in, or does not do what was handed over."""
    doings = tuple(doings)
    blocked = {(one.who, one.start, one.goal) for one in doings if one.goal}
    handed = {name for one in doings for name in (one.step, one.then, one.first) if name in change.handed}
    return Learned(blocked=frozenset(blocked), unfit=frozenset((name, who) for name in handed))


def _party(record: Record, name: str, time_s: float) -> str:
    """Return whom a body or thing moves with at an instant: somebody afoot, the arm, or nobody."""
    instance = name.split("/", 1)[0]
    tree = next((phase.tree for phase in record.phases if phase.end_s >= time_s), record.phases[-1].tree)
    known = {one.instance for one in tree.mountings}
    return party_of(record.scene, tree, instance) if instance in known else ""


def _doings(plan: DayPlan, who: str, time_s: float, goings: Iterable[str]) -> Iterator[Doing]:
    """Yield what somebody is at: steps and ways put in, else waiting between two steps."""
    own, put_in = plan.schedule.of(who), frozenset(goings)
    shared = {name for one in plan.day.may_vary if one.either for name in one.steps}
    busy = [slot for slot in own if slot.end_s - slot.start_s > _SAME_S
            and slot.start_s - _SAME_S <= time_s <= slot.end_s + _SAME_S]  # fmt: skip
    for slot in busy:
        walk = next((one for one in plan.walks.get(slot.name, ()) if one.worker == who), None)
        if walk is not None:
            yield Doing(who=who, start=walk.start, goal=walk.goal)
        else:
            yield Doing(step=slot.name, who=who if slot.name in shared else "")
    if busy:
        return
    steps = [slot for slot in own if slot.name not in put_in]
    for first, then in pairwise((None, *steps)):
        if then is not None and then.start_s > time_s and (first is None or first.end_s < time_s):
            yield Doing(who=who, first="" if first is None else first.name, then=then.name)
