"""Any triangle mesh to convex pieces that contain it, with a proven bound of how far they stick out.

A box around the mesh is cut by planes along its axes, always the cell that sticks out most and where the cut
saves most volume. The piece of a cell is the convex hull of the surface inside the cell and of those corners of
the cell that lie inside the solid. It contains the solid part: an extreme point of that part lies on the surface
or is a corner of the cell. So a clearance proven of the pieces holds for the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from armcarry.errors import InputError
from armcarry.files.meshes import MAX_TRIANGLES, Triangles, exactly_convex
from armcarry.files.samples import COVER, SAMPLES_EACH, halved, sample_count, sampled
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import ConvexMesh, volume_m3

#: places of trial cuts along each axis, as shares of the cell
CUTS = (0.2, 0.35, 0.5, 0.65, 0.8)
#: samples along the diagonal of the mesh when it is measured how far a piece sticks out
FINENESS = 140
#: pieces may be flat to this share of the mesh's size, and are then thickened by it on either side
THIN = 1e-4
#: batches of 64 points of which it is asked whether they lie outside, before they are taken to
TRIES = 4
#: lengths, in steps, to which the skin of a piece is halved in turn when it is measured
COARSE = (8, 4, 2, 1)
#: triangles times pieces at most: cutting a mesh of very many triangles is left to whoever reduces it first
MOST_WORK = 60_000


@dataclass(frozen=True, eq=False)
class Pieces:
    """Convex pieces of a mesh.

    Attributes:
        shapes: the pieces, in the mesh's frame; together they contain it.
        error_m: no point of a piece is farther than this outside the mesh (bound, not a sample); 0 for a convex mesh.
        closed: whether the surface encloses a solid; of an open one only the surface is contained.
        share: volume of the pieces over that of the solid; nan for an open surface. Overlaps count twice.
        coarser: how many times as long as usual the steps were in which it was measured how far pieces stick out, so
            that a surface of many large triangles is measured at all.
    """

    shapes: tuple[ConvexMesh, ...]
    error_m: float
    closed: bool
    share: float
    coarser: float = 1.0


@dataclass(frozen=True, eq=False)
class _Cell:
    low: Array
    high: Array
    soup: Array  # (k, 3, 3) the surface inside
    shape: ConvexMesh
    error_m: float


def convex_pieces(
    mesh: Triangles, closed: bool, *, tolerance_m: float = 0.01, most: int = 16, most_triangles: int = MAX_TRIANGLES
) -> Pieces:
    """Cut a mesh into convex pieces until none sticks out by more than a tolerance.

    Args:
        mesh: the surface in metres.
        closed: whether it encloses a solid with its faces outward.
        tolerance_m: how far pieces may stick out; bounds finer than the sampling cannot be reached, so ``error_m``
            of the answer may be more.
        most: number of pieces at which cutting stops whatever the error; fewer for very many triangles.
        most_triangles: what may be read; how finely a surface is sampled goes with it.

    Raises:
        InputError: no triangles.
    """
    soup = mesh.vertices[mesh.faces]
    if len(soup) == 0:
        raise InputError("the mesh has no triangles")
    whole = exactly_convex(mesh) if closed else None
    if whole is not None:
        return Pieces((whole,), 0.0, True, 1.0)
    work = _Work(soup, closed, SAMPLES_EACH * most_triangles)
    cells = [work.cell(work.low, work.high, soup)]
    done: list[_Cell] = []
    most = min(most, most_pieces(len(soup)))
    while cells and len(cells) + len(done) < most:
        worst = max(range(len(cells)), key=lambda k: cells[k].error_m)
        if cells[worst].error_m <= tolerance_m:
            break
        cell = cells.pop(worst)
        parts = work.split(cell)
        if parts is None:
            done.append(cell)
        else:
            cells.extend(parts)
    cells.extend(done)
    solid = mesh.volume if closed else float("nan")
    share = sum(volume_m3(cell.shape) for cell in cells) / solid
    return Pieces(tuple(cell.shape for cell in cells), max(cell.error_m for cell in cells), closed, share, work.coarser)


def most_pieces(triangles: int) -> int:
    """Return how many pieces a mesh of so many triangles is cut into at most."""
    return max(1, MOST_WORK // triangles)


class _Work:
    """The mesh, and what is asked of it again and again."""

    def __init__(self, soup: Array, closed: bool, most_samples: int = SAMPLES_EACH * MAX_TRIANGLES) -> None:
        from scipy.spatial import cKDTree

        self.soup, self.closed = soup, closed
        points = soup.reshape(-1, 3)
        self.low, self.high = points.min(axis=0), points.max(axis=0)
        self.size = float(np.linalg.norm(self.high - self.low))
        self.coarser = 1.0
        # how many samples there will be is known before there are any
        while sample_count(soup, self.coarser * self.size / FINENESS) > most_samples:
            self.coarser *= 1.25
        self.step = self.coarser * self.size / FINENESS
        samples = sampled(soup, self.step)
        self.near = cKDTree(samples)
        self.inner = self._inner(samples) if closed else np.zeros((0, 0, 0), dtype=bool)

    def _inner(self, samples: Array) -> np.ndarray:
        """Return the cubes of a grid, ``step`` wide, that lie wholly inside the solid.

        The cube of a surface point is that of a sample or a neighbour of it, for samples are closer than a step;
        so a region of cubes without samples in or beside them is wholly inside or wholly outside, and one point
        of it tells which.
        """
        from scipy.ndimage import binary_dilation, label

        at = self._cube(samples)
        skin = np.zeros(at.max(axis=0) + 2, dtype=bool)
        skin[tuple(at.T)] = True
        regions, count = label(~binary_dilation(skin, np.ones((3, 3, 3), dtype=bool)))
        first = np.unique(regions, return_index=True)[1][-count:] if count else np.zeros(0, dtype=int)
        centres = (np.stack(np.unravel_index(first, regions.shape), axis=1) - 0.5) * self.step + self.low
        inside = np.concatenate([[False], winding(centres, self.soup) > 0.5])
        return np.asarray(inside[regions])

    def _cube(self, points: Array) -> np.ndarray:
        return np.asarray(np.floor((points - self.low) / self.step).astype(int) + 1)

    def surely_inside(self, points: Array) -> np.ndarray:
        """Tell of points (p, 3) whether they lie in a cube that is wholly inside the solid."""
        at = self._cube(points)
        known = np.all((at >= 0) & (at < self.inner.shape), axis=1)
        result = np.zeros(len(points), dtype=bool)
        result[known] = self.inner[tuple(at[known].T)]
        return result

    def cell(self, low: Array, high: Array, soup: Array) -> _Cell:
        shape = self.hull(low, high, soup)
        return _Cell(low, high, soup, shape, self.error(shape))

    def hull(self, low: Array, high: Array, soup: Array) -> ConvexMesh:
        points = np.concatenate([soup.reshape(-1, 3), self.corners(low, high)])
        try:
            return ConvexMesh.hull_of(points)
        except InputError:  # flat: give it a little thickness, outward on either side
            thick = THIN * self.size
            moves = np.array(list(product((-thick, thick), repeat=3)))
            return ConvexMesh.hull_of((points[:, None] + moves).reshape(-1, 3))

    def corners(self, low: Array, high: Array) -> Array:
        """Return the corners of a cell that lie inside the solid; those of the outer box do not."""
        if not self.closed:
            return np.zeros((0, 3))
        corners = np.array(list(product(*zip(low, high, strict=True))))
        inner = np.all((corners > self.low) & (corners < self.high), axis=1)
        corners = corners[inner]
        return corners[np.abs(winding(corners, self.soup)) > 0.25] if len(corners) else corners

    def error(self, shape: ConvexMesh) -> float:
        """Bound how far a hull sticks out: farthest sample of its skin, and what lies between samples.

        The skin is halved from coarse to fine; what cannot hold the farthest point is dropped on the way.
        """
        skin, farthest = shape.vertices_m[shape.faces], 0.0
        for coarse in COARSE:
            skin = halved(skin, coarse * self.step)
            points = skin.mean(axis=1)
            # what is asked of a tree deep inside is slow, for much of the surface is about as far from there
            ask = ~self.surely_inside(points) if self.closed else np.ones(len(points), dtype=bool)
            apart = np.zeros(len(points))
            apart[ask] = self.near.query(points[ask])[0]
            farthest = self._outside(points, apart, farthest, last=coarse == COARSE[-1])
            # every point of a part is within COVER * step of its middle, and distance to a set changes no faster
            skin = skin[apart + COVER * coarse * self.step > farthest]
        return farthest + COVER * self.step

    def _outside(self, points: Array, apart: Array, farthest: float, last: bool) -> float:
        """Return how far the farthest of points (p, 3) outside the solid is, if it is beyond ``farthest``."""
        order = np.argsort(-apart)
        for start in range(0, len(order), 64):
            batch = order[start : start + 64]
            if apart[batch[0]] <= farthest:
                break
            # after some tries all that is left counts as outside: a larger bound, sooner
            if not self.closed or start >= 64 * (TRIES if last else 1):
                return float(apart[batch[0]]) if last or not self.closed else farthest
            outside = winding(points[batch], self.soup) < 0.5
            if outside.any():
                return max(farthest, float(apart[batch[np.argmax(outside)]]))
        return farthest

    def split(self, cell: _Cell) -> list[_Cell] | None:
        """Return the two parts of a cell by the cut that saves most volume; None if no cut can make it stick out less.

        Where none saves any the longest side is halved: both halves of a bowl fill as much as the bowl did, and only
        their halves fill less.
        """
        if cell.error_m <= COVER * self.step:
            return None
        best: tuple[float, int, float] | None = None
        for axis in range(3):
            points = cell.soup[:, :, axis]
            first, last = float(points.min()), float(points.max())
            if last - first < 4 * self.step:
                continue
            for share in CUTS:
                at = first + share * (last - first)
                volume = sum(volume_m3(self.hull(*part)) for part in self._parts(cell, axis, at))
                if best is None or volume < best[0]:
                    best = (volume, axis, at)
        if best is None or best[0] >= volume_m3(cell.shape) * 0.999:
            points = cell.soup.reshape(-1, 3)
            low, high = points.min(axis=0), points.max(axis=0)
            axis = int(np.argmax(high - low))
            if high[axis] - low[axis] <= self.step:
                return None
            best = (0.0, axis, float(low[axis] + high[axis]) / 2)
        return [self.cell(*part) for part in self._parts(cell, best[1], best[2])]

    def _parts(self, cell: _Cell, axis: int, at: float) -> list[tuple[Array, Array, Array]]:
        below, above = clip(cell.soup, axis, at)
        high, low = cell.high.copy(), cell.low.copy()
        high[axis] = low[axis] = at
        found = [(cell.low, high, below), (low, cell.high, above)]
        return [part for part in found if len(part[2])]


def clip(soup: Array, axis: int, at: float) -> tuple[Array, Array]:
    """Cut triangles (k, 3, 3) by a plane across an axis; return those below (<= at) and above it."""
    side = soup[:, :, axis] > at
    count = side.sum(axis=1)
    below, above = [soup[count == 0]], [soup[count == 3]]
    for lone_above in (True, False):
        mixed = count == (1 if lone_above else 2)
        if not mixed.any():
            continue
        part, flags = soup[mixed], side[mixed] == lone_above
        first = np.argmax(flags, axis=1)  # the corner that is alone on its side, then the others in turn
        turned = np.take_along_axis(part, ((first[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
        a, b, c = turned[:, 0], turned[:, 1], turned[:, 2]
        ab, ac = _between(a, b, axis, at), _between(a, c, axis, at)
        lone = np.stack([a, ab, ac], axis=1)
        rest = np.concatenate([np.stack([ab, b, c], axis=1), np.stack([ab, c, ac], axis=1)])
        (above if lone_above else below).append(lone)
        (below if lone_above else above).append(rest)
    return np.concatenate(below), np.concatenate(above)


def _between(a: Array, b: Array, axis: int, at: float) -> Array:
    share = (at - a[:, axis]) / (b[:, axis] - a[:, axis])
    point = a + share[:, None] * (b - a)
    point[:, axis] = at
    return np.asarray(point)


def winding(points: Array, soup: Array) -> Array:
    """Return how often a closed surface (k, 3, 3) winds round points (p, 3): 1 inside, 0 outside.

    Solid angles after van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125.
    """
    result = np.zeros(len(points))
    chunk = max(1, 1_000_000 // max(1, len(soup)))
    for start in range(0, len(points), chunk):
        a, b, c = (soup[None, :, k] - points[start : start + chunk, None] for k in range(3))
        la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
        over = np.einsum("pki,pki->pk", a, np.cross(b, c))
        under = (
            la * lb * lc + np.einsum("pki,pki->pk", a, b) * lc + np.einsum("pki,pki->pk", a, c) * lb
            + np.einsum("pki,pki->pk", b, c) * la
        )
        result[start : start + chunk] = np.arctan2(over, under).sum(axis=1) / (2 * np.pi)
    return result
