"""What the arm, its rider and what it carries sweep in a run, and how close they come to every face of structure."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from armcarry.clearance.envelope import Envelope, swept_envelope
from armcarry.clearance.surface_map import Stretch, SurfaceMap, surface_map
from armcarry.errors import InputError
from armcarry.record.record import Record

#: classes whose faces are asked about
_STANDING = ("structure", "appendage", "vehicle")
#: edges of a grid that a swept room is enclosed on, metres
CELLS_M = (0.01, 2.0)
#: edge of a face, greatest distance told, and how exactly it is bounded, metres
MAP_EDGE_M, MAP_REPORT_M, _MAP_TOLERANCE_M = 0.4, 2.0, 0.05


def stretches(record: Record, carries: Collection[str] = ()) -> list[Stretch]:
    """Return the stretches of a run, or of some of its carries, each with the bodies that hang from the arm's joints.

    Raises:
        InputError: the run has no carry of that name.
    """
    known = list(dict.fromkeys(move.carry for move in record.moves))
    for name in carries:
        if name not in known:
            raise InputError("the run has no carry of this name", found=name, accepted=", ".join(known))
    found = []
    for low, high in _times(record, carries):
        for phase in record.phases:
            start, end = max(low, phase.start_s), min(high, phase.end_s)
            if end > start:
                rows = np.flatnonzero(record.scene.arm_joints_behind(phase.tree))
                found.append(Stretch(phase.tree, record.motion, start, end, rows))
    return found


def envelope(record: Record, carries: Collection[str] = (), cell_m: float = 0.15) -> Envelope:
    """Enclose the room that the arm, its rider and what it holds sweep; see swept_envelope.

    Args:
        record: a run.
        carries: names of carries, all of the run when empty.
        cell_m: edge of the grid it is made on.

    Raises:
        InputError: the run has no carry of that name, nothing moves in it, or the cell has no sensible size.
    """
    if not CELLS_M[0] <= cell_m <= CELLS_M[1]:
        accepted = f"{CELLS_M[0]:g} m to {CELLS_M[1]:g} m"
        raise InputError("no grid is made with this cell", found=f"{cell_m:g} m", accepted=accepted)
    parts = stretches(record, carries)
    if not parts:
        raise InputError("nothing moves in this run, so that nothing is swept")
    return swept_envelope(parts, cell_m=cell_m)


def closest_map(record: Record) -> SurfaceMap:
    """Bound how close the arm, its rider and what it holds come to the faces of what stands around them.

    Relaxed and intended meetings count like all others: hardware in its seat gives zero there.

    Raises:
        InputError: there is nothing that stands around the arm.
    """
    tree = record.phases[0].tree
    standing = np.flatnonzero(np.isin(record.scene.body_classes(tree), _STANDING))
    parts = stretches(record)
    if not len(standing) or not parts:
        raise InputError("the run has no structure, or nothing that moves")
    return surface_map(
        parts, standing, (), edge_m=MAP_EDGE_M, report_distance_m=MAP_REPORT_M, tolerance_m=_MAP_TOLERANCE_M
    )


def _times(record: Record, carries: Collection[str]) -> list[tuple[float, float]]:
    """Return when the carries are flown, neighbours joined; the whole run without names."""
    if not carries:
        return [(record.motion.start_s, record.motion.end_s)]
    found: list[tuple[float, float]] = []
    for move in record.moves:
        if move.carry not in carries or move.end_s <= move.start_s:
            continue
        if found and found[-1][1] >= move.start_s:
            found[-1] = (found[-1][0], move.end_s)
        else:
            found.append((move.start_s, move.end_s))
    return found
