"""Can the rider reach and see every work point of a worksite while stopped there?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from armcarry.files.documents.platform import Worksite
from armcarry.quantities import clock
from armcarry.record.figures import at_least, near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.scene.assumed import is_assumed
from armcarry.scene.build import PLATFORM
from armcarry.scene.reach import CrewFrames, hand_margins, sight_margin_m
from armcarry.working.stays import Stay, stays
from armcarry.working.stops import NEAR_M, NEAR_RAD, plate_gap

_make = Maker("work_reach")


@dataclass(frozen=True)
class _Margin:
    time_s: float
    hand_m: float
    sight_m: float

    @property
    def least_m(self) -> float:
        return min(self.hand_m, self.sight_m)


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a work point and stay at its worksite: the widest margin at any judged instant of the stay.

    The margin is the least of how far inside the hands' envelope and inside the visor's cone of view the point
    is, metres, with the body that the worker has, rider or free. What is in the way of hands and eyes is judged by
    other checks. A worksite without work points is not assessed, nor one that the run does not come to.
    """
    findings: list[Finding] = []
    sites = record.scene.loaded.platform.document.worksites
    for stay in stays(record):
        site = sites[stay.worksite]
        if not site.work_points:
            findings.append(_nothing_to_reach(stay))
        for name, frame in site.work_points.items():
            margins = (_margin(record, stay.crew, frame, site, time_s) for time_s in stay.times_s)
            best = max(margins, key=lambda item: item.least_m)
            findings.append(_finding(record, stay, site, name, best))
    return (*findings, *_not_come_to(record))


def _margin(record: Record, crew: str, frame: str, site: Worksite, time_s: float) -> _Margin:
    member = record.scene.loaded.crew[crew]
    tree, links = record.link_poses(time_s)
    chest, visor, *shoulders = (links[tree.index(link)] for link in CrewFrames.of(crew, member.document).links)
    point = links[tree.index(f"{PLATFORM}/{frame}"), :3, 3]
    hands = hand_margins(member.size.reach, chest, [pose[:3, 3] for pose in shoulders], point)
    reach = hands.two_hand_m if site.hands == "two" else hands.one_hand_m
    return _Margin(time_s, float(reach), float(sight_margin_m(visor, point, member.document.view_half_angle)))


def _finding(record: Record, stay: Stay, site: Worksite, name: str, best: _Margin) -> Finding:
    crew = stay.crew
    found = at_least(best.least_m, 0.0, "m")
    member = record.scene.loaded.crew[crew]
    assumed = is_assumed(record.scene.loaded, member.path, f"sizes.{member.size_name}.reach")
    note = "; the suited reach is an assumption" if assumed else ""
    when = f"{clock(best.time_s)}, the best instant of the stay{_beside(record, stay, best.time_s)}"
    return _make.judged(
        found,
        crew,
        f"{name} of {stay.worksite} is {_side(best.hand_m)} {site.hands}-hand reach of {crew} ({member.size_name}) and "
        f"{_side(best.sight_m)} the visor's view at {when}{note}",
        other=name,
        at=(stay.start_s, stay.end_s),
        remedy=f"search the restraint settings and postures for {stay.worksite}, or stand nearer to {name}",
    )


def _side(margin_m: float) -> str:
    """Say how far inside or outside something is, never farther inside nor less outside than it is."""
    inside = at_least(margin_m, 0.0, "m")
    return f"{inside.said} inside" if inside.kept else f"{inside.short} outside"


def _nothing_to_reach(stay: Stay) -> Finding:
    return _make.not_assessed(
        stay.crew,
        f"{stay.worksite} has no work points, so what {stay.crew} reaches there is not judged",
        f"name the work points of {stay.worksite} in the platform's document",
        other=stay.worksite,
        at=(stay.start_s, stay.end_s),
    )


def _beside(record: Record, stay: Stay, time_s: float) -> str:
    """Say how far the plate of a rider is from the stand, where it is not on it."""
    if stay.crew not in record.scene.aboard(record.phase_at(time_s).tree):
        return ""
    metres, turned = plate_gap(record, stay.worksite, time_s)
    if metres <= NEAR_M and turned <= NEAR_RAD:
        return ""
    return f", the plate {near(metres, 'm')} and {near(turned, 'rad')} from the stand"


def _not_come_to(record: Record) -> Iterator[Finding]:
    """Tell the worksites that carries lead to after the move that cannot be made."""
    if not record.shortfalls:
        return
    flown = {(move.carry, move.number) for move in record.moves}
    missed = {
        move.to_worksite: None
        for carry in record.scene.loaded.scenario.carries
        for number, move in enumerate(carry.moves, start=1)
        if move.to_worksite is not None and (carry.name, number) not in flown
    }
    riding = record.scene.aboard(record.phases[-1].tree)
    for worksite in missed:
        for crew in riding:
            yield _make.not_assessed(
                crew,
                f"the run ends before {crew} comes to {worksite}, so what {crew} reaches there is not judged",
                f"see the finding of reach on {record.shortfalls[0].title}",
                other=worksite,
                at=record.duration_s,
            )
