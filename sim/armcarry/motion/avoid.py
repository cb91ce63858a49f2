"""One step of joints towards a goal that keeps its distance: least squares under linear limits.

The error is brought down as far as velocity dampers allow (B. Faverjon and P. Tournassoud, A local based
approach for path planning of manipulators with a high number of degrees of freedom, ICRA 1987): a distance may
shrink in one step by no more than a share of what is left of it. The problem is small and strictly convex; it
is turned into one of least distance and solved by non-negative least squares (C. Lawson and R. Hanson, Solving
Least Squares Problems, 1974, ch. 23).
"""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array


def avoiding_step(
    columns: Array, error: Array, gradient: Array, room: Array, lowest: Array, highest: Array, damping: float = 0.02
) -> Array | None:
    """Return the joint step (n,) that lessens an error most without using up more room than there is.

    Minimises ``|columns x - error|^2 + damping |x|^2`` subject to ``gradient x >= -room`` and
    ``lowest <= x <= highest``.

    Args:
        columns: (m, n) derivative of what is to be brought to the error, per joint.
        error: (m,).
        gradient: (c, n) derivative of c distances.
        room: (c,) by how much each may shrink; negative where it must grow.
        lowest, highest: (n,) of the step.
        damping: greater than 0.

    Returns:
        None where no step satisfies all limits.
    """
    from scipy.optimize import nnls

    count = columns.shape[1]
    root = np.linalg.cholesky(columns.T @ columns + damping * np.eye(count))
    free = np.linalg.solve(root.T, np.linalg.solve(root, columns.T @ error))
    limits = np.vstack([gradient, np.eye(count), -np.eye(count)])
    least = np.concatenate([-room, lowest, -highest])
    # with x = free + root^-T z: the shortest z with (limits root^-T) z >= least - limits free
    wanted = least - limits @ free
    if np.all(wanted <= 0):
        return np.asarray(free)
    table = np.vstack([np.linalg.solve(root, limits.T), wanted])
    goal = np.append(np.zeros(count), 1.0)
    try:
        weights, _ = nnls(table, goal)
    except RuntimeError:  # its rounds are used up: as good as no step
        return None
    rest = table @ weights - goal
    if abs(rest[-1]) < 1e-9:
        return None
    return np.asarray(free - np.linalg.solve(root.T, rest[:-1] / rest[-1]))
