"""Where and how near two bodies of a what-if come: one arc looked at sharply."""

from __future__ import annotations

from typing import NamedTuple

from armcarry.clearance import Prover, distance
from armcarry.clearance.many import Arcs
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.whatif.faults import Side


class Witness(NamedTuple):
    """The nearest approach of two bodies on one arc.

    Attributes:
        distance_m: there, 0 where they touch.
        at: parameter of the arc.
        contact_at: where they first touch, nan if they do not.
        before_m: distance where the arc begins.
        point_a, point_b: nearest points, world frame.
    """

    distance_m: float
    at: float
    contact_at: float
    before_m: float
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]


def witness(side: Side, pair: int, arc: Arcs) -> Witness:
    """Measure one pair of a side over the first arc, without slack."""
    motion = arc.motion(0, side.phase.tree.joints)
    found = Prover(side.phase.tree, side.pairs[pair][None]).bounds(motion, end_s=float(arc.until[0]))
    points = [tuple(float(value) for value in row[0]) for row in (found.point_a, found.point_b)]
    return Witness(
        float(found.upper_m[0]), float(found.time_s[0]), float(found.contact_s[0, 0]),
        _apart_m(side, pair, motion), *points,  # type: ignore[arg-type]
    )  # fmt: skip


def _apart_m(side: Side, pair: int, motion: Motion) -> float:
    """Measure the distance of a pair where a motion starts."""
    one, other = (side.phase.tree.bodies[row] for row in side.pairs[pair])
    links = forward(side.phase.tree, motion.at(motion.start_s), (one.link, other.link))
    return distance(one.shape, links[0] @ one.pose, other.shape, links[1] @ other.pose).upper_m
