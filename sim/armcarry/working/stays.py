"""Who works at which worksite when: riders where the arm stops, free workers where the script has them work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from armcarry.files.documents.steps import Step
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.timeline.slots import Slot
from armcarry.working.stops import LAST_S, Stop, near_stops, riders, stops, worksite_at

#: what hands do at a worksite; anything else counts as work only where the step says ``at`` which
HAND_KINDS = (
    "steady", "take", "hand_over", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock",
    "fold_cover",
)
#: what brings somebody somewhere, or is not the worker's own doing
_NO_WORK = (
    "carry", "move_base", "move_cart", "translate", "enter_restraint", "leave_restraint", "fit_restraint", "wait_for",
)


@dataclass(frozen=True)
class Stay:
    """One crewmember at work at one worksite.

    Attributes:
        crew, worksite: who and where.
        start_s, end_s: from when to when.
        times_s: instants at which what they do there is judged.
    """

    crew: str
    worksite: str
    start_s: float
    end_s: float
    times_s: tuple[float, ...]


def stays(record: Record) -> tuple[Stay, ...]:
    """Return every stay at a worksite at which the script has somebody work, in the order of time.

    Those are the stops of riders; steps of a day that say ``at`` where they are done, or that hands do where a free
    worker has gone; without a day, a worker whom the scenario stands at a worksite. Where the arm rests near a stand
    at which its rider never stops more exactly, that counts too.
    """
    found = list(_of(record, stops(record)))
    for stay in (*_of_day(record), *_standing(record)):
        known = [other for other in found if (other.crew, other.worksite) == (stay.crew, stay.worksite)]
        if not any(other.start_s - LAST_S <= stay.start_s and stay.end_s <= other.end_s + LAST_S for other in known):
            found.append(stay)
    exact = {(stay.crew, stay.worksite) for stay in found}
    found += [stay for stay in _of(record, near_stops(record)) if (stay.crew, stay.worksite) not in exact]
    return tuple(sorted(found, key=lambda stay: (stay.start_s, stay.crew)))


def _of(record: Record, found: tuple[Stop, ...]) -> Iterator[Stay]:
    for stop in found:
        for crew, times in riders(record, stop).items():
            yield Stay(crew, stop.worksite, stop.start_s, stop.end_s, tuple(times))


def _of_day(record: Record) -> list[Stay]:
    """Return the stays that steps tell of; steps done one after another at one worksite are one stay."""
    if record.plan is None:
        return []
    found: list[Stay] = []
    for crew in record.scene.loaded.crew:
        last: Stay | None = None
        for worksite, slot in _worked(record, crew):
            stay = Stay(crew, worksite, slot.start_s, slot.end_s, (max(slot.end_s - LAST_S, slot.start_s),))
            if last is not None and last.worksite == worksite:
                last = replace(last, end_s=stay.end_s, times_s=(*last.times_s, *stay.times_s))
                found[-1] = last
            elif worksite:
                last = stay
                found.append(stay)
            else:
                last = None
    return found


def _worked(record: Record, crew: str) -> Iterator[tuple[str, Slot]]:
    """Yield worksite and slot of each step in which one does work, and an empty worksite where one goes elsewhere."""
    plan = record.plan
    if plan is None:
        return
    sites = record.scene.loaded.platform.document.worksites
    place = _stands_before(record, crew, 0.0)
    for slot in sorted(plan.schedule.of(crew), key=lambda slot: (slot.start_s, slot.end_s)):
        step = plan.step(slot.name)
        if step.kind in _NO_WORK:
            if (goes := _goes_to(step)) is not None:
                place = goes if goes in sites else _stands_before(record, crew, slot.end_s)
                yield "", slot
            continue
        here = step.at if step.at is not None else place if step.kind in HAND_KINDS else None
        if here in sites:
            yield str(here), slot


def _stands_before(record: Record, crew: str, time_s: float) -> str:
    """Return the worksite before which one stands in a restraint that is not on the arm; empty for none."""
    page = record.ledger.at(time_s)
    restraint = page.people[crew].restraint
    if not restraint or page.on_arm(restraint) or time_s > record.duration_s:
        return ""
    return worksite_at(record, restraint, time_s)


def _goes_to(step: Step) -> str | None:
    """Return where a step brings its worker, empty where that is no place to work at; None where it brings nobody."""
    if step.translate is not None:
        return step.translate.to
    if step.leave_restraint is not None:
        return step.leave_restraint.to or ""
    return "" if step.kind in ("enter_restraint", "carry") else None


def _standing(record: Record) -> Iterator[Stay]:
    """Yield, without a day, the workers whom the scenario stands at a worksite for the whole run."""
    loaded = record.scene.loaded
    if record.plan is not None or loaded.scenario.day is not None:
        return
    sites = {f"{PLATFORM}/{site.stand}": name for name, site in loaded.platform.document.worksites.items()}
    for crew, member in loaded.scenario.crew.items():
        if member.at in sites:
            ends = (max(phase.end_s - LAST_S, phase.start_s) for phase in record.phases)
            yield Stay(crew, sites[member.at], 0.0, record.duration_s, (0.0, *ends))
