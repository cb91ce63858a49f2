"""Stretches of a run in which one load and one set of requirements hold, for questions of what if."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from armcarry.asked.pairs import arm_pairs
from armcarry.asked.requirement import Asked, Requirement
from armcarry.asked.rooms import arm_rooms
from armcarry.clearance import Prover
from armcarry.clearance.boxes import swept_boxes
from armcarry.clearance.spheres import joint_levers_m, levers_m
from armcarry.files.documents.arm import LoadClass
from armcarry.geometry.poses import Array
from armcarry.record.record import Phase, Record
from armcarry.scene.build import ARM
from armcarry.scene.limits import brake_decelerations
from armcarry.scene.tree import Tree
from armcarry.timeline.near import all_else_stands, near_pairs
from armcarry.whatif.at_rest import excursions, fastest
from armcarry.whatif.cells import ENOUGH_M

#: detection times beyond this are not looked for, s
LONGEST_DETECTION_S = 3.0


@dataclass(frozen=True, eq=False)
class Side:
    """One phase seen by questions of what if.

    Attributes:
        phase: its tree and times.
        pairs: (P, 2) body rows that the arm's joints can bring near enough to matter.
        rooms: the pairs are of bodies and of rooms of the platform, which stand beside all others.
    """

    record: Record
    phase: Phase
    pairs: np.ndarray
    rooms: bool = False

    @staticmethod
    def of(record: Record, phase: Phase, pairs: np.ndarray | None = None) -> Side:
        """Return a phase with some pairs, none when left out."""
        return Side(record, phase, np.zeros((0, 2), dtype=np.int64) if pairs is None else pairs)

    @cached_property
    def tree(self) -> Tree:
        """What hangs from what, with the rooms where they are asked."""
        return arm_rooms(self.record.scene, self.phase.tree).tree if self.rooms else self.phase.tree

    @cached_property
    def prover(self) -> Prover:
        """Tree and pairs."""
        return Prover(self.tree, self.pairs)

    @cached_property
    def own(self) -> np.ndarray:
        """Tell which pairs (P,) are both parts of arm, rider and load, not of what is around them."""
        tree = self.tree
        ours = np.array([tree.hangs_from(m.instance, ARM) for m in tree.mountings])
        instances = [m.instance for m in tree.mountings]
        flags = np.array([ours[instances.index(body.name.split("/", 1)[0])] for body in tree.bodies])
        return np.asarray(flags[self.pairs].all(axis=1))

    @cached_property
    def beside_structure(self) -> Prover:
        """The pairs for whose nearness the arm slows down, those that come that near in the run."""
        scene, tree = self.record.scene, self.phase.tree
        ends = np.stack([self.record.motion.at(time) for time in (self.phase.start_s, self.phase.end_s)])
        motion = self.record.motion.between(self.phase.start_s, self.phase.end_s)
        pairs = near_pairs(scene, tree, ends, stands=all_else_stands(scene, motion))
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
        return self.tree.bodies[a].name, self.tree.bodies[b].name


@dataclass(frozen=True, eq=False)
class Window:
    """A stretch of a phase in which no relaxation begins or ends, and what is asked in it.

    Attributes:
        more_m: (P,) how far others take what they are handed at the end of the phase, before an arm that brakes
            stands; None where nothing is handed over so soon.
    """

    side: Side
    asked: Asked
    more_m: Array | None = None

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

    @property
    def wanted_m(self) -> Array:
        """What a fault must leave (P,) of the pairs as they hang in this phase, so that enough is left in the end."""
        return self.left_m if self.more_m is None else self.left_m + self.more_m

    def asked_m(self, own: bool) -> Array:
        """Return what is wanted (P,), nan for pairs of the other kind: around the arm, or among its own parts."""
        return np.where(self.side.own == own, self.wanted_m, np.nan)


def sides(record: Record) -> tuple[Side, ...]:
    """Return every phase of a run with the pairs that a late stop or a runaway joint can bring near."""
    return record.once(_sides)


def _sides(record: Record) -> tuple[Side, ...]:
    found = []
    for phase in record.phases:
        if phase.end_s > phase.start_s:
            pairs = arm_pairs(record.scene, phase.tree)
            after = _after(Side.of(record, phase))
            if after is not None:  # what others are handed comes near what it rested beside, too
                beside = arm_pairs(record.scene, after.tree)
                beside = beside[handed_m(Side.of(record, phase, beside)) > 0.0]
                pairs = np.unique(np.concatenate([pairs, beside]), axis=0)
            enough = ENOUGH_M + record.scene.loaded.rules.stop_remainder
            side = Side.of(record, phase, pairs)
            nearer = nearer_m(side) + handed_m(side)
            found.append(Side.of(record, phase, pairs[apart_m(record, phase, pairs) - nearer < enough]))
    return tuple(found)


def nearer_m(side: Side) -> Array:
    """Bound by how much each pair (P,) can be nearer in a fault begun in a phase than at the instant it begins.

    Each body moves by every joint between it and what both hang from: those of the arm by their braking and one of
    them by running away, all others by going on as commanded, at the most they do, until the last joint stands.
    """
    record, tree, columns = side.record, side.phase.tree, side.record.scene.arm_columns
    rate = np.abs(record.motion.between(side.phase.start_s, side.phase.end_s).extremes(1)).max(axis=0)
    lasting = _longest_s(side)
    until_s = min(side.phase.end_s + lasting, record.motion.end_s)
    goes = np.abs(record.motion.between(side.phase.start_s, until_s).extremes(1)).max(axis=0) * lasting
    goes[columns] = rate[columns] ** 2 / (2 * side.brakes)
    runs, longest = np.zeros((2, len(goes)))
    detection = record.scene.loaded.arm.document.detection_time
    runs[columns], longest[columns] = (  # it may be commanded the other way meanwhile
        worst_excursion(side, np.array([False]), time)[0] + rate[columns] * time
        for time in (detection, LONGEST_DETECTION_S)
    )
    levers = joint_levers_m(tree, record.once(_travel) + goes + np.maximum(runs, longest))
    a, b = side.pairs.T
    between = np.where((levers[a] > 0) & (levers[b] > 0), 0.0, levers[a] + levers[b])
    # what is only asked about the longest safe detection need not have enough to spare
    one = np.maximum((between * runs).max(axis=1, initial=0.0), (between * longest).max(axis=1, initial=0.0) - ENOUGH_M)
    return np.asarray(between @ goes + one)


def _longest_s(side: Side) -> float:
    """Bound how long any joint of the arm brakes in a fault begun in a phase."""
    part = side.record.motion.between(side.phase.start_s, side.phase.end_s)
    rate = np.abs(part.extremes(1)).max(axis=0)[side.record.scene.arm_columns]
    return float((np.maximum(rate, worst_rates(side, np.array([False]))[0]) / side.brakes).max())


def _after(side: Side) -> Phase | None:
    """Return the phase that follows, None after the last."""
    lasting = (phase for phase in side.record.phases if phase.end_s > phase.start_s)
    return next((phase for phase in lasting if phase.start_s >= side.phase.end_s), None)


def handed_m(side: Side) -> Array:
    """Bound how far others take bodies of each pair (P,) that they are handed after the phase, until the arm stands.

    Joints that they hang from during the phase too are left out: those are covered as they go on.
    """
    record, phase, after = side.record, side.phase, _after(side)
    none = np.zeros(len(side.pairs))
    until_s = min(phase.end_s + _longest_s(side), record.motion.end_s)
    if after is None or until_s <= phase.end_s or _hung(after) == _hung(phase):
        return none
    goes = np.abs(record.motion.between(phase.end_s, until_s).extremes(1)).max(axis=0) * (until_s - phase.end_s)
    goes[record.scene.arm_columns] = 0.0
    if not goes.any():
        return none
    before, levers = (joint_levers_m(tree, record.once(_travel) + goes) for tree in (phase.tree, after.tree))
    a, b = side.pairs.T
    taken = [np.where((before[one] > 0) | (levers[other] > 0), 0.0, levers[one]) for one, other in ((a, b), (b, a))]
    return np.asarray((taken[0] + taken[1]) @ goes)


def _hung(phase: Phase) -> list[str]:
    return [mounting.parent for mounting in phase.tree.mountings]


def _travel(record: Record) -> Array:
    """Return how far from 0 each joint (n,) is at most in a run."""
    return np.asarray(np.abs(record.motion.extremes()).max(axis=0))


def in_reach(record: Record, phase: Phase, pairs: np.ndarray, within_m: float) -> np.ndarray:
    """Tell which pairs (P,) the arm can bring within a distance, whatever its joints do while all else stands.

    What the arm carries stays in a ball about its first joint, links stretched in a line. All pairs are told to be
    where that joint itself is moved in the phase or slides, and each of a body that something else moves.
    """
    tree, columns = phase.tree, record.scene.arm_columns
    motion = record.motion.between(phase.start_s, phase.end_s)
    first = int(np.flatnonzero(tree.columns == columns[0])[0])
    above = [int(tree.columns[row]) for row in tree.ancestry(tree.links[first])[1:] if tree.columns[row] >= 0]
    if motion.moving[above].any() or tree.kinds[first] != 1:
        return np.ones(len(pairs), dtype=bool)
    travel = np.maximum(record.once(_travel), np.abs(tree.joint_limits).max(axis=1))
    levers = joint_levers_m(tree, record.once(_travel))
    stands = ~np.any(levers[:, motion.moving] > 0, axis=1)
    turns = levers_m(tree, dict(zip(tree.joints, travel.tolist(), strict=True)))[:, first]
    boxes, joint = swept_boxes(tree, motion), record.link_path(tree.links[first], phase.start_s)[0, :3, 3]
    away = np.linalg.norm(np.maximum(np.maximum(boxes.least_m - joint, joint - boxes.most_m), 0.0), axis=1)
    a, b = pairs.T
    far = np.zeros(len(pairs), dtype=bool)
    for one, other in ((a, b), (b, a)):
        far |= (turns[one] > 0) & (turns[other] == 0) & stands[other] & (away[other] > turns[one] + within_m)
    return ~far


def apart_m(record: Record, phase: Phase, pairs: np.ndarray) -> Array:
    """Return what the run proves of the distance of pairs (P, 2), -inf where it does not measure them."""
    keys, least = record.once(_least)
    a, b = np.sort(pairs.reshape(-1, 2), axis=1).T
    wanted = a * len(record.bodies) + b
    at = np.minimum(np.searchsorted(keys, wanted), max(len(keys) - 1, 0))
    known = keys[at] == wanted if len(keys) else np.zeros(len(wanted), dtype=bool)
    return np.where(known, least[at] if len(keys) else 0.0, -np.inf)


def _least(record: Record) -> tuple[np.ndarray, Array]:
    """Return the pairs of the table as one number each, in order, and the least proven of each over the run."""
    table, row_of = record.table, {body.name: k for k, body in enumerate(record.bodies)}
    rows = np.array([row_of[name] for name in table.names], dtype=np.int64)
    keys, which = np.unique(rows[table.body_a] * len(record.bodies) + rows[table.body_b], return_inverse=True)
    least = np.full(len(keys), np.inf)
    np.minimum.at(least, which, table.lower_m)
    return keys, least


def worst_excursion(side: Side, near: np.ndarray, detection_s: float | None = None) -> Array:
    """Return how far each arm joint gets when it runs away at its worst rate: (R, n) for (R,) near or not."""
    return excursions(side.record.scene.loaded.arm.document, side.load, near, detection_s)


def worst_rates(side: Side, near: np.ndarray) -> Array:
    """Return the fastest each arm joint can run away (R, n), for (R,) within slow_within of structure or not."""
    return fastest(side.record.scene.loaded.arm.document, side.load, near)


def windows(side: Side) -> Iterator[Window]:
    """Cut a phase where relaxations begin and end."""
    record, phase = side.record, side.phase
    asked = Requirement(record.scene, phase.tree, side.pairs, record.relaxed)
    more = handed_m(side)
    soon_s = max(phase.end_s - _longest_s(side), phase.start_s) if more.any() else phase.end_s
    for window in asked.windows(phase.start_s, phase.end_s):
        if window.start_s < soon_s:
            yield Window(side, replace(window, end_s=min(window.end_s, soon_s)))
        if window.end_s > soon_s:
            yield Window(side, replace(window, start_s=max(window.start_s, soon_s)), more)
