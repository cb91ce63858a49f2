"""What a search of joints is drawn to: a handrail that a glove reaches, a pose of the plate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import pose_error
from armcarry.motion.jacobian import pose_and_jacobian
from armcarry.timeline.handrails import Rail


@dataclass(frozen=True)
class Goal:
    """Where a search is drawn to: error (m,) and its derivative (m, n) at joint positions, and when it is there."""

    pull: Callable[[Array], tuple[Array, Array]]
    reached: Callable[[Array], str | None]


def to_handrail(shoulder: Chain, rails: tuple[Rail, ...], reach_m: float) -> Goal:
    """Return the goal of a shoulder that has the nearest handrail within a glove's reach."""
    starts = np.array([rail.start for rail in rails]).reshape(-1, 3)
    along = np.array([rail.end for rail in rails]).reshape(-1, 3) - starts

    def nearest(point: Array) -> tuple[int, Array, float]:
        share = np.clip(np.einsum("rx,rx->r", point - starts, along) / np.einsum("rx,rx->r", along, along), 0.0, 1.0)
        offset = starts + share[:, None] * along - point
        far = np.linalg.norm(offset, axis=1)
        k = int(np.argmin(far))
        return k, offset[k], float(far[k])

    def pull(q: Array) -> tuple[Array, Array]:
        pose, columns = pose_and_jacobian(shoulder, q[None])
        _, offset, far = nearest(pose[0, :3, 3])
        return _capped(offset * (1 - 0.85 * reach_m / far)), columns[0, :3]

    def reached(q: Array) -> str | None:
        if not len(starts):
            return None
        k, _, far = nearest(shoulder.forward(q)[:3, 3])
        return rails[k].name if far <= reach_m else None

    return Goal(pull, reached)


def to_pose(plate: Chain, pose: Array, reach_m: float, where: str) -> Goal:
    """Return the goal of a plate within reach of a pose; it turns towards it as it goes."""
    weights = np.array([1.0, 1.0, 1.0, 0.5, 0.5, 0.5])

    def pull(q: Array) -> tuple[Array, Array]:
        at, columns = pose_and_jacobian(plate, q[None])
        return _capped(pose_error(at, pose[None])[0] * weights), columns[0] * weights[:, None]

    def reached(q: Array) -> str | None:
        return where if np.linalg.norm(plate.forward(q)[:3, 3] - pose[:3, 3]) <= reach_m else None

    return Goal(pull, reached)


def _capped(error: Array, most: float = 0.8) -> Array:
    return error * min(1.0, most / max(float(np.linalg.norm(error)), 1e-12))
