"""How close anything that moves comes to every small face of chosen bodies, such as the structure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.frames import place_bodies
from armcarry.clearance.groups import least_of_groups
from armcarry.clearance.prover import FARTHER, Prover
from armcarry.clearance.skin import halved, skin
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

#: faces are first asked about this many times coarser, and halved where something comes near
_COARSE = 16


@dataclass(frozen=True, eq=False)
class SurfaceMap:
    """Closest approach to F faces.

    The least distance, at every instant of the motion, between any of the moving bodies and any point of face k
    of the body's true surface lies between ``lower_m[k]`` and ``upper_m[k]``. Edges are longer than asked only
    where all that moves was proven to stay beyond the report distance of the whole face.

    Attributes:
        corners_m: (F, 3, 3) each in the frame of its body.
        body: (F,) row of the face's body in ``tree.bodies``.
        lower_m: (F,) proven, at most the report distance; 0 where something comes nearer than the face is small.
        upper_m: (F,) inf where all was proven beyond the report distance.
    """

    corners_m: Array
    body: np.ndarray
    lower_m: Array
    upper_m: Array

@dataclass(frozen=True, eq=False)
class _Faces:
    """Faces (F) of bodies, and the pairs (P) of a face and a moving body that may come near it."""

    corners: Array
    body: np.ndarray
    bulge: Array
    face: np.ndarray
    mover: np.ndarray

    def balls(self) -> tuple[Array, Array]:
        """Return centres (F, 3) and radii (F,) of balls that hold each face of the true surface."""
        centres = self.corners.mean(axis=1)
        return centres, np.linalg.norm(self.corners - centres[:, None], axis=2).max(axis=1) + self.bulge

    def halved(self, keep: np.ndarray, edge_m: float) -> _Faces:
        """Return the faces of the kept pairs (P,), halved to edge_m, each half with all pairs of its face."""
        used = np.unique(self.face[keep])
        corners, source = halved(self.corners[used], edge_m)
        parents = used[source]
        pieces = np.bincount(parents, minlength=len(self.corners))
        first = np.cumsum(pieces) - pieces
        face, mover = self.face[keep], self.mover[keep]
        many = pieces[face]
        begin = np.repeat(np.cumsum(many) - many, many)
        return _Faces(
            corners, self.body[parents], self.bulge[parents],
            np.repeat(first[face], many) + np.arange(many.sum()) - begin, np.repeat(mover, many),
        )  # fmt: skip

    def take(self, rows: np.ndarray) -> tuple[Array, np.ndarray]:
        """Return corners and bodies of some faces."""
        return self.corners[rows], self.body[rows]


@dataclass(frozen=True, eq=False)
class Stretch:
    """A tree that holds from start_s to end_s of a motion; all of it by default.

    ``moving`` names the bodies that count in this stretch, where they are not the same in all: hardware counts
    from when it is taken.
    """

    tree: Tree
    motion: Motion
    start_s: float | None = None
    end_s: float | None = None
    moving: Sequence[int] | np.ndarray | None = None

    def rows(self, otherwise: Sequence[int] | np.ndarray) -> np.ndarray:
        """Return the rows (B,) of the bodies that count in this stretch."""
        return np.asarray(otherwise if self.moving is None else self.moving, dtype=np.int64)


def surface_map(
    stretches: Sequence[Stretch],
    surfaces: Sequence[int] | np.ndarray,
    moving: Sequence[int] | np.ndarray,
    *,
    edge_m: float = 0.25,
    report_distance_m: float = 3.0,
    tolerance_m: float = 0.02,
) -> SurfaceMap:
    """Bound how close moving bodies come to every face of other bodies, over all stretches of a run.

    Args:
        stretches: trees with the same bodies in the same order, each with its part of the motion.
        surfaces: rows of the bodies whose faces are asked about.
        moving: rows of the bodies that approach them, where a stretch does not name its own.
        edge_m: no edge of a face within the report distance is longer.
        report_distance_m: nothing is refined beyond this.
        tolerance_m: how exactly the distance to the ball about each face is bounded.

    Raises:
        FrameError: a row is not in a tree.
        MotionError: a needed joint is missing or jumps inside a stretch, or a stretch is not inside its motion.
    """
    rows = np.asarray(surfaces, dtype=np.int64)
    edge, parts = edge_m * _COARSE, []
    faces = _whole_bodies(stretches, rows, moving, edge_m, report_distance_m)
    while edge > edge_m:
        lower, _ = _ask(stretches, moving, faces, np.arange(len(faces.face)), np.inf, report_distance_m)
        near = lower[: len(faces.face)] < report_distance_m
        far = np.setdiff1d(np.arange(len(faces.corners)), faces.face[near])
        parts.append((*faces.take(far), np.full(len(far), report_distance_m), np.full(len(far), np.inf)))
        edge /= 2
        faces = faces.halved(near, edge)
    lower, upper = _ask(stretches, moving, faces, faces.face, tolerance_m, report_distance_m)
    count = len(faces.corners)
    upper = upper[:count] + faces.balls()[1] + faces.bulge
    parts.append((faces.corners, faces.body, np.clip(lower[:count], 0.0, report_distance_m), upper))
    corners, body, low, high = (np.concatenate([part[k] for part in parts]) for k in range(4))
    return SurfaceMap(corners, body, low, high)


def _whole_bodies(
    stretches: Sequence[Stretch], surfaces: np.ndarray, moving: Sequence[int] | np.ndarray, edge_m: float,
    report_m: float,
) -> _Faces:  # fmt: skip
    """Return coarse faces of all surfaces, each paired with the bodies that come near its body."""
    every = np.unique(np.concatenate([part.rows(moving) for part in stretches]))
    pairs = np.array([(int(a), int(b)) for a in surfaces for b in every if a != b], dtype=np.int64).reshape(-1, 2)
    near = np.zeros(len(pairs), dtype=bool)
    for part in stretches:
        counts = np.isin(pairs[:, 1], part.rows(moving))
        bounds = Prover(part.tree, pairs[counts]).bounds(
            part.motion, tolerance_m=0.1, report_distance_m=report_m, start_s=part.start_s, end_s=part.end_s
        )
        near[counts] |= bounds.status != FARTHER
    corners, bulge, face, mover, count = [], [], [], [], 0
    for row in surfaces.tolist():
        one = skin(stretches[0].tree.bodies[row].shape, edge_m, divide_m=edge_m * _COARSE)
        shape = one.vertices_m[one.faces]
        others = pairs[near & (pairs[:, 0] == row), 1]
        corners.append(shape)
        bulge.append(np.full(len(shape), one.bulge_m))
        face.append(np.repeat(np.arange(count, count + len(shape)), len(others)))
        mover.append(np.tile(others, len(shape)))
        count += len(shape)
    sizes = [len(part) for part in corners]
    return _Faces(
        np.concatenate(corners), np.repeat(surfaces, sizes), np.concatenate(bulge), np.concatenate(face),
        np.concatenate(mover),
    )  # fmt: skip


def _ask(
    stretches: Sequence[Stretch], moving: Sequence[int] | np.ndarray, faces: _Faces, groups: np.ndarray,
    tolerance_m: float, report_m: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Bound the least distance of the balls about faces from the bodies paired with them, group by group."""
    centres, radii = faces.balls()
    lower, upper = np.full(len(groups) + len(radii), np.inf), np.full(len(groups) + len(radii), np.inf)
    if not len(groups):
        return lower, upper
    for part in stretches:
        counts = np.isin(faces.mover, part.rows(moving))
        if not counts.any():
            continue
        placed = place_bodies(part.tree)
        local = centres - placed.solids.centre[faces.body]  # a mesh's core frame sits at its middle
        pairs = np.stack([len(placed.frame) + faces.face, faces.mover], axis=1)[counts]
        prover = Prover(part.tree, pairs, placed.with_balls(faces.body, local, radii).lay_out(pairs))
        prover.start_small()
        found = least_of_groups(
            prover, part.motion, groups[counts], tolerance_m=tolerance_m, report_distance_m=report_m,
            start_s=part.start_s, end_s=part.end_s,
        )  # fmt: skip
        count = len(found.lower_m)
        lower[:count] = np.minimum(lower[:count], found.lower_m)
        upper[:count] = np.minimum(upper[:count], found.upper_m)
    return lower, upper
