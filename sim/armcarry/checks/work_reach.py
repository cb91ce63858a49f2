"""Can the rider reach and see every work point of a worksite while stopped there?"""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.files.documents.platform import Worksite
from armcarry.quantities import clock
from armcarry.record.figures import at_least
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.record.stops import Stop, stops
from armcarry.scene.assumed import is_assumed
from armcarry.scene.build import PLATFORM
from armcarry.scene.reach import CrewFrames, hand_margins, sight_margin_m

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
    """Give one finding a work point, stop and rider: the widest margin at any judged instant of the stop.

    The margin is the least of how far inside the hands' envelope and inside the visor's cone of view the point
    is, metres. What is in the way of hands and eyes is judged by other checks. A worksite without work points
    is not assessed.
    """
    findings: list[Finding] = []
    sites = record.scene.loaded.platform.document.worksites
    for stop in stops(record):
        site = sites[stop.worksite]
        for crew, times in riders(record, stop).items():
            if not site.work_points:
                findings.append(_nothing_to_reach(stop, crew))
            for name, frame in site.work_points.items():
                best = max(
                    (_margin(record, crew, frame, site, time_s) for time_s in times), key=lambda item: item.least_m
                )
                findings.append(_finding(record, stop, crew, site, name, best))
    return tuple(findings)


def riders(record: Record, stop: Stop) -> dict[str, list[float]]:
    """Return who is aboard during a stop, and at which of its instants."""
    found: dict[str, list[float]] = {}
    for time_s in stop.times_s:
        for crew in record.scene.aboard(record.phase_at(time_s).tree):
            found.setdefault(crew, []).append(time_s)
    return found


def _margin(record: Record, crew: str, frame: str, site: Worksite, time_s: float) -> _Margin:
    member = record.scene.loaded.crew[crew]
    tree, links = record.link_poses(time_s)
    chest, visor, *shoulders = (links[tree.index(link)] for link in CrewFrames.of(crew, member.document).links)
    point = links[tree.index(f"{PLATFORM}/{frame}"), :3, 3]
    hands = hand_margins(member.size.reach, chest, [pose[:3, 3] for pose in shoulders], point)
    reach = hands.two_hand_m if site.hands == "two" else hands.one_hand_m
    return _Margin(time_s, float(reach), float(sight_margin_m(visor, point, member.document.view_half_angle)))


def _finding(record: Record, stop: Stop, crew: str, site: Worksite, name: str, best: _Margin) -> Finding:
    found = at_least(best.least_m, 0.0, "m")
    member = record.scene.loaded.crew[crew]
    assumed = is_assumed(record.scene.loaded, member.path, f"sizes.{member.size_name}.reach")
    note = "; the suited reach is an assumption" if assumed else ""
    return _make.judged(
        found,
        crew,
        f"{name} of {stop.worksite} is {_side(best.hand_m)} {site.hands}-hand reach of {crew} ({member.size_name}) and "
        f"{_side(best.sight_m)} the visor's view at {clock(best.time_s)}, the best instant of the stop{note}",
        other=name,
        at=(stop.start_s, stop.end_s),
        remedy=f"search the restraint settings and postures for {stop.worksite}, or stand nearer to {name}",
    )


def _side(margin_m: float) -> str:
    """Say how far inside or outside something is, never farther inside nor less outside than it is."""
    inside = at_least(margin_m, 0.0, "m")
    return f"{inside.said} inside" if inside.kept else f"{inside.short} outside"


def _nothing_to_reach(stop: Stop, crew: str) -> Finding:
    return _make.not_assessed(
        crew,
        f"{stop.worksite} has no work points, so what {crew} reaches there is not judged",
        f"name the work points of {stop.worksite} in the platform's document",
        other=stop.worksite,
        at=(stop.start_s, stop.end_s),
    )
