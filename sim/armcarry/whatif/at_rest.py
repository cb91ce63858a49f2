"""Joints that run away while the arm stands in postures that are only thought of: what every such fault leaves.

How fast a joint runs away, how far it gets and what must be left are those of a run (``runaway_joint``); what a run
adds is how the other joints go on meanwhile.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from armcarry.asked.pairs import arm_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import NEIGHBOURS, Requirement
from armcarry.clearance import Prover
from armcarry.clearance.many import Arcs, least_margins, near_pairs
from armcarry.files.documents.arm import ArmDocument, LoadClass
from armcarry.geometry.poses import Array
from armcarry.motion.braking import runaway
from armcarry.scene.build import Scene
from armcarry.scene.limits import brake_decelerations, runaway_rates
from armcarry.scene.tree import Tree
from armcarry.timeline.near import near_pairs as pairs_beside

#: margins are told up to this, and how exactly, m
ENOUGH_M, TOLERANCE_M = 0.1, 0.01
#: how exactly it is known whether the arm is near structure, m
BAND_M = 0.01


def near_at(scene: Scene, prover: Prover, arcs: Arcs, band_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Tell of arcs (N,) whether something is near structure all along them, and whether nothing is anywhere.

    Args:
        scene: whose rules.
        prover: the pairs for whose nearness the arm slows down.
        arcs: each with its slack.
        band_m: how exactly distances need be known.
    """
    within = scene.loaded.rules.slow_within
    found = least_margins(prover, arcs, np.zeros(len(prover.pairs)), enough_m=within, tolerance_m=band_m)
    return found.reached_m + found.pad_m < within, found.lower_m >= within


def fastest(arm: ArmDocument, load: LoadClass, near: np.ndarray) -> Array:
    """Return the fastest each arm joint can run away (R, n), for (R,) within slow_within of structure or not."""
    return np.where(np.asarray(near)[:, None], *(runaway_rates(arm, load, kind) for kind in (True, False)))


def excursions(arm: ArmDocument, load: LoadClass, near: np.ndarray, detection_s: float | None = None) -> Array:
    """Return how far each arm joint gets when it runs away at its worst rate: (R, n) for (R,) near or not."""
    late_s = arm.detection_time if detection_s is None else detection_s
    return np.asarray(runaway(fastest(arm, load, near), late_s, brake_decelerations(arm, load)).distance)


class AtRest:
    """Faults begun while the arm stands, everything else at rest, things hung from one another as in one tree.

    Args:
        scene: rules, classes and the arm.
        tree: what hangs from what.
        relaxed: what is granted meanwhile.
        more_m: what is to be left beyond what must be, of all but bodies with one joint between.
        among: which bodies (B,) and which others (B,) alone are asked about; None for all.
    """

    def __init__(
        self, scene: Scene, tree: Tree, relaxed: Sequence[Relaxed] = (), more_m: float = 0.0,
        among: tuple[np.ndarray, np.ndarray] | None = None,
    ) -> None:  # fmt: skip
        self.scene, self.tree = scene, tree
        asked = Requirement(scene, tree, arm_pairs(scene, tree), relaxed).at(-np.inf)
        judged = ~np.isnan(asked.left_m)
        if among is not None:
            one, other = (mask[asked.pairs] for mask in among)
            judged &= (one[:, 0] & other[:, 1]) | (one[:, 1] & other[:, 0])
        self._wanted_m = (asked.left_m + np.where(asked.why == NEIGHBOURS, 0.0, more_m))[judged]
        self._prover = Prover(tree, asked.pairs[judged])
        self._beside: dict[bytes, Prover] = {}

    def least(self, places: Array) -> tuple[float, str]:
        """Return the least margin that faults leave at joint vectors (N, n), at most ENOUGH_M, and which two bodies.

        The base stands alike in all of them.
        """
        columns, count = self.scene.arm_columns, len(self.scene.arm_joints)
        still = _arcs(self.scene, places, np.zeros(len(places)))
        near, _ = near_at(self.scene, self._beside_structure(places), still, BAND_M)
        far = excursions(self.scene.loaded.arm.document, self.scene.load(self.tree)[1], near)
        extra = np.zeros_like(places)
        extra[:, columns] = far
        lists = near_pairs(self._prover, still, self._wanted_m, extra, enough_m=ENOUGH_M)
        place, joint, sign = (grid.ravel() for grid in np.meshgrid(
            np.flatnonzero(lists.counts > 0), np.arange(count), (1.0, -1.0), indexing="ij"
        ))  # fmt: skip
        if not len(place):
            return ENOUGH_M, ""
        arcs = _arcs(self.scene, places[place], far[place, joint], joint, sign)
        found = least_margins(self._prover, arcs, self._wanted_m, tolerance_m=TOLERANCE_M, enough_m=ENOUGH_M,
                              lists=lists, which=place)  # fmt: skip
        worst = int(np.argmin(found.lower_m))
        if found.lower_m[worst] >= ENOUGH_M:
            return ENOUGH_M, ""
        names = (self.tree.bodies[row].name for row in self._prover.pairs[found.pair[worst]])
        return float(found.lower_m[worst]), f"{self.scene.arm_joints[joint[worst]]} running away: {' and '.join(names)}"

    def _beside_structure(self, places: Array) -> Prover:
        base = np.delete(places[0], self.scene.arm_columns).tobytes()
        if base not in self._beside:
            self._beside[base] = Prover(self.tree, pairs_beside(self.scene, self.tree, places[[0, -1]], stands=True))
        return self._beside[base]


def _arcs(
    scene: Scene, places: Array, until: Array, joint: np.ndarray | None = None, sign: Array | None = None
) -> Arcs:
    """Return arcs from joint vectors (N, n) along one joint each (N,), or standing there."""
    count, columns = len(places), scene.arm_columns
    table = np.zeros((count, 1, 2, len(columns)))
    table[:, 0, 0] = places[:, columns]
    if joint is not None:
        table[np.arange(count), 0, 1, joint] = sign
    end = np.maximum(until, 1e-9)
    return Arcs(scene.arm_joints, places, np.stack([0.0 * end, end], axis=1), table, end, np.zeros_like(places))
