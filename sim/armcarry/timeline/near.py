"""Where along a path the arm or its load is near structure, proven."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance import Prover, clearance_curve
from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Sphere, bounding_radius_m
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree

#: classes that move with the arm, and those it slows down for
MOVING = ("arm", "rider", "hardware")
STANDING = ("structure", "appendage", "vehicle")
#: cells a path is cut into to find where it is near
CELLS = 64
#: how exactly distances need be known for that
BAND_M = 0.1


@dataclass(frozen=True, eq=False)
class NearPairs:
    """What the arm slows down for, and what is left out of that.

    Attributes:
        pairs: (P, 2) body rows, one moved by the arm's joints and one of structure.
        inside: body rows of parts that never leave a ball of slow_within around the arm's first joint: not in pairs.
        beside: body rows of parts that always reach into that ball: not paired with structure that does too.
    """

    pairs: np.ndarray
    inside: np.ndarray
    beside: np.ndarray


def near_pairs(scene: Scene, tree: Tree, base_at: Array, *, stands: bool = False) -> np.ndarray:
    """Return the pairs (P, 2) of ``pairs_near``."""
    return pairs_near(scene, tree, base_at, stands=stands).pairs


def all_else_stands(scene: Scene, motion: Motion) -> bool:
    """Tell whether a motion of all joints of the tree moves the arm's alone."""
    return not np.delete(motion.moving, scene.arm_columns).any()


def pairs_near(scene: Scene, tree: Tree, base_at: Array, *, stands: bool = False) -> NearPairs:
    """Find the pairs of body rows of which one is moved by the arm's joints and one is structure.

    The arm always stands near something, which must not make it slow everywhere. So, with a ball of slow_within
    around its first joint, these are left out: parts of the arm that never leave the ball, against all; and
    parts that always reach into it (the near end of the first boom), against structure that does too. There a
    part moves slowly at any rate. Hardware and riders that the arm does not carry are left out as well.

    Args:
        scene: rules and classes.
        tree: the tree meanwhile.
        base_at: (K, n) joint vectors at the ends of what the arm's base does.
        stands: nothing but the arm's joints moves; what no part of the arm reaches is left out then.
    """
    within = scene.loaded.rules.slow_within
    classes = np.array(scene.body_classes(tree))
    first = scene.tree.column(scene.arm_joints[0])
    moving = np.flatnonzero(np.isin(classes, MOVING) & (scene.arm_joints_behind(tree) > 0))
    standing = np.flatnonzero(np.isin(classes, STANDING))
    if not len(moving) or not len(standing):
        none = np.zeros(0, dtype=np.int64)
        return NearPairs(none.reshape(0, 2), none, none)
    least, most = _chain_m(tree, first, moving)
    inside = moving[most <= within]
    moving, least = moving[most > within], least[most > within]
    nearest, farthest = _to_root_m(tree, first, standing, base_at)
    beside = (least[:, None] <= within) & (farthest <= within)
    kept = ~beside
    if stands:
        reached = kept & (most[most > within][:, None] + within >= nearest)
        kept = reached if reached.any() else kept
    pairs = np.stack(np.meshgrid(moving, standing, indexing="ij"), axis=-1)
    return NearPairs(pairs[kept].reshape(-1, 2), inside, moving[beside.any(axis=1)])


def _chain_m(tree: Tree, first: int, bodies: np.ndarray) -> tuple[Array, Array]:
    """Return how far from the origin of joint ``first`` the nearest and the farthest point of bodies (B,) can be."""
    shapes = [*[Sphere(1e-6)] * len(bodies), *(tree.bodies[k].shape for k in bodies)]
    seats = np.stack([tree.bodies[k].pose for k in bodies])
    at = np.concatenate([np.tile(np.eye(4), (len(bodies), 1, 1)), seats])
    rows = np.arange(len(bodies))
    inside = distances(shapes, at[None], np.stack([rows, rows + len(bodies)], axis=1)).upper_m[0]
    chain = np.empty(len(bodies))
    for k, body in enumerate(bodies):
        line = tree.ancestry(tree.bodies[body].link)
        line = line[: [tree.columns[row] for row in line].index(first)]
        slides = any(tree.kinds[row] == 2 for row in line)
        chain[k] = np.inf if slides else sum(np.linalg.norm(tree.origins[row][:3, 3]) for row in line)
    sizes = np.array([bounding_radius_m(tree.bodies[k].shape) for k in bodies])
    return chain + inside, chain + np.linalg.norm(seats[:, :3, 3], axis=1) + sizes


def _to_root_m(tree: Tree, first: int, bodies: np.ndarray, base_at: Array) -> tuple[Array, Array]:
    """Return how far bodies (B,) are at least and at most from the origin of joint ``first`` at ``base_at``."""
    row = int(np.flatnonzero(tree.columns == first)[0])
    poses = forward(tree, np.asarray(base_at))
    shapes = [Sphere(1e-6), *(tree.bodies[k].shape for k in bodies)]
    links = [tree.index(tree.bodies[k].link) for k in bodies]
    seated = poses[:, links] @ np.stack([tree.bodies[k].pose for k in bodies])
    pairs = np.stack([np.zeros(len(bodies), dtype=int), np.arange(len(bodies)) + 1], axis=1)
    root = poses[:, row, None]
    found = distances(shapes, np.concatenate([root, seated], axis=1), pairs)
    return found.lower_m.min(axis=0), found.upper_m.max(axis=0)


def near_zones(
    scene: Scene, tree: Tree, path: Motion, provers: dict[tuple[object, ...], Prover] | None = None
) -> list[tuple[float, float]]:
    """Return the stretches of s on which something that moves may be within slow_within of structure.

    Proven, not sampled: a stretch left out is one on which nothing is that near at any s.

    Args:
        scene: rules and classes.
        tree: the tree while the move is made.
        path: the whole joint vector over s in [0, 1].
        provers: made for earlier paths of the scene; those made now are added.
    """
    within = scene.loaded.rules.slow_within
    ends = np.stack([path.at(path.start_s), path.at(path.end_s)])
    known: dict[tuple[object, ...], Prover] = {} if provers is None else provers
    # what the arm's own joints do moves neither its base nor what stands
    key = (id(tree), all_else_stands(scene, path), np.delete(ends, scene.arm_columns, axis=1).tobytes())
    if key not in known:
        known[key] = Prover(tree, near_pairs(scene, tree, ends, stands=all_else_stands(scene, path)))
    curve = clearance_curve(tree, path, known[key], cells=CELLS, band_m=BAND_M, report_distance_m=within)
    zones: list[tuple[float, float]] = []
    for first, last, lower in zip(curve.times_s[:-1], curve.times_s[1:], curve.lower_m[0], strict=True):
        if lower >= within:
            continue
        if zones and zones[-1][1] == first:
            zones[-1] = (zones[-1][0], float(last))
        else:
            zones.append((float(first), float(last)))
    return zones
