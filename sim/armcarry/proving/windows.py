"""What is proven of the pairs of a phase, window by window: those in motion at every instant, those at rest once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.requirement import Asked, Requirement
from armcarry.clearance import prove_clearance
from armcarry.clearance.boxes import swept_boxes
from armcarry.clearance.distance import distances
from armcarry.clearance.prover import CONTACT, FARTHER, PROVEN
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.forward import forward
from armcarry.record.pairs import STATUS
from armcarry.scene.build import Scene
from armcarry.timeline.near import STANDING
from armcarry.timeline.run import Phase, Run

_CONTACT, _PROVEN, _FARTHER, _MEANT = (STATUS.index(word) for word in (CONTACT, PROVEN, FARTHER, "intended"))

#: pairs whose boxes keep this many report distances are not looked at further
FAR = 2.0


@dataclass(frozen=True, eq=False)
class Bounds:
    """What is known of the least distance of P pairs over a stretch.

    Attributes:
        status: (P,) row in ``STATUS``.
        lower_m, upper_m: (P,) as in a row of the table of pairs.
        time_s: (P,) when the upper bound is reached.
        points: (P, 6) nearest points then, zero where nothing was measured.
    """

    status: np.ndarray
    lower_m: Array
    upper_m: Array
    time_s: Array
    points: Array

    def take(self, rows: np.ndarray) -> Bounds:
        """Return what is known of some of the pairs."""
        return Bounds(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Window:
    """Pairs of a phase in a stretch of time in which one requirement holds for each.

    Attributes:
        asked: the pairs and what is asked of them.
        moves: (P,) which pairs move against each other at all in the phase.
        bounds: what is proven of them.
    """

    asked: Asked
    moves: np.ndarray
    bounds: Bounds


def prove_windows(scene: Scene, run: Run, phase: Phase) -> list[Window]:
    """Prove every pair of a phase, cut where a relaxation begins or ends for it.

    Of pairs that move, those whose boxes stay ``FAR`` times the report distance apart all through the phase are proven
    by that. Pairs that rest against each other all through the phase have one distance, which is measured. Structure,
    appendages and vehicles at rest among themselves are told only where they touch, if no rule covers them: they
    stand as they were built.
    """
    lasts = phase.end_s > phase.start_s
    part = run.motion.between(phase.start_s, phase.end_s) if lasts else None
    pairs, moves = judged_pairs(scene, phase.tree, part)
    need = Requirement(scene, phase.tree, pairs, run.relaxed)
    known = at_rest(scene, run, phase, pairs, ~moves)
    far = np.zeros(len(pairs), dtype=bool)
    if part is not None:
        known.lower_m[moves] = swept_boxes(phase.tree, part).apart_m(pairs[moves])
        far = moves & (known.lower_m >= FAR * scene.loaded.rules.report_distance)
    untold = ~moves & (known.status != _CONTACT) & _standing(scene, phase, pairs)
    windows = []
    for rows in need.groups(phase.start_s, phase.end_s):
        for asked in need.windows(phase.start_s, phase.end_s, rows):
            bounds = known.take(rows)
            bounds.status[asked.meant], bounds.lower_m[asked.meant], bounds.upper_m[asked.meant] = _MEANT, 0.0, 0.0
            bounds.points[asked.meant] = 0.0
            bounds.time_s[:] = asked.start_s
            _prove(scene, run, phase, asked, np.flatnonzero((moves & ~far)[rows] & ~asked.meant), bounds)
            told = ~(untold[rows] & np.isnan(asked.required_m) & ~asked.meant)
            windows.append(Window(asked.take(told), moves[rows][told], bounds.take(told)))
    return windows


def _standing(scene: Scene, phase: Phase, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are parts of what stands."""
    return np.asarray(np.isin(scene.body_classes(phase.tree), STANDING)[pairs].all(axis=1))


def at_rest(scene: Scene, run: Run, phase: Phase, pairs: np.ndarray, rest: np.ndarray) -> Bounds:
    """Measure pairs at rest; those whose balls are farther apart than is reported, and all others, are left open."""
    tree, bodies, report_m = phase.tree, phase.tree.bodies, scene.loaded.rules.report_distance
    links = forward(tree, run.motion.at(phase.start_s), [body.link for body in bodies])
    placed = links @ np.stack([body.pose for body in bodies])
    radius = np.array([bounding_radius_m(body.shape) for body in bodies])
    a, b = pairs.T
    apart = np.linalg.norm(placed[a, :3, 3] - placed[b, :3, 3], axis=1) - radius[a] - radius[b]
    count = len(pairs)
    found = Bounds(
        np.full(count, _FARTHER), apart, np.full(count, np.inf), np.full(count, phase.start_s), np.zeros((count, 6))
    )
    near = np.flatnonzero(rest & (apart < report_m))
    used, renumbered = np.unique(pairs[near], return_inverse=True)
    measured = distances([bodies[k].shape for k in used], placed[None, used], renumbered.reshape(-1, 2))
    low, high = measured.lower_m[0], measured.upper_m[0]
    found.lower_m[near], found.upper_m[near] = low, high
    found.status[near] = np.where(np.isneginf(low), _CONTACT, np.where(low >= report_m, _FARTHER, _PROVEN))
    found.points[near] = np.concatenate([measured.point_a[0], measured.point_b[0]], axis=1)
    return found


def _prove(scene: Scene, run: Run, phase: Phase, asked: Asked, rows: np.ndarray, into: Bounds) -> None:
    """Prove some pairs of a window, in motion, and enter what is proven."""
    if not len(rows):
        return
    bounds = prove_clearance(
        phase.tree, run.motion, asked.pairs[rows], report_distance_m=scene.loaded.rules.report_distance,
        start_s=asked.start_s, end_s=asked.end_s,
    )  # fmt: skip
    for code, word in enumerate(STATUS):
        into.status[rows[bounds.status == word]] = code
    into.lower_m[rows], into.upper_m[rows] = bounds.lower_m, bounds.upper_m
    # a pair so far apart that it was never measured has no instant and no points
    into.time_s[rows] = np.where(np.isnan(bounds.time_s), asked.start_s, bounds.time_s)
    into.points[rows] = np.nan_to_num(np.concatenate([bounds.point_a, bounds.point_b], axis=1))
