"""What a joint that runs away leaves between the moving arm and people afoot beside it, on the clock of a day."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.run import Phase
from armcarry.whatif.at_rest import AtRest

#: the moving arm is looked at this often, s; joints slower than this stand still, rad/s or m/s
EVERY_S, STILL = 5.0, 1e-6
#: what counts for a fault after which too little is left, m: bodies may then be anywhere
FAULT_M = 0.2


class BesideFaults:
    """Faults of the arm while people are beside it, of whom and what they hold alone.

    Args:
        scene: whose rules.
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._known: dict[tuple[object, ...], AtRest] = {}

    def lacking_m(self, part: Phase, motion: Motion, arm: Collection[str], people: Collection[str]) -> float:
        """Return what lacks most after a fault while the arm moves in a stretch of time, m, 0 where nothing does.

        Args:
            part: the stretch.
            motion: of all joints.
            arm: instances that move with the arm.
            people: instances of those afoot, with what they hold.
        """
        times = np.arange(part.start_s + EVERY_S / 2, part.end_s, EVERY_S)
        if not len(times) or not people:
            return 0.0
        rates = np.abs(np.array([motion.at(time, order=1) for time in times])[:, self.scene.arm_columns]).max(axis=1)
        places = np.array([motion.at(time) for time in times[rates > STILL]])
        if not len(places):
            return 0.0
        least_m = min(self._faults(part.tree, arm, people).least(place[None])[0] for place in places)
        return FAULT_M - least_m if least_m < 0.0 else 0.0

    def _faults(self, tree: Tree, arm: Collection[str], people: Collection[str]) -> AtRest:
        key = (tree.hung_as, tuple(sorted(arm)), tuple(sorted(people)))
        if key not in self._known:
            among = (tree.bodies_of(tuple(arm)), tree.bodies_of(tuple(people)))
            self._known[key] = AtRest(self.scene, tree, among=among)
        return self._known[key]
