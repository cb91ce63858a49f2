"""Where a rider whose arm has stopped for good still comes to a handrail: how much of the tether is left over."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.handrails import rails_of

#: left over between the places that are looked at, m
ALLOWED_FOR_M = 0.2


class Refuge:
    """The handrails about the riders of one tree, and what bridges the gap to them.

    Args:
        scene: rules, crew and platform.
        tree, position: handrails are taken where they are there.
    """

    def __init__(self, scene: Scene, tree: Tree, position: Array) -> None:
        self.tree, self.position, self.columns = tree, position, scene.arm_columns
        rules, riders = scene.loaded.rules, scene.aboard(tree)
        rails = rails_of(scene.loaded.platform.document, tree, position)
        self._asked = bool(riders and rails and rules.tether_reach is not None)
        if not self._asked:
            return
        self._starts = np.array([rail.start for rail in rails])
        self._along = np.array([rail.end for rail in rails]) - self._starts
        self._square = np.maximum((self._along**2).sum(axis=1), 1e-300)
        self._shoulders: list[str] = []
        self._reach: list[float] = []
        for crew in riders:
            member = scene.loaded.crew[crew]
            self._shoulders += [f"{crew}/{link}" for link in member.document.shoulders]
            self._reach += [member.size.reach.one_hand] * 2
        self._tether_m = (rules.tether_reach or 0.0) - ALLOWED_FOR_M

    def spare_m(self, points: Array) -> Array:
        """Return what is left of tether and reach at arm positions (N, A), rider worst off (N,); inf for none."""
        if not self._asked:
            return np.full(len(points), np.inf)
        full = np.repeat(self.position[None], len(points), axis=0)
        full[:, self.columns] = points
        shoulders = forward(self.tree, full, self._shoulders)[:, :, None, :3, 3]
        share = np.clip(((shoulders - self._starts) * self._along).sum(axis=3) / self._square, 0.0, 1.0)
        apart = np.linalg.norm(shoulders - self._starts - share[..., None] * self._along, axis=3).min(axis=2)
        gap = (apart - np.array(self._reach)).reshape(len(points), -1, 2).min(axis=2)
        return np.asarray(self._tether_m - gap.max(axis=1))
