"""What a finding points at: its gap, the words on its label and where to look from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding, Verdict
from armcarry.record.matters import weight
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.closest import asked, judged, said
from armcarry.views.fault import held
from armcarry.views.measuring import measured
from armcarry.views.viewpoint import Viewpoint, overview, towards_gap, towards_place, whole
from armcarry.views.words import figure, verdict_word

#: instants nearer than this are one, s
_SAME_S = 1e-6
#: and distances nearer than this, m: both are told with bounds as wide
_SAME_M = 2e-3
#: checks whose figure is of how two stand in the run; others tell of motions that are not flown, or of widths
_NEARNESS = ("near_people",)
#: what has no gap is looked at from so far, m
_AWAY_M = 9.0


@dataclass(frozen=True)
class Gap:
    """Two bodies, their distance and nearest points in the world at an instant, as they are proven.

    Attributes:
        bodies, time_s, lower_m, point_a, point_b: as said above.
        row: of the table of pairs; None where the distance is one after a fault, which the table does not hold.
        joints: positions of the arm's joints after that fault, rad or m; empty where the run itself is meant.
    """

    bodies: tuple[str, str]
    time_s: float
    lower_m: float
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]
    row: PairRow | None = None
    joints: tuple[float, ...] = ()


def gap_of(record: Record, finding: Finding) -> Gap | None:
    """Return the gap a finding is about; None when it is about no pair, or of another instant."""
    detail = finding.clearance
    if detail is not None and detail.joints:
        known = {body.name for body in record.bodies}  # rooms of a platform are no bodies of a run
        pair = (finding.subject, finding.other)
        return Gap(pair, detail.time_s, detail.lower_m, detail.point_a, detail.point_b, None, detail.joints) \
            if known.issuperset(pair) else None
    rows = record.table.between(finding.subject, finding.other)
    found = [
        row for row in rows
        if abs(row.time_s - worst_s(finding)) <= _SAME_S and (finding.clearance is not None or judged(row))
    ]
    row = min(found, key=lambda row: (row.margin_m, row.upper_m), default=None)
    return _measured(record, finding) if row is None else gap_at(row)


def _measured(record: Record, finding: Finding) -> Gap | None:
    """Return the gap of a failure whose figure is a bound of the distance of its two at its instant, if no row is.

    So it is of people whom hardware comes near: what they must keep follows from rates, and no pair has it.
    """
    if finding.check not in _NEARNESS or finding.verdict is not Verdict.FAIL or finding.value is None:
        return None
    time_s = worst_s(finding)
    found = measured(record, finding.subject, finding.other, time_s)
    if found is None or found.lower_m < finding.value - _SAME_M:
        return None
    row = next(iter(record.table.between(*found.bodies)), None)
    if row is None:
        return None
    points = [tuple(map(float, point)) for point in (found.point_a, found.point_b)]
    if row.body_a != found.bodies[0]:
        points.reverse()
    return Gap((row.body_a, row.body_b), time_s, found.lower_m, points[0], points[1], row)  # type: ignore[arg-type]


def gap_at(row: PairRow) -> Gap:
    """Return the gap of a row of the table."""
    return Gap((row.body_a, row.body_b), row.time_s, row.lower_m, row.point_a, row.point_b, row)


def standing(record: Record, gap: Gap | None) -> Record:
    """Return the run in which a gap is as it is told: the run itself, or as it stands after a fault."""
    return held(record, gap.time_s, gap.joints) if gap is not None and gap.joints else record


def value_words(finding: Finding, gap: Gap | None) -> tuple[str, str]:
    """Return what a finding found and what was asked of it, as short as a label: its own figures, its own verdict."""
    sign = palette.VERDICTS[finding.verdict][1]
    if gap is not None and gap.row is not None and finding.clearance is not None:
        return f"{sign} {said(gap.row, gap.lower_m)}", asked(gap.row, gap.lower_m)
    found, _, limit = figure(finding).partition(" (")
    if gap is not None and gap.joints and finding.clearance is not None and limit.startswith(">= "):
        met = finding.clearance.upper_m <= 0.0 and finding.verdict is Verdict.FAIL
        return f"{sign} {'contact' if met else found}", f"{limit[3:].rstrip(')')} must be left"
    check, limit = plain(finding.check), limit.rstrip(")").replace(">= ", "at least ").replace("<= ", "at most ")
    return f"{sign} {found or verdict_word(finding.verdict)}", f"{limit}, {check}" if limit else check


def named(finding: Finding) -> str:
    """Return what a finding is about, for people."""
    return " – ".join(plain(name) for name in (finding.subject, finding.other) if name)


def label_words(finding: Finding, gap: Gap | None) -> str:
    """Return what stands beside the gap of a finding: its sign and figures."""
    value, of = value_words(finding, gap)
    return f"{value} ({of})" if of else value


def look_at(record: Record, finding: Finding) -> Viewpoint:
    """Return where to see a finding from: its gap, else what it is about, else the whole scene."""
    gap = gap_of(record, finding)
    if gap is not None:
        return towards_gap(standing(record, gap), gap.time_s, gap.bodies, gap.point_a, gap.point_b)
    found = spots(record, finding)
    if not found:
        return overview(whole(record), 16 / 9)
    points = np.stack(found)
    apart = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
    return towards_place(record, worst_s(finding), points, max(_AWAY_M, 2.0 * apart))


def spots(record: Record, finding: Finding) -> list[Array]:
    """Return where (3,) what a finding is about is at its instant; nothing for what has no place."""
    return [spot for name in (finding.subject, finding.other) if (spot := _spot(record, finding, name)) is not None]


def _spot(record: Record, finding: Finding, name: str) -> Array | None:
    """Return where (3,) a body, link, joint, or all bodies of a crewmember or thing are at a finding's instant."""
    time_s = worst_s(finding)
    poses = record.body_poses(time_s)[0]
    exact = [k for k, body in enumerate(record.bodies) if body.name == name]
    tree, links = record.link_poses(time_s)
    if not exact and name in tree.joints:
        return np.asarray(links[int(np.flatnonzero(tree.columns == tree.column(name))[0]), :3, 3])
    if not exact and name in tree.links:
        return np.asarray(links[tree.index(name), :3, 3])
    owned = [] if name == PLATFORM else [k for k, body in enumerate(record.bodies) if body.name.startswith(f"{name}/")]
    rows = exact or owned
    return np.asarray(poses[rows, :3, 3].mean(axis=0)) if rows else None


def shown_first(record: Record, finding: Finding) -> tuple[bool, bool, float]:
    """Return the key of the order in which findings get a camera: failed first, then by the share that is kept."""
    gap = gap_of(record, finding)
    if gap is None:
        left = np.inf
    elif gap.row is not None:
        left = np.inf if gap.row.required_m is None else record.weight_of(gap.row)
    else:
        left = float(weight(gap.lower_m, finding.limit or 0.0, False))
    return finding.verdict is not Verdict.FAIL, gap is None, float(left)
