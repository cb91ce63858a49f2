"""How wide the free way around a body is, across the direction it travels in."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array

#: what faces the body at less than this to its way is ahead or behind, not beside it, rad
BESIDE_RAD = np.pi / 4


def free_width_m(
    normals: ArrayLike, points_m: ArrayLike, travel: ArrayLike, centre_m: ArrayLike, most_m: float
) -> float:
    """Return the diameter of the widest free circle across the way of a body.

    The circle lies in the plane across ``travel`` and its centre within half of ``most_m`` of the body's
    centre, in either of two directions across. Each obstacle is taken as everything beyond the plane that
    parts it from the nearest part of the body, so the width is never overstated at the nearest points. Between
    two parallel walls along the way it is the distance of the walls, wherever the body is between them; next
    to one wall alone it is at least most_m.

    Args:
        normals: (N, 3) unit directions from the nearest point of the body to that of each obstacle.
        points_m: (N, 3) the obstacles' nearest points.
        travel: (3,) direction of travel, not zero.
        centre_m: (3,) the body's centre.
        most_m: a wider way than twice this is not told apart.

    Returns:
        Metres, at most 2 * most_m; 0 where no free circle is left.
    """
    way = np.asarray(travel, dtype=float)
    way = way / np.linalg.norm(way)
    across = _across(way)
    facing = np.asarray(normals, dtype=float).reshape(-1, 3) @ across.T
    beside = np.linalg.norm(facing, axis=1)
    kept = beside >= np.sin(BESIDE_RAD)
    facing = facing[kept] / beside[kept, None]
    points = (np.asarray(points_m, dtype=float).reshape(-1, 3)[kept] - np.asarray(centre_m, dtype=float)) @ across.T
    offsets = np.einsum("ij,ij->i", facing, points)
    return 2.0 * min(max(_inscribed_m(facing, offsets, most_m / 2), 0.0), most_m)


def _across(way: Array) -> Array:
    """Return two unit vectors (2, 3) across a unit vector and each other."""
    aside = np.cross(way, np.eye(3)[np.argmin(np.abs(way))])
    aside /= np.linalg.norm(aside)
    return np.stack([aside, np.cross(way, aside)])


def _inscribed_m(facing: Array, offsets: Array, reach_m: float) -> float:
    """Return the largest least distance to lines facing (N, 2) at offsets (N,), from centres within reach_m.

    A linear program in the centre and the radius (the Chebyshev centre of a polygon: Boyd and Vandenberghe,
    *Convex Optimization* (2004), section 4.3.1).
    """
    if not len(facing):
        return np.inf
    from scipy.optimize import linprog

    found = linprog(
        [0.0, 0.0, -1.0],
        A_ub=np.column_stack([facing, np.ones(len(facing))]),
        b_ub=offsets,
        bounds=[(-reach_m, reach_m), (-reach_m, reach_m), (None, None)],
        method="highs",
    )
    return float(np.asarray(found.x)[2])
