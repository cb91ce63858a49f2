"""How tight a way of the arm is, so that of several branches the roomier one is taken."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from armcarry.asked.requirement import Asked, arm_asked
from armcarry.clearance import Prover
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree

#: how exactly distances need be known to choose
COARSE_M = 0.05
#: contact counts as this much less than required
CONTACT_M = 2.0


class Tightness:
    """Measures ways of the arm against the rules; keeps what it prepared for each tree.

    Args:
        scene: documents and models.
        bending: look only at pairs with a part of the arm between its first and last joint: what is rigid with the
            tool comes to a seat alike on every branch, and places grant it what the rules alone do not.
        more_m: what is asked (P,) beyond what the rules ask of pairs in a tree; nothing by default.
        exact_m: how exactly distances are known.
    """

    def __init__(
        self, scene: Scene, *, bending: bool = False, more_m: Callable[[Scene, Tree, Asked], Array] | None = None,
        exact_m: float = COARSE_M,
    ) -> None:
        self.scene, self.bending, self.more_m, self.exact_m = scene, bending, more_m, exact_m
        self._provers: dict[int, tuple[Tree, Prover, Array]] = {}

    def lacking_m(self, tree: Tree, way: Motion) -> float:
        """Return by how much the worst pair may miss its requirement on a way, 0 when none does.

        Args:
            tree: the tree while the way is taken.
            way: the whole joint vector over the way.
        """
        prover, required = self._prepared(tree, way)
        if not len(required):
            return 0.0
        bounds = prover.bounds(way, report_distance_m=float(required.max()), tolerance_m=self.exact_m)
        lacking = np.where(bounds.status == "contact", required + CONTACT_M, required - bounds.lower_m)
        return max(0.0, float(lacking.max()))

    def _prepared(self, tree: Tree, way: Motion) -> tuple[Prover, Array]:
        if id(tree) not in self._provers:
            asked = arm_asked(self.scene, tree)
            if self.bending:
                count = self.scene.arm_joints_behind(tree)
                bends = ((count > 0) & (count < len(self.scene.arm_joints)))[asked.pairs].any(axis=1)
                asked = asked.take(np.flatnonzero(bends))
            required = asked.required_m
            if self.more_m is not None:
                required = required + self.more_m(self.scene, tree, asked)
            self._provers[id(tree)] = (tree, Prover(tree, asked.pairs), required)
        _, prover, required = self._provers[id(tree)]
        return prover, required

