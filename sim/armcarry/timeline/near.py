"""Where along a path the arm or its load is near structure, proven."""

from __future__ import annotations

import numpy as np

from armcarry.clearance import clearance_curve
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree

#: classes that move with the arm, and those it slows down for
MOVING = ("arm", "rider", "hardware")
STANDING = ("structure", "appendage", "vehicle")
#: cells a path is cut into to find where it is near
CELLS = 64
#: how exactly distances need be known for that
BAND_M = 0.1


def near_pairs(scene: Scene, tree: Tree) -> np.ndarray:
    """Return the pairs (P, 2) of body rows of which one moves with the arm and one is structure."""
    classes = np.array(scene.body_classes(tree))
    moving = np.flatnonzero(np.isin(classes, MOVING) & ~_near_base(scene, tree))
    standing = np.flatnonzero(np.isin(classes, STANDING))
    return np.stack(np.meshgrid(moving, standing, indexing="ij"), axis=-1).reshape(-1, 2)


def _near_base(scene: Scene, tree: Tree) -> np.ndarray:
    """Tell which bodies (B,) sit on the arm's base side of its first joint: they never leave structure."""
    first = scene.tree.column(scene.arm_joints[0])
    behind = [first in tree.columns[list(tree.ancestry(body.link))] for body in tree.bodies]
    arm = [body.name.startswith("arm/") for body in tree.bodies]
    return np.asarray(np.array(arm) & ~np.array(behind))


def near_zones(scene: Scene, tree: Tree, path: Motion) -> list[tuple[float, float]]:
    """Return the stretches of s on which something that moves may be within slow_within of structure.

    Proven, not sampled: a stretch left out is one on which nothing is that near at any s.

    Args:
        scene: rules and classes.
        tree: the tree while the move is made.
        path: the whole joint vector over s in [0, 1].
    """
    within = scene.loaded.rules.slow_within
    curve = clearance_curve(
        tree, path, near_pairs(scene, tree), cells=CELLS, band_m=BAND_M, report_distance_m=within
    )
    zones: list[tuple[float, float]] = []
    for first, last, lower in zip(curve.times_s[:-1], curve.times_s[1:], curve.lower_m[0], strict=True):
        if lower >= within:
            continue
        if zones and zones[-1][1] == first:
            zones[-1] = (zones[-1][0], float(last))
        else:
            zones.append((float(first), float(last)))
    return zones
