"""What is asked of two bodies at a time, why, and under which relaxation: one answer for every room.

The first rule that names the classes of the two counts; of a person and what is in the person's own hands, that of
rider and hardware, on the arm or off it. Hardware in its seat is asked no distance from the platform, and bodies with
one joint between none from each other: both are as near as they were put, and must not touch. A relaxation that the
script grants to the two counts where it asks for less; where several hold at
once the smallest counts, since each of them was granted. No relaxation asks for more than the rule, nor for
anything where there is no rule. Bodies are meant to touch where the rules or hands say so, and hardware and the part
of a seat that takes it up wherever nothing is required between them.

What must be left after a fault (a late stop, a runaway or locked joint) is the rules' ``stop_remainder``, but never
more than was required of the two anyway: else a carry that keeps every requirement, through a gap that was
granted, would fail before any fault. Bodies that are not meant to touch must not touch then either, so it is
``TOUCH_M`` at least.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armcarry.asked.pairs import (
    TOUCH_M,
    arm_pairs,
    neighbour_pairs,
    pairs_that_fit,
    seated_pairs,
    seating_pairs,
    touching_pairs,
)
from armcarry.asked.relaxed import Relaxed
from armcarry.geometry.poses import Array
from armcarry.scene.build import Scene
from armcarry.scene.rules import required_clearance_m
from armcarry.scene.tree import Tree

#: why: a rule, no rule, hardware in its seat, bodies meant to touch; else the reason that a relaxation gives
RULE, NO_RULE, RESTS, MEANT = "rule", "no rule", "it sits in its seat", "intended contact"
#: why nothing is asked of bodies with one joint between but that they do not touch
NEIGHBOURS = "one joint between"


@dataclass(frozen=True, eq=False)
class Asked:
    """What is asked of P pairs all through a window of time.

    Attributes:
        start_s, end_s: the window, both ends included.
        pairs: (P, 2) body rows.
        required_m: (P,) nan where no rule covers the two, or where they are meant to touch.
        why: (P,) words.
        granted: (P,) row of the relaxation that counts, in those the answer was asked with; -1 for none.
        meant: (P,) the two are meant to touch: nothing is judged of them.
        left_m: (P,) what must be left after a fault, nan where the two are meant to touch.
    """

    start_s: float
    end_s: float
    pairs: np.ndarray
    required_m: Array
    why: np.ndarray
    granted: np.ndarray
    meant: np.ndarray
    left_m: Array

    @property
    def kept_m(self) -> Array:
        """What must be kept (P,): 0 (no contact) without a rule, nan where the two are meant to touch."""
        return np.where(self.meant, np.nan, np.nan_to_num(self.required_m))

    def take(self, rows: np.ndarray) -> Asked:
        """Return the answer for some of the pairs."""
        names = ("pairs", "required_m", "why", "granted", "meant", "left_m")
        return Asked(self.start_s, self.end_s, *(getattr(self, name)[rows] for name in names))


class Requirement:
    """What is asked of pairs of one tree over time.

    Args:
        scene: rules, classes and seats.
        tree: what hangs from what meanwhile.
        pairs: (P, 2) body rows.
        relaxed: what the script grants, whenever and to whomever.
    """

    def __init__(self, scene: Scene, tree: Tree, pairs: np.ndarray, relaxed: Sequence[Relaxed] = ()) -> None:
        self.pairs, self._tree = np.asarray(pairs, dtype=np.int64).reshape(-1, 2), tree
        ruled = _by_rule(scene, tree, self.pairs)
        self._beside = neighbour_pairs(scene, tree, self.pairs)
        rests, beside = seated_pairs(scene, tree, self.pairs) & (ruled > 0.0), self._beside & (ruled > 0.0)
        self._required = np.where(rests | beside, 0.0, ruled)
        words = np.where(rests, RESTS, np.where(beside, NEIGHBOURS, RULE))
        self._why = np.where(np.isnan(ruled), NO_RULE, words).astype(object)
        self._meant, self._seats = touching_pairs(scene, tree, self.pairs), seating_pairs(scene, tree, self.pairs)
        self._remainder = scene.loaded.rules.stop_remainder
        self._grant(relaxed)

    def _grant(self, relaxed: Sequence[Relaxed]) -> None:
        self.relaxed = tuple(relaxed)
        self._fits = np.zeros((len(self.relaxed), len(self.pairs)), dtype=bool)
        for k, item in enumerate(self.relaxed):
            self._fits[k] = pairs_that_fit(self._tree, (item.pattern_a, item.pattern_b), *self.pairs.T)

    def take(self, rows: np.ndarray) -> Requirement:
        """Return what is asked of some of the pairs."""
        other = copy(self)
        for name in ("pairs", "_required", "_why", "_meant", "_seats", "_beside"):
            setattr(other, name, getattr(self, name)[rows])
        other._fits = self._fits[:, rows]
        return other

    def under(self, relaxed: Sequence[Relaxed]) -> Requirement:
        """Return what is asked of the same pairs where the script grants something else."""
        other = copy(self)
        other._grant(relaxed)
        return other

    def groups(self, start_s: float, end_s: float) -> Iterator[np.ndarray]:
        """Give rows of pairs that the same relaxations touch over a stretch of time; every pair once."""
        touched = np.packbits(self._fits[self._between(start_s, end_s)].T, axis=1)
        if not touched.shape[1] or not len(touched):  # nothing is granted, or nothing is asked
            yield from [np.arange(len(touched))] if len(touched) else []
            return
        _, first, group = np.unique(touched, axis=0, return_index=True, return_inverse=True)
        for k in np.argsort(first):
            yield np.flatnonzero(group.reshape(-1) == k)

    def windows(self, start_s: float, end_s: float, rows: np.ndarray | None = None) -> tuple[Asked, ...]:
        """Cut a stretch of time wherever a relaxation of the pairs begins or ends; what is asked in each window.

        Args:
            start_s, end_s: the stretch.
            rows: of the pairs, all by default.
        """
        some = np.arange(len(self.pairs)) if rows is None else rows
        cuts = {start_s, end_s}
        for k in np.flatnonzero(self._between(start_s, end_s) & self._fits[:, some].any(axis=1)):
            cuts |= {min(max(time, start_s), end_s) for time in (self.relaxed[k].start_s, self.relaxed[k].end_s)}
        edges = sorted(cuts) if end_s > start_s else [start_s, end_s]
        return tuple(self._during(start, end).take(some) for start, end in pairwise(edges))

    def at(self, time_s: float) -> Asked:
        """Return what is asked at an instant; a relaxation holds at both its ends."""
        return self._during(time_s, time_s)

    def _between(self, start_s: float, end_s: float) -> np.ndarray:
        return np.array([item.start_s < end_s and item.end_s > start_s for item in self.relaxed], dtype=bool)

    def _during(self, start_s: float, end_s: float) -> Asked:
        required, why, granted = self._required.copy(), self._why.copy(), np.full(len(self.pairs), -1)
        for k, item in enumerate(self.relaxed):
            if item.start_s <= start_s and item.end_s >= end_s:
                less = self._fits[k] & (item.required_m < required)
                required[less], why[less], granted[less] = item.required_m, item.said, k
        meant = self._meant | (self._seats & (required == 0.0))
        why[self._meant] = MEANT
        left = np.maximum(np.where(self._beside, 0.0, np.fmin(self._remainder, required)), TOUCH_M)
        nothing = np.where(meant, np.nan, 0.0)
        return Asked(start_s, end_s, self.pairs, required + nothing, why, granted, meant, left + nothing)


def _by_rule(scene: Scene, tree: Tree, pairs: np.ndarray) -> Array:
    """Return what the rules require of the classes of pairs (P,), nan where none covers them."""
    names, code = np.unique(np.array(scene.body_classes(tree)), return_inverse=True)
    rules = scene.loaded.rules
    found = [[required_clearance_m(rules, a, b) for b in names] for a in names]
    table = np.array([[np.nan if value is None else value for value in row] for row in found])
    ruled = table[code[pairs[:, 0]], code[pairs[:, 1]]]
    held = required_clearance_m(rules, "rider", "hardware")
    return np.asarray(np.where(_in_own_hands(scene, tree, pairs), np.nan if held is None else held, ruled))


def _in_own_hands(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are a person and an item in the own hands, on or off the arm: one rule covers both."""
    owner = np.array([body.name.split("/", 1)[0] for body in tree.bodies])
    a, b = (owner[column] for column in pairs.T)
    result = np.zeros(len(pairs), dtype=bool)
    for item in scene.loaded.hardware:
        for who in scene.loaded.crew:
            if tree.hangs_from(item, who):
                result |= ((a == item) & (b == who)) | ((a == who) & (b == item))
    return result


def arm_asked(scene: Scene, tree: Tree) -> tuple[np.ndarray, Array]:
    """Return the pairs (P, 2) that the arm's joints can move and have a rule, and what it requires (P,), unrelaxed."""
    asked = Requirement(scene, tree, arm_pairs(scene, tree)).at(-np.inf)
    ruled = ~np.isnan(asked.required_m)
    return asked.pairs[ruled], asked.required_m[ruled]
