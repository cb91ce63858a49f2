"""The arm's joint space in one tree: how much proven margin straight joint segments keep, many at once."""

from __future__ import annotations

import numpy as np

from armcarry.checks.budget import root_sum_square_m, worst_case_m
from armcarry.clearance import Prover
from armcarry.clearance.many import Arcs, Margins, least_margins
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.scene.limits import joint_rates
from armcarry.scene.tree import Tree
from armcarry.timeline.pairs import judged_pairs, required_of

#: margins beyond this are all the same to a route, m
ENOUGH_M = 0.5
#: how exactly a margin is known, m
TOLERANCE_M = 0.01


class ArmSpace:
    """Joint space of the arm with everything else at rest.

    Args:
        scene: rules, classes and the arm.
        tree: what hangs from what.
        position: where all other joints stand (n,).
        budget: ask for what the rules' budget of uncertainty takes as well.

    Attributes:
        limits: (A, 2) travel of the arm's joints less the margin that the rules ask for, rad.
        rates: (A,) rad/s allowed in this tree's load class.
    """

    def __init__(self, scene: Scene, tree: Tree, position: Array, *, budget: bool = False) -> None:
        self.scene, self.tree, self.position = scene, tree, position
        self.joints = scene.arm_joints
        margin = scene.loaded.rules.margins.joint_position
        self.limits = tree.joint_limits[scene.arm_columns] + np.array([margin, -margin])
        _, load = scene.load(tree)
        self.rates = joint_rates(scene.loaded.arm.document, load)
        pairs, _ = judged_pairs(scene, tree, _turning(tree, scene.arm_columns, position))
        asked = required_of(scene, tree, pairs)
        ruled = ~np.isnan(asked)
        self.budget = budget
        self.pairs, self.asked_m = pairs[ruled], asked[ruled]
        if budget:
            self.asked_m = self.asked_m + _uncertain_m(scene, tree, self.pairs)
        self.prover = Prover(tree, self.pairs)

    def margins(self, starts: Array, ends: Array, *, give_up_m: float = -np.inf) -> Margins:
        """Bound the least margin of straight joint segments (N, A) to (N, A), metres beyond what is required.

        Proven at every instant of each, at most ``ENOUGH_M``; -inf where given up.
        """
        count = len(starts)
        table = np.zeros((count, 1, 2, len(self.joints)))
        table[:, 0, 0], table[:, 0, 1] = starts, ends - starts
        base = np.repeat(self.position[None], count, axis=0)
        base[:, self.scene.arm_columns] = starts
        arcs = Arcs(
            self.joints, base, np.tile([0.0, 1.0], (count, 1)), table, np.ones(count), np.zeros_like(base)
        )
        return least_margins(
            self.prover, arcs, self.asked_m, tolerance_m=TOLERANCE_M, enough_m=ENOUGH_M, give_up_m=give_up_m
        )

    def pair_names(self, row: int) -> tuple[str, str, float]:
        """Return the bodies of a pair and what is required between them, m."""
        a, b = self.pairs[row].tolist()
        return self.tree.bodies[a].name, self.tree.bodies[b].name, float(self.asked_m[row])

    def seconds(self, starts: Array, ends: Array) -> Array:
        """Return the time of straight segments at full joint rates (N,), without starting and stopping."""
        return np.asarray((np.abs(ends - starts) / self.rates).max(axis=-1))


def _uncertain_m(scene: Scene, tree: Tree, pairs: np.ndarray) -> Array:
    """Return what the budget takes from each pair (P,), m: the terms that name the class of one of its bodies."""
    rules = scene.loaded.rules
    combined = worst_case_m if rules.budget_combination == "worst_case" else root_sum_square_m
    names, code = np.unique(np.array(scene.body_classes(tree)), return_inverse=True)
    table = np.array(
        [[combined(t for t in rules.budget.values() if (a in t.applies_to) != (b in t.applies_to)) for b in names]
         for a in names]
    )  # fmt: skip
    return np.asarray(table[code[pairs[:, 0]], code[pairs[:, 1]]])


def _turning(tree: Tree, columns: np.ndarray, position: Array) -> Motion:
    """Return a motion in which every joint of the arm moves, to find every pair that it can bring together."""
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 0] = position
    table[0, 1, columns] = 1.0
    return Motion(tree.joints, np.array([0.0, 1.0]), table)
