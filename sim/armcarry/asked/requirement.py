"""What is asked of two bodies at a time, why, and under which relaxation: one answer for every room.

The first rule that names the classes of the two counts; of a person and what is in the person's own hands, that of
rider and hardware, on the arm or off it. What somebody off the arm brings, in the hands or on the own tether, is asked
no more than that person's own body is: hands guide it. Hardware in its seat is asked no distance from the platform, and
bodies with one joint between none from each other: both are as near as they were put, and must not touch. A relaxation
that the script grants to the two counts where it asks for less; where several hold at once the smallest counts, since
each of them was granted. No relaxation asks for more than the rule, nor for anything where there is no rule. Bodies are
meant to touch where the rules or hands say so, and hardware and the part of a seat that takes it up wherever nothing is
required between them.

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
    seating,
    seating_pairs,
    that_fit,
    touching,
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


_OF_PAIRS = ("pairs", "required_m", "why", "granted", "meant", "left_m")


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
        return Asked(self.start_s, self.end_s, *(getattr(self, name)[rows] for name in _OF_PAIRS))

    def and_of(self, others: Asked) -> Asked:
        """Return the answer for these pairs and, behind them, others."""
        both = (np.concatenate([getattr(self, name), getattr(others, name)]) for name in _OF_PAIRS)
        return Asked(self.start_s, self.end_s, *both)


class Requirement:
    """What is asked of pairs of one tree over time.

    Args:
        scene: rules, classes and seats.
        tree: what hangs from what meanwhile.
        pairs: (P, 2) body rows.
        relaxed: what the script grants, whenever and to whomever.
    """

    def __init__(self, scene: Scene, tree: Tree, pairs: np.ndarray, relaxed: Sequence[Relaxed] = ()) -> None:
        self.pairs, self._tree, self._scene = np.asarray(pairs, dtype=np.int64).reshape(-1, 2), tree, scene
        self._remainder = scene.loaded.rules.stop_remainder
        self._grant(relaxed)

    def _grant(self, relaxed: Sequence[Relaxed]) -> None:
        """Work out what is asked of each kind: of pairs that rules, patterns and relaxations take alike."""
        self.relaxed = tuple(relaxed)
        scene, tree = self._scene, self._tree
        told = [(item.pattern_a, item.pattern_b) for item in self.relaxed]
        self._kind, first = _kinds(scene, tree, self.pairs, [*touching(scene, tree), *seating(scene), *told])
        some = self.pairs[first]
        ruled, self._beside = _by_rule(scene, tree, some), neighbour_pairs(scene, tree, some)
        rests, beside = seated_pairs(scene, tree, some) & (ruled > 0.0), self._beside & (ruled > 0.0)
        self._required = np.where(rests | beside, 0.0, ruled)
        words = np.where(rests, RESTS, np.where(beside, NEIGHBOURS, RULE))
        self._why = np.where(np.isnan(ruled), NO_RULE, words).astype(object)
        self._meant, self._seats = touching_pairs(scene, tree, some), seating_pairs(scene, tree, some)
        self._fits = np.zeros((len(told), len(some)), dtype=bool)
        for k, patterns in enumerate(told):
            self._fits[k] = pairs_that_fit(tree, patterns, *some.T)

    def take(self, rows: np.ndarray) -> Requirement:
        """Return what is asked of some of the pairs."""
        other = copy(self)
        other.pairs, other._kind = self.pairs[rows], self._kind[rows]
        return other

    def under(self, relaxed: Sequence[Relaxed]) -> Requirement:
        """Return what is asked of the same pairs where the script grants something else."""
        other = copy(self)
        other._grant(relaxed)
        return other

    def groups(self, start_s: float, end_s: float) -> Iterator[np.ndarray]:
        """Give rows of pairs that the same relaxations touch over a stretch of time; every pair once."""
        if not len(self.pairs):
            return
        touched = np.insert(self._fits[self._between(start_s, end_s)], 0, False, axis=0)
        _, group = np.unique(touched, axis=1, return_inverse=True)
        of_pair = group.reshape(-1)[self._kind]
        found, first = np.unique(of_pair, return_index=True)
        for k in found[np.argsort(first)]:
            yield np.flatnonzero(of_pair == k)

    def windows(self, start_s: float, end_s: float, rows: np.ndarray | None = None) -> tuple[Asked, ...]:
        """Cut a stretch of time wherever a relaxation of the pairs begins or ends; what is asked in each window.

        Args:
            start_s, end_s: the stretch.
            rows: of the pairs, all by default.
        """
        some = self if rows is None else self.take(rows)
        present = np.zeros(self._fits.shape[1], dtype=bool)
        present[some._kind] = True
        cuts = {start_s, end_s}
        for k in np.flatnonzero(self._between(start_s, end_s) & self._fits[:, present].any(axis=1)):
            cuts |= {min(max(time, start_s), end_s) for time in (self.relaxed[k].start_s, self.relaxed[k].end_s)}
        edges = sorted(cuts) if end_s > start_s else [start_s, end_s]
        return tuple(some._during(start, end) for start, end in pairwise(edges))

    def at(self, time_s: float) -> Asked:
        """Return what is asked at an instant; a relaxation holds at both its ends."""
        return self._during(time_s, time_s)

    def _between(self, start_s: float, end_s: float) -> np.ndarray:
        return np.array([item.start_s < end_s and item.end_s > start_s for item in self.relaxed], dtype=bool)

    def _during(self, start_s: float, end_s: float) -> Asked:
        required, why, granted = self._required.copy(), self._why.copy(), np.full(len(self._required), -1)
        for k, item in enumerate(self.relaxed):
            if item.start_s <= start_s and item.end_s >= end_s:
                less = self._fits[k] & (item.required_m < required)
                required[less], why[less], granted[less] = item.required_m, item.said, k
        meant = self._meant | (self._seats & (required == 0.0))
        why[self._meant] = MEANT
        left = np.maximum(np.where(self._beside, 0.0, np.fmin(self._remainder, required)), TOUCH_M)
        nothing = np.where(meant, np.nan, 0.0)
        of_kind = (required + nothing, why, granted, meant, left + nothing)
        return Asked(start_s, end_s, self.pairs, *(values[self._kind] for values in of_kind))


def _kinds(
    scene: Scene, tree: Tree, pairs: np.ndarray, patterns: Sequence[tuple[str, str]]
) -> tuple[np.ndarray, np.ndarray]:
    """Sort pairs (P,) into kinds: the kind of each, and a row of every kind.

    Of one kind are pairs whose bodies are of the same things and classes and fit the same patterns, and that are both
    bodies on either side of a joint or both not. There are a few hundred kinds, however many pairs.
    """
    words = sorted({word for both in patterns for word in both})
    signs = np.zeros((len(words) + 2, len(tree.bodies)), dtype=np.int64)
    for k, word in enumerate(words):
        signs[k] = that_fit(tree, word)
    signs[-2], signs[-1] = tree.body_owners, np.unique(scene.body_classes(tree), return_inverse=True)[1]
    alike = np.unique(signs.T, axis=0, return_inverse=True)[1].reshape(-1)
    count = int(alike.max(initial=0)) + 1
    kind = alike[pairs[:, 0]] * count + alike[pairs[:, 1]] + count * count * neighbour_pairs(scene, tree, pairs)
    _, first, kind = np.unique(kind, return_index=True, return_inverse=True)
    return kind.reshape(-1), first


def _by_rule(scene: Scene, tree: Tree, pairs: np.ndarray) -> Array:
    """Return what the rules require of the classes of pairs (P,), nan where none covers them."""
    names, code = np.unique(np.array([*scene.body_classes(tree), "worker"]), return_inverse=True)
    code, person = code[:-1], code[-1]
    rules = scene.loaded.rules
    found = [[required_clearance_m(rules, a, b) for b in names] for a in names]
    table = np.array([[np.nan if value is None else value for value in row] for row in found])
    ruled = table[code[pairs[:, 0]], code[pairs[:, 1]]]
    brought = [item for item in scene.loaded.hardware if scene.brought_by(tree, item) is not None]
    code = np.where(tree.bodies_of(brought), person, code)
    ruled = np.fmin(ruled, table[code[pairs[:, 0]], code[pairs[:, 1]]])
    held = required_clearance_m(rules, "rider", "hardware")
    return np.asarray(np.where(_in_own_hands(scene, tree, pairs), np.nan if held is None else held, ruled))


def _in_own_hands(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are a person and an item in the own hands, on or off the arm: one rule covers both."""
    a, b = pairs.T
    result = np.zeros(len(pairs), dtype=bool)
    for item in scene.loaded.hardware:
        for who in scene.loaded.crew:
            if tree.hangs_from(item, who):
                its, own = tree.bodies_of((item,)), tree.bodies_of((who,))
                result |= (its[a] & own[b]) | (own[a] & its[b])
    return result


def arm_asked(scene: Scene, tree: Tree, relaxed: Sequence[Relaxed] = ()) -> Asked:
    """Return what is asked of the pairs that the arm's joints can move and that have a rule.

    Args:
        relaxed: what is granted for all time; nothing by default.
    """
    asked = Requirement(scene, tree, arm_pairs(scene, tree), relaxed).at(-np.inf)
    return asked.take(np.flatnonzero(~np.isnan(asked.required_m)))
