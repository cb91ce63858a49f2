"""Does the body fit where it travels: is the way around it as wide as it needs?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.clearance.passage import free_width_m
from armcarry.files.documents.bodies import CrewDocument
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Sphere, bounding_radius_m
from armcarry.motion.forward import forward
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Phase, Record
from armcarry.scene.assumed import is_assumed
from armcarry.scene.tree import Tree

#: the way is looked at this often along the path of the chest, m
SPACING_M = 0.15
#: slower than this the body turns rather than travels, m/s
TRAVELS_M_S = 2e-3
#: poses of bodies that are held at once
_AT_ONCE = 100_000
#: instants at which the path of the chest is followed, a phase
_FOLLOWED = 1500
_STANDING = ("structure", "appendage", "vehicle")
_make = Maker("corridor")


@dataclass(frozen=True, eq=False)
class _Narrowest:
    width_m: float
    time_s: float
    names: tuple[str, ...]


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a crewmember who travels: the narrowest way, against the corridor the body needs.

    The arms of a free worker are left out, because they hold on to what stands beside the way.

    The width is the diameter of the widest free circle across the direction in which the chest travels (see
    clearance.passage), from distances of every part of the body to everything that stands, held hardware and
    arm left out. It is looked at every SPACING_M of the way and again around the narrowest place, not proven
    between; the message says so. Contact and clearance are judged by their own check.
    """
    findings = []
    for crew in record.scene.loaded.crew:
        worst: _Narrowest | None = None
        for phase in record.phases:
            if _class_of(record, phase, crew) not in ("rider", "worker"):
                continue
            found = _narrowest(record, phase, crew)
            if found is not None and (worst is None or found.width_m < worst.width_m):
                worst = found
        if worst is not None:
            findings.append(_finding(record, crew, worst))
    return tuple(findings)


def _class_of(record: Record, phase: Phase, crew: str) -> str:
    classes = record.scene.body_classes(phase.tree)
    return next(
        (kind for body, kind in zip(phase.tree.bodies, classes, strict=True) if body.name.startswith(f"{crew}/")), ""
    )


def _narrowest(record: Record, phase: Phase, crew: str) -> _Narrowest | None:
    """Return the narrowest place of a crewmember's way in a phase, None when they do not travel.

    The end of a phase is where the next begins: who goes in by then has been put behind the hatch, by no way.
    """
    times, travel = _way(record, phase, crew, np.linspace(phase.start_s, phase.end_s, _FOLLOWED, endpoint=False))
    if not len(times):
        return None
    around = _Around(record, phase, crew)
    worst = around.narrowest(times, travel)
    step = (phase.end_s - phase.start_s) / _FOLLOWED
    k = int(np.argmin(np.abs(times - worst.time_s)))
    low, high = times[max(k - 1, 0)], times[min(k + 1, len(times) - 1)]
    if high - low > step:
        again, towards = _way(record, phase, crew, np.linspace(low, high, 25), spacing_m=0.0)
        if len(again):
            worst = min(worst, around.narrowest(again, towards), key=lambda item: item.width_m)
    return worst


def _way(
    record: Record, phase: Phase, crew: str, times_s: Array, spacing_m: float = SPACING_M
) -> tuple[Array, Array]:
    """Return instants spaced along the path of the chest (N,), and its velocity there (N, 3), m/s."""
    chest = f"{crew}/{record.scene.loaded.crew[crew].document.chest}"
    half = 0.5 * (phase.end_s - phase.start_s) / _FOLLOWED
    pair = np.clip(np.stack([times_s - half, times_s + half]), phase.start_s, phase.end_s)
    ends = forward(phase.tree, record.motion.at(pair.ravel()), [chest])[:, 0, :3, 3].reshape(2, -1, 3)
    velocity = (ends[1] - ends[0]) / (pair[1] - pair[0])[:, None]
    speed = np.linalg.norm(velocity, axis=1)
    gone = np.concatenate([[0.0], np.cumsum(np.diff(times_s) * (speed[1:] + speed[:-1]) / 2)])
    moving = speed > TRAVELS_M_S
    if spacing_m > 0:
        # the first instant of each stretch of the way
        moving &= np.concatenate([[True], np.diff(np.floor(gone / spacing_m)) > 0])
    return times_s[moving], velocity[moving]


class _Around:
    """What stands around a crewmember's body in one phase."""

    def __init__(self, record: Record, phase: Phase, crew: str) -> None:
        self.record, self.tree, self.crew = record, phase.tree, crew
        member = record.scene.loaded.crew[crew]
        self.corridor_m = member.document.corridor
        bodies = phase.tree.bodies
        classes = record.scene.body_classes(phase.tree)
        self.mine = np.array([k for k, body in enumerate(bodies) if body.name.startswith(f"{crew}/")])
        if classes[self.mine[0]] == "worker":  # who holds on to what stands beside the way
            holding = _arms(phase.tree, crew, member.document)
            self.mine = np.array([k for k in self.mine if bodies[k].link not in holding])
        self.others = np.array([k for k, kind in enumerate(classes) if kind in _STANDING], dtype=np.int64)
        self.radii = np.array([bounding_radius_m(bodies[k].shape) for k in self.mine])

    def narrowest(self, times_s: Array, travel: Array) -> _Narrowest:
        """Return the narrowest place at some instants; where nothing stands near it is twice the corridor."""
        best = _Narrowest(2 * self.corridor_m, float(times_s[0]), ())
        some = max(_AT_ONCE // len(self.tree.bodies), 1)
        for first in range(0, len(times_s), some):
            part = slice(first, first + some)
            best = self._narrower(times_s[part], travel[part], best)
        return best

    def _narrower(self, times_s: Array, travel: Array, best: _Narrowest) -> _Narrowest:
        """Return the best so far, or a place at some instants that is narrower."""
        placed = self.record.body_poses(times_s)
        centres = placed[..., :3, 3][:, self.mine]
        middle = (centres.min(axis=1) + centres.max(axis=1)) / 2
        extent = (np.linalg.norm(centres - middle[:, None], axis=2) + self.radii).max(axis=1)
        near = self._near(placed, middle, float(extent.max()))
        for k in range(len(times_s)):
            rows = self.others[near[k]]
            if len(rows):
                width, names = self._width(placed[k], rows, travel[k], middle[k])
                if width < best.width_m:
                    best = _Narrowest(width, float(times_s[k]), names)
        return best

    def _near(self, placed: Array, middle: Array, extent_m: float) -> np.ndarray:
        """Tell which of the others (N, F) come within a corridor of the whole body."""
        if not len(self.others):
            return np.zeros((len(placed), 0), dtype=bool)
        shapes = [Sphere(extent_m + self.corridor_m), *(self.tree.bodies[k].shape for k in self.others)]
        both = np.concatenate([poses.translation(middle)[:, None], placed[:, self.others]], axis=1)
        pairs = np.array([(0, k + 1) for k in range(len(self.others))])
        return distances(shapes, both, pairs).lower_m <= 0.0

    def _width(self, placed: Array, rows: np.ndarray, travel: Array, middle: Array) -> tuple[float, tuple[str, ...]]:
        """Return the free width at one instant, and the two bodies nearest to the crewmember there."""
        count, bodies = len(self.mine), self.tree.bodies
        pairs = np.array([(a, count + b) for b in range(len(rows)) for a in range(count)])
        every = np.concatenate([self.mine, rows])
        found = distances([bodies[k].shape for k in every], placed[None, every], pairs)
        gaps = found.upper_m[0].reshape(len(rows), count)
        nearest = gaps.argmin(axis=1)
        pick = np.arange(len(rows)) * count + nearest
        ours, theirs = found.point_a[0, pick], found.point_b[0, pick]
        away = theirs - ours
        touching = gaps[np.arange(len(rows)), nearest] <= 1e-9
        away[touching] = theirs[touching] - middle  # at contact the nearest points give no direction
        away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-12)
        width = free_width_m(away, theirs, travel, middle, self.corridor_m)
        order = np.argsort(gaps.min(axis=1), kind="stable")[:2]
        return width, tuple(bodies[rows[k]].name for k in order)


def _arms(tree: Tree, crew: str, document: CrewDocument) -> set[str]:
    """Return the links of a crewmember's arms: those above each glove as far as the trunk, which also has the chest."""
    trunk = {tree.links[row] for row in tree.ancestry(f"{crew}/{document.chest}")}
    gloves = (f"{crew}/{glove}" for glove in document.gloves)
    return {tree.links[row] for glove in gloves for row in tree.ancestry(glove)} - trunk


def _finding(record: Record, crew: str, worst: _Narrowest) -> Finding:
    member = record.scene.loaded.crew[crew]
    found = at_least(worst.width_m, member.document.corridor, "m")
    where = f"{found.said} wide at its narrowest at {clock(worst.time_s)}, by {' and '.join(worst.names)}"
    if not worst.names:
        where = f"more than {down(worst.width_m, 'm', 2)} wide throughout"
    note = " (an assumption)" if is_assumed(record.scene.loaded, member.path, "corridor") else ""
    around = f"lead {crew} around {worst.names[0]}, or turn the body along the way" if worst.names else ""
    return _make.judged(
        found,
        crew,
        f"the way of {crew} is {where}, looked at every {SPACING_M:g} m; the body needs {found.asked}{note}",
        other=worst.names[0] if worst.names else "",
        at=worst.time_s,
        remedy=around,
    )
