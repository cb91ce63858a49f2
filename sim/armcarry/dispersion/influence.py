"""How far a draw can move two bodies against each other: which pairs can come near in a run, by a proven bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance.spheres import far_m, levers_m
from armcarry.dispersion.terms import Drawn
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.curve import Motion
from armcarry.scene.displaced import is_held
from armcarry.scene.tree import Tree


@dataclass(frozen=True, eq=False)
class Influence:
    """Levers of a draw on the pairs of one tree.

    Attributes:
        links: (E,) rows of the links that some number moves against their parent.
        turn, slide: (E, n) how far a link turns (rad) and slides (m) a unit of each number.
        lever_m: (B, E) how far any point of a body can be from a link's origin, links stretched in a line; 0
            where the body does not hang from the link.
        own: (B, n) how far a unit of each number moves any point of a body in its link.
    """

    links: np.ndarray
    turn: Array
    slide: Array
    lever_m: Array
    own: Array

    def shifts_m(self, pairs: np.ndarray, size: Array) -> Array:
        """Bound how much the distance of each pair (P, 2) can differ from the nominal one, metres (P,).

        Args:
            pairs: body rows.
            size: (n,) absolute value of each number.

        What both bodies hang from moves them alike and counts for neither.
        """
        turn, slide = self.turn @ size, self.slide @ size
        own = self.own @ size
        # displacements lengthen the levers too
        more = slide.sum() + own.max(initial=0.0)
        hangs = self.lever_m > 0
        each = np.where(hangs, slide + turn * (self.lever_m + more), 0.0)
        a, b = pairs.T
        apart = np.where(hangs[a] & hangs[b], 0.0, each[a] + each[b]).sum(axis=1)
        return np.asarray(apart + own[a] + own[b])


def influence(tree: Tree, motion: Motion, numbers: tuple[Drawn, ...]) -> Influence:
    """Work out the levers of every drawn number on the bodies of a tree over a motion.

    A joint that runs late by s is off by at most its largest rate times s.
    """
    count = len(tree.links)
    turn, slide = np.zeros((count, len(numbers))), np.zeros((count, len(numbers)))
    own = np.zeros((len(tree.bodies), len(numbers)))
    low, high = motion.extremes(order=1)
    rate = np.maximum(np.abs(low), np.abs(high))
    row_of = {tree.joints[column]: row for row, column in enumerate(tree.columns.tolist()) if column >= 0}
    for k, number in enumerate(numbers):
        for joint in number.targets:
            row = row_of[joint]
            by = rate[motion.joints.index(joint)] if number.kind == "lag" else 1.0
            (slide if tree.kinds[row] == 2 else turn)[row, k] = by
        straight = number.part in ("x", "y", "z")
        if number.kind == "bending":
            (slide if straight else turn)[row_of[number.target], k] = 1.0
        elif number.kind == "mount_offset":
            mounting = tree.mounting(number.target)
            if is_held(mounting) or not number.held:
                (slide if straight else turn)[tree.index(f"{number.target}/{mounting.model.root}"), k] = 1.0
        elif number.kind == "body_offset":
            for row, body in enumerate(tree.bodies):
                if body.link == number.target:
                    own[row, k] = 1.0 if straight else far_m(body.pose, bounding_radius_m(body.shape))
    links = np.flatnonzero((turn + slide).any(axis=1))
    return Influence(links, turn[links], slide[links], _levers(tree, motion)[:, links], own)


def _levers(tree: Tree, motion: Motion) -> Array:
    """Return (B, L): how far any point of a body can be from each link it hangs from, links stretched in a line."""
    low, high = motion.extremes()
    return levers_m(tree, dict(zip(motion.joints, np.maximum(np.abs(low), np.abs(high)).tolist(), strict=True)))
