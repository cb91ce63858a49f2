"""Where and how near two bodies of a what-if come: one arc looked at sharply."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from armcarry.clearance import Prover
from armcarry.clearance.many import Arcs
from armcarry.record.finding import ClearanceDetail
from armcarry.whatif.faults import Side


class Witness(NamedTuple):
    """The nearest approach of two bodies on one arc.

    Attributes:
        distance_m: there, 0 where they touch.
        at: parameter of the arc.
        contact_at: where they first touch, nan if they do not.
        point_a, point_b: nearest points, world frame.
        joints: positions of the arm's joints there, rad or m.
    """

    distance_m: float
    at: float
    contact_at: float
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]
    joints: tuple[float, ...]

    def detail(self, lower_m: float, required_m: float, time_s: float) -> ClearanceDetail:
        """Return the same for a finding: proven bound, what must be left, and the instant at which the fault begins."""
        return ClearanceDetail(lower_m, self.distance_m, required_m, time_s, self.point_a, self.point_b, self.joints)


def witness(side: Side, pair: int, arc: Arcs) -> Witness:
    """Measure one pair of a side over the first arc, without slack."""
    motion = arc.motion(0, side.tree.joints)
    prover = Prover(side.tree, side.pairs[pair][None])
    # however far apart: slack may be what makes a margin short, and the arc itself keep well away
    found = prover.bounds(motion, end_s=float(arc.until[0]), report_distance_m=np.inf)
    points = [tuple(float(value) for value in row[0]) for row in (found.point_a, found.point_b)]
    position = np.asarray(motion.at(found.time_s[0])).reshape(-1)[side.record.scene.arm_columns]
    return Witness(
        float(found.upper_m[0]), float(found.time_s[0]), float(found.contact_s[0, 0]), points[0], points[1],  # type: ignore[arg-type]
        tuple(position.tolist()),
    )
