"""The room that moving bodies sweep, as a closed mesh that surely encloses it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armcarry.clearance.arguments import interval
from armcarry.clearance.frames import WORLD_FRAME, Layout, Placed, place_bodies
from armcarry.clearance.polynomials import Curves, load
from armcarry.clearance.prover import Prover
from armcarry.clearance.solids import Solids
from armcarry.clearance.surface_map import Stretch
from armcarry.geometry.poses import Array

#: the grid is made coarser rather than larger than this many points
_MOST_POINTS = 12_000_000
#: no more instants than this are painted in a stretch
_MOST_INSTANTS = 6000


@dataclass(frozen=True, eq=False)
class Envelope:
    """A closed mesh around all that bodies sweep.

    Every point that any of the bodies reaches at any instant is inside: motion between the painted instants is
    covered by its proven bound, and the grid by its diagonal. No point of the mesh is farther than ``excess_m``
    from the swept room.

    Attributes:
        vertices_m: (V, 3) world.
        faces: (F, 3) outward.
        cell_m: edge of the grid it was made on.
        excess_m: how much too large it may be.
    """

    vertices_m: Array
    faces: np.ndarray
    cell_m: float
    excess_m: float


def swept_envelope(
    stretches: Sequence[Stretch], bodies: Sequence[int] | np.ndarray = (), *, cell_m: float = 0.15
) -> Envelope:
    """Enclose the room that bodies sweep over all stretches of a run.

    Args:
        stretches: trees with the same bodies in the same order, each with its part of the motion.
        bodies: rows of the bodies that sweep, where a stretch does not name its own.
        cell_m: edge of the grid; made larger where the room would need too many points.

    Raises:
        FrameError: a row is not in a tree.
        MotionError: a needed joint is missing or jumps inside a stretch, or a stretch is not inside its motion.
        ValueError: no bodies or no stretches, or a cell that is not more than 0.
    """
    parts = [(part, rows) for part in stretches if len(rows := part.rows(bodies))]
    if not parts:
        raise ValueError("an envelope needs at least one body and one stretch")
    if not cell_m > 0.0:
        raise ValueError(f"a grid needs a cell of more than 0 m, found {cell_m:g} m")
    plans = [_plan(part, rows) for part, rows in parts]
    low = np.min([plan.low for plan in plans], axis=0)
    high = np.max([plan.high for plan in plans], axis=0)
    # at least coarse enough to fit, with room for the level and the slack around
    cell = max(cell_m, float(np.cbrt(np.prod(high - low + 8 * cell_m) / _MOST_POINTS)))
    level = cell * (np.sqrt(3.0) + 1e-3)
    margin = level + 3.0 * cell
    while True:
        origin = low - margin
        field = np.full(tuple(np.ceil((high - low + 2 * margin) / cell).astype(int) + 1), 100.0, dtype=np.float32)
        slack = max(_paint(plan, cell, origin, level, field) for plan in plans)
        if slack + level + cell <= margin:
            break
        margin = slack + level + 2 * cell
    vertices, faces = _contour(field, origin, cell, level)
    return Envelope(vertices, faces, cell, level + cell + slack)


@dataclass(frozen=True, eq=False)
class _Plan:
    """One stretch made ready: layout with a probe point, motion, and the box its bodies stay in."""

    part: Stretch
    layout: Layout
    curves: Curves
    start: float
    end: float
    low: Array
    high: Array


def _plan(part: Stretch, bodies: np.ndarray) -> _Plan:
    placed = _with_probe(place_bodies(part.tree))
    start, end = interval(part.motion, part.start_s, part.end_s)
    pairs = np.stack([bodies, np.full(len(bodies), len(placed.frame) - 1)], axis=1)
    Prover(part.tree, np.stack([bodies, np.where(bodies == 0, 1, 0)], axis=1))  # names a row that is not there
    layout = placed.lay_out(pairs)
    plan = _Plan(part, layout, load(layout, part.motion, start, end), start, end, np.zeros(3), np.zeros(3))
    low, high = _box(plan, bodies)
    return replace(plan, low=low, high=high)


def _with_probe(placed: Placed) -> Placed:
    """Add a point fixed to the world."""
    solids = placed.solids
    core = np.zeros((1, 12))
    core[0, [0, 4, 8]] = 1.0
    return Placed(
        placed.joints, placed.frames,
        Solids(
            np.vstack([solids.form, np.zeros((1, 3), dtype=np.int64)]), np.vstack([solids.size, np.zeros((1, 5))]),
            solids.verts, np.vstack([solids.centre, np.zeros((1, 3))]),
        ),
        np.append(placed.frame, WORLD_FRAME), np.vstack([placed.core, core]),
    )  # fmt: skip


def _box(plan: _Plan, bodies: np.ndarray) -> tuple[Array, Array]:
    """Return a box that holds the bodies at 400 instants."""
    from armcarry.motion.forward import forward

    tree, motion = plan.part.tree, plan.part.motion
    columns = motion.columns_of([name for name in tree.joints if name in motion.joints])
    named = np.array([k for k, name in enumerate(tree.joints) if name in motion.joints], dtype=np.int64)
    q = np.zeros((400, len(tree.joints)))
    q[:, named] = motion.at(np.linspace(plan.start, plan.end, 400))[:, columns]
    poses = forward(tree, q, [tree.bodies[row].link for row in bodies])
    poses = poses @ np.stack([tree.bodies[row].pose for row in bodies])
    centre = np.einsum("nbij,bj->nbi", poses[..., :3, :3], plan.layout.solids.centre[bodies]) + poses[..., :3, 3]
    bound = plan.layout.solids.size[bodies, 4][:, None]
    return (centre - bound).min(axis=(0, 1)), (centre + bound).max(axis=(0, 1))


def _paint(plan: _Plan, cell: float, origin: Array, level: float, field: np.ndarray) -> float:
    """Paint one stretch; return the largest slack between instants."""
    from armcarry.clearance.paint import paint

    probe = int(np.flatnonzero(plan.layout.movers.body == len(plan.layout.solids.form) - 1)[0])
    times, worst = _instants(plan, cell), 0.0

    def ask(book: int) -> bool:
        nonlocal worst
        worst = float(paint(book, probe, times, origin, cell, level, field))
        return worst >= 0.0

    Prover(plan.part.tree, np.zeros((0, 2), dtype=np.int64), plan.layout).run(plan.curves, ask)
    return worst


def _instants(plan: _Plan, cell: float) -> Array:
    """Return instants between which no point moves much more than a cell, as far as travel tells."""
    breaks, travel = plan.curves.breaks, plan.curves.travel
    step = max(cell, float(travel.sum()) / (_MOST_INSTANTS - len(travel) * 0.5))
    counts = np.maximum(np.ceil(travel / step).astype(int), 1)
    times = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(breaks[:-1], breaks[1:], counts, strict=True)]
    inside = np.concatenate([*times, breaks[-1:]])
    inside = inside[(inside > plan.start) & (inside < plan.end)]
    return np.concatenate([[plan.start], inside, [plan.end]])


def _contour(field: np.ndarray, origin: Array, cell: float, level: float) -> tuple[Array, np.ndarray]:
    """Return the closed surface where the field is level, outward."""
    import pyvista

    grid = pyvista.ImageData(dimensions=field.shape, spacing=(cell,) * 3, origin=tuple(origin))
    surface = grid.contour([level], scalars=field.ravel(order="F"), method="flying_edges", compute_normals=False)
    vertices = np.asarray(surface.points, dtype=float)
    faces = np.asarray(surface.faces, dtype=np.int64).reshape(-1, 4)[:, 1:]
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    if np.einsum("ij,ij->", a - a[0], np.cross(b - a[0], c - a[0])) < 0.0:
        faces = faces[:, ::-1]
    return vertices, np.ascontiguousarray(faces)
