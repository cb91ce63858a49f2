"""How tight a way of the arm is, so that of several branches the roomier one is taken."""

from __future__ import annotations

import numpy as np

from armcarry.asked.requirement import arm_asked
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
    """

    def __init__(self, scene: Scene, *, bending: bool = False) -> None:
        self.scene, self.bending = scene, bending
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
        bounds = prover.bounds(way, report_distance_m=float(required.max()), tolerance_m=COARSE_M)
        lacking = np.where(bounds.status == "contact", required + CONTACT_M, required - bounds.lower_m)
        return max(0.0, float(lacking.max()))

    def _prepared(self, tree: Tree, way: Motion) -> tuple[Prover, Array]:
        if id(tree) not in self._provers:
            pairs, required = arm_asked(self.scene, tree)
            if self.bending:
                count = self.scene.arm_joints_behind(tree)
                bends = ((count > 0) & (count < len(self.scene.arm_joints)))[pairs].any(axis=1)
                pairs, required = pairs[bends], required[bends]
            self._provers[id(tree)] = (tree, Prover(tree, pairs), required)
        _, prover, required = self._provers[id(tree)]
        return prover, required

