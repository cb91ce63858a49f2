"""Stretches of a run in which one load and one set of requirements hold, for questions of what if."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from armcarry.asked.pairs import arm_pairs
from armcarry.asked.requirement import Asked, Requirement
from armcarry.clearance import Prover
from armcarry.files.documents.arm import LoadClass
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.braking import runaway
from armcarry.record.record import Phase, Record
from armcarry.scene.build import ARM
from armcarry.scene.limits import brake_decelerations, runaway_rates
from armcarry.timeline.near import near_pairs
from armcarry.whatif.cells import ENOUGH_M

#: detection times beyond this are not looked for, s
LONGEST_DETECTION_S = 3.0


@dataclass(frozen=True, eq=False)
class Side:
    """One phase seen by questions of what if.

    Attributes:
        phase: its tree and times.
        pairs: (P, 2) body rows that the arm's joints can bring near enough to matter.
    """

    record: Record
    phase: Phase
    pairs: np.ndarray

    @staticmethod
    def of(record: Record, phase: Phase, pairs: np.ndarray | None = None) -> Side:
        """Return a phase with some pairs, none when left out."""
        return Side(record, phase, np.zeros((0, 2), dtype=np.int64) if pairs is None else pairs)

    @cached_property
    def prover(self) -> Prover:
        """Tree and pairs."""
        return Prover(self.phase.tree, self.pairs)

    @cached_property
    def own(self) -> np.ndarray:
        """Tell which pairs (P,) are both parts of arm, rider and load, not of what is around them."""
        tree = self.phase.tree
        ours = np.array([tree.hangs_from(m.instance, ARM) for m in tree.mountings])
        instances = [m.instance for m in tree.mountings]
        flags = np.array([ours[instances.index(body.name.split("/", 1)[0])] for body in tree.bodies])
        return np.asarray(flags[self.pairs].all(axis=1))

    @cached_property
    def beside_structure(self) -> Prover:
        """The pairs for whose nearness the arm slows down, those that come that near in the run."""
        scene, tree = self.record.scene, self.phase.tree
        ends = np.stack([self.record.motion.at(time) for time in (self.phase.start_s, self.phase.end_s)])
        pairs = near_pairs(scene, tree, ends)
        return Prover(tree, pairs[apart_m(self.record, self.phase, pairs) < scene.loaded.rules.slow_within])

    def let_go(self) -> None:
        """Give back working memory that can be had again."""
        for name in ("prover", "beside_structure"):
            if name in self.__dict__:
                self.__dict__[name].let_go()

    @cached_property
    def load(self) -> LoadClass:
        """Limits of the arm with what it moves."""
        return self.record.scene.load(self.phase.tree)[1]

    @cached_property
    def brakes(self) -> Array:
        """Deceleration of every arm joint under its brake (n,)."""
        return brake_decelerations(self.record.scene.loaded.arm.document, self.load)

    def names(self, pair: int) -> tuple[str, str]:
        """Return the names of a pair's bodies."""
        a, b = self.pairs[pair]
        return self.phase.tree.bodies[a].name, self.phase.tree.bodies[b].name


@dataclass(frozen=True, eq=False)
class Window:
    """A stretch of a phase in which no relaxation begins or ends, and what is asked in it."""

    side: Side
    asked: Asked

    @property
    def start_s(self) -> float:
        """Where it begins."""
        return self.asked.start_s

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.asked.end_s

    @property
    def left_m(self) -> Array:
        """What must be left of every pair (P,), nan: not judged."""
        return self.asked.left_m

    def asked_m(self, own: bool) -> Array:
        """Return what must be left (P,), nan for pairs of the other kind: around the arm, or among its own parts."""
        return np.where(self.side.own == own, self.left_m, np.nan)


def sides(record: Record) -> tuple[Side, ...]:
    """Return every phase of a run with the pairs that a late stop or a runaway joint can bring near."""
    return record.once(_sides)


def _sides(record: Record) -> tuple[Side, ...]:
    found = []
    for phase in record.phases:
        if phase.end_s > phase.start_s:
            pairs = arm_pairs(record.scene, phase.tree)
            enough = ENOUGH_M + record.scene.loaded.rules.stop_remainder + _reach_m(Side.of(record, phase))
            found.append(Side.of(record, phase, pairs[apart_m(record, phase, pairs) < enough]))
    return tuple(found)


def _reach_m(side: Side) -> float:
    """Bound how far braking and one runaway joint bring two bodies towards each other anywhere in a phase."""
    part = side.record.motion.between(side.phase.start_s, side.phase.end_s)
    rate = np.abs(part.extremes(1)).max(axis=0)[side.record.scene.arm_columns]
    levers, far = farthest_m(side), np.array([False])
    most, longest = (worst_excursion(side, far, time)[0] * levers for time in (None, LONGEST_DETECTION_S))
    # what is only asked about the longest safe detection need not have enough to spare
    return float(max(most.max(), longest.max() - ENOUGH_M) + rate**2 / (2 * side.brakes) @ levers)


def apart_m(record: Record, phase: Phase, pairs: np.ndarray) -> Array:
    """Return what the run proves of the distance of pairs (P, 2), -inf where it does not measure them."""
    known, names = record.once(_least), [body.name for body in phase.tree.bodies]
    return np.array([known.get((names[a], names[b]), -np.inf) for a, b in np.sort(pairs, axis=1).tolist()])


def _least(record: Record) -> dict[tuple[str, str], float]:
    least: dict[tuple[str, str], float] = {}
    for row in record.pairs:
        key = (row.body_a, row.body_b)
        least[key] = min(least.get(key, np.inf), row.lower_m)
    return least


def farthest_m(side: Side) -> Array:
    """Bound how far any point behind each arm joint (n,) can be from its axis, m; 1 for a joint that slides.

    The sum of the distances between the joints on the way, as if all were stretched, whatever turns.
    """
    tree, columns = side.phase.tree, side.record.scene.arm_columns
    low, high = side.record.motion.extremes()
    reach = np.zeros(len(tree.links))  # from each link's frame to the farthest point behind it
    for body in tree.bodies:
        row = tree.index(body.link)
        reach[row] = max(reach[row], float(np.linalg.norm(body.pose[:3, 3])) + bounding_radius_m(body.shape))
    levers = np.ones(len(tree.joints))
    for row in range(len(tree.links) - 1, 0, -1):
        column, beyond = int(tree.columns[row]), float(np.linalg.norm(tree.origins[row][:3, 3]))
        if column >= 0 and tree.kinds[row] == 1:
            levers[column] = reach[row]
        elif column >= 0:
            beyond += max(abs(low[column]), abs(high[column]))
        up = int(tree.parents[row])
        reach[up] = max(reach[up], reach[row] + beyond)
    return np.asarray(levers[columns])


def worst_excursion(side: Side, near: np.ndarray, detection_s: float | None = None) -> Array:
    """Return how far each arm joint gets when it runs away at its worst rate: (R, n) for (R,) near or not."""
    detection = side.record.scene.loaded.arm.document.detection_time if detection_s is None else detection_s
    return np.asarray(runaway(worst_rates(side, near), detection, side.brakes).distance)


def worst_rates(side: Side, near: np.ndarray) -> Array:
    """Return the fastest each arm joint can run away (R, n), for (R,) within slow_within of structure or not."""
    arm = side.record.scene.loaded.arm.document
    return np.where(np.asarray(near)[:, None], *(runaway_rates(arm, side.load, kind) for kind in (True, False)))


def windows(side: Side) -> Iterator[Window]:
    """Cut a phase where relaxations begin and end."""
    record, phase = side.record, side.phase
    asked = Requirement(record.scene, phase.tree, side.pairs, record.relaxed)
    for window in asked.windows(phase.start_s, phase.end_s):
        yield Window(side, window)
