"""At which angles of the joint between them two bodies are proven apart.

Where a fault is bounded by how far each joint may be from some arc, a boom of seven metres beside its own drum comes
out as if all of it moved at its far end. But bodies with one joint between them have one number for a posture: what
they keep is proven once for every part of a turn, and asked of by the angles alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from armcarry.clearance.many import Arcs, least_margins
from armcarry.clearance.neighbours import rigid_with
from armcarry.clearance.prover import Prover
from armcarry.geometry.model import Joint, Model
from armcarry.geometry.poses import Array
from armcarry.scene.tree import Tree

#: parts of one turn that are proven each by itself
PARTS = 720
_IT = "it"


@dataclass(frozen=True, eq=False)
class FreeTravel:
    """Which parts of one turn (PARTS,), the first from angle 0 on, keep what was asked, proven."""

    joint: str
    free: np.ndarray

    def holds(self, low_rad: Array, high_rad: Array) -> np.ndarray:
        """Tell of stretches of angles (N,) whether all of each is free, however often the joint went round."""
        first = np.floor(low_rad / (2 * np.pi) * PARTS).astype(np.int64)
        count = np.floor(high_rad / (2 * np.pi) * PARTS).astype(np.int64) - first + 1
        taken = np.concatenate([[0], np.cumsum(np.tile(~self.free, 2))])  # parts not free before each of two turns
        first %= PARTS
        return np.asarray(taken[first + np.minimum(count, PARTS)] == taken[first])


@lru_cache(maxsize=256)
def free_travel(model: Model, body_a: str, body_b: str, kept_m: float) -> FreeTravel | None:
    """Prove for every part of a turn whether two bodies keep a distance; None where no one joint turns between them."""
    joint = _between(model, body_a, body_b)
    if joint is None or joint.kind != "revolute":
        return None
    tree = Tree().place(_IT, model)
    row = {body.name: k for k, body in enumerate(tree.bodies)}
    pair = np.array([[row[f"{_IT}/{body_a}"], row[f"{_IT}/{body_b}"]]])
    table = np.zeros((PARTS, 1, 2, 1))
    table[:, 0, 0, 0] = np.arange(PARTS) * (2 * np.pi / PARTS)
    table[:, 0, 1, 0] = 2 * np.pi / PARTS
    none = np.zeros((PARTS, len(tree.joints)))
    arcs = Arcs((f"{_IT}/{joint.name}",), none, np.tile([0.0, 1.0], (PARTS, 1)), table, np.ones(PARTS), none)
    found = least_margins(Prover(tree, pair), arcs, np.array([kept_m]), tolerance_m=1e-4)
    return FreeTravel(joint.name, np.asarray(found.lower_m >= 0.0))


def _between(model: Model, body_a: str, body_b: str) -> Joint | None:
    """Return the one joint that moves two bodies against each other, None where there are none or several."""
    solid, _ = rigid_with(model)
    link = {body.name: solid[body.link] for body in model.bodies}
    ends = {link[body_a], link[body_b]}
    found = [joint for joint in model.movable() if {joint.child, solid[joint.parent]} == ends]
    return found[0] if found else None
