"""Does hardware in a rider's hands hide the work from the visor?"""

from __future__ import annotations

import numpy as np

from armcarry.clearance.sightline import sight_lines
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.quantities import clock
from armcarry.record.figures import near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Phase, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.reach import CrewFrames
from armcarry.scene.tree import Tree
from armcarry.scene.view import cone_directions
from armcarry.working.stops import Stop, riders, stops

#: lines of sight over the visor's cone of view for the share that is hidden
LINES = 1500
#: a point on the surface of what is held is not hidden by it, m
SURFACE_M = 0.05
_make = Maker("held_view")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a stop of a rider with hardware in hand: which work points it hides, and how much of the view.

    A work point is hidden when the line from the visor to it meets held hardware at every judged instant of
    the stop; lines are exact. The share of the view is counted over LINES lines and is not judged. Where
    hardware is in hand but no stop has work points, nothing says what must be seen: not assessed.
    """
    findings: list[Finding] = []
    judged: set[tuple[str, str]] = set()
    sites = record.scene.loaded.platform.document.worksites
    for stop in stops(record):
        points = sites[stop.worksite].work_points
        for crew, times in riders(record, stop).items():
            for item in _held(record, crew, times):
                if points:
                    judged.add((crew, item))
                    findings.append(_at_stop(record, stop, crew, item, times, points))
    for crew, item in _pairs(record):
        if (crew, item) not in judged:
            findings.append(_unjudged(record, crew, item))
    return tuple(findings)


def hidden_share(tree: Tree, links: Array, visor: str, half_angle_rad: float, item: str) -> float:
    """Return the share of the visor's cone of view that a thing hides, counted over LINES lines.

    Args:
        tree: the frames; links: T_world_link (L, 4, 4) of all of them.
        visor: full name of the visor's frame, +x ahead.
        half_angle_rad: of the cone.
        item: the thing in the way.
    """
    eye = links[tree.index(visor)]
    bodies = [body for body in tree.bodies if body.name.startswith(f"{item}/")]
    if not bodies:
        return 0.0
    placed = np.stack([links[tree.index(body.link)] @ body.pose for body in bodies])
    range_m = max(  # farther than this the thing cannot be
        float(np.linalg.norm(pose[:3, 3] - eye[:3, 3])) + bounding_radius_m(body.shape)
        for pose, body in zip(placed, bodies, strict=True)
    )
    ends = eye[:3, 3] + range_m * cone_directions(half_angle_rad, LINES) @ eye[:3, :3].T
    return float(sight_lines(eye[:3, 3], ends, [body.shape for body in bodies], placed).blocked.mean())


def _held(record: Record, crew: str, times_s: list[float]) -> list[str]:
    """Return the hardware that hangs from a rider at the first of some instants."""
    tree = record.phase_at(times_s[0]).tree
    return [item for item in record.scene.loaded.hardware if tree.hangs_from(item, crew)]


def _pairs(record: Record) -> list[tuple[str, str]]:
    """Return every rider with a thing in hand at any time, in order."""
    found = {
        (crew, item): None
        for phase in record.phases
        for crew in record.scene.aboard(phase.tree)
        for item in record.scene.loaded.hardware
        if phase.tree.hangs_from(item, crew)
    }
    return list(found)


def _at_stop(
    record: Record, stop: Stop, crew: str, item: str, times_s: list[float], points: dict[str, str]
) -> Finding:
    seen: set[str] = set()
    for time_s in times_s:
        seen |= _seen(record, crew, item, time_s, points)
    hidden = [name for name in points if name not in seen]
    share = _share(record, crew, item, times_s[0])
    what = f"{item} in the hands of {crew} hides {near(share, '%')} of the view at {stop.worksite}"
    span, unit = (stop.start_s, stop.end_s), "work points"
    if not hidden:
        message = f"{what} but none of its {len(points)} work points throughout the stop"
        return _make.passed(crew, message, other=item, at=span, value=0.0, limit=0.0, unit=unit)
    return _make.failed(
        crew,
        f"{what} and, as long as the stop lasts, {', '.join(hidden)}",
        f"hold {item} lower or to the side, seat it first, or let another crewmember or camera watch",
        other=item,
        at=span,
        value=float(len(hidden)),
        limit=0.0,
        unit=unit,
    )


def _seen(record: Record, crew: str, item: str, time_s: float, points: dict[str, str]) -> set[str]:
    """Return the work points whose line from the visor passes the held thing; all of them once it is let go."""
    tree, links = record.link_poses(time_s)
    if not tree.hangs_from(item, crew):
        return set(points)
    eye = links[tree.index(CrewFrames.of(crew, record.scene.loaded.crew[crew].document).visor), :3, 3]
    ends = np.stack([links[tree.index(f"{PLATFORM}/{frame}"), :3, 3] for frame in points.values()])
    bodies = [body for body in tree.bodies if body.name.startswith(f"{item}/")]
    if not bodies:  # a small thing without a shape hides nothing
        return set(points)
    placed = np.stack([links[tree.index(body.link)] @ body.pose for body in bodies])
    lines = sight_lines(eye, ends, [body.shape for body in bodies], placed, skip_end_m=SURFACE_M)
    return {name for name, blocked in zip(points, lines.blocked, strict=True) if not blocked}


def _share(record: Record, crew: str, item: str, time_s: float) -> float:
    document = record.scene.loaded.crew[crew].document
    tree, links = record.link_poses(time_s)
    return hidden_share(tree, links, CrewFrames.of(crew, document).visor, document.view_half_angle, item)


def _unjudged(record: Record, crew: str, item: str) -> Finding:
    def holds(phase: Phase) -> bool:
        return crew in record.scene.aboard(phase.tree) and phase.tree.hangs_from(item, crew)

    phase = next(phase for phase in record.phases if holds(phase))
    share = near(_share(record, crew, item, phase.start_s), "%")
    return _make.not_assessed(
        crew,
        f"{item} in the hands of {crew} hides {share} of the view at {clock(phase.start_s)}; no stop with work points "
        "says what must be seen",
        "stop at a worksite that names its work points",
        other=item,
        at=(phase.start_s, phase.end_s),
    )
