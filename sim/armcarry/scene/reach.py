"""Where a suited crewmember's hands can work and what the visor sees, as signed margins in metres.

The envelope is a ball about each shoulder, cut by a cone about the chest's forward axis and kept away from
the chest. Lengths of the bare body come from ANSUR II (Gordon et al. 2014, NATICK/TR-15/007; the values are
in shared/tables/ansur_ii.csv); what a suit leaves of them is an assumption of the crew document.

An alternative in print is a cylinder centred on the body's centreline, found from suited tests in a foot
restraint (MIT Man Vehicle Laboratory, work envelope page). Its dimensions are not published there, so it is
not used here; the balls about the shoulders need only lengths that are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.files.documents.bodies import CrewDocument, ReachEnvelope
from armcarry.geometry import poses
from armcarry.geometry.poses import Array


@dataclass(frozen=True)
class CrewFrames:
    """Full names of the frames of one crewmember that reach and sight ask for."""

    chest: str
    visor: str
    shoulders: tuple[str, str]

    @staticmethod
    def of(instance: str, document: CrewDocument) -> CrewFrames:
        """Name the frames of a crewmember placed under ``instance``."""
        left, right = document.shoulders
        return CrewFrames(
            chest=f"{instance}/{document.chest}",
            visor=f"{instance}/{document.visor}",
            shoulders=(f"{instance}/{left}", f"{instance}/{right}"),
        )

    @property
    def links(self) -> tuple[str, str, str, str]:
        """Chest, visor, first and second shoulder."""
        return (self.chest, self.visor, *self.shoulders)


@dataclass(frozen=True, eq=False)
class HandMargins:
    """How far inside the envelope points are, metres; negative outside.

    Inside, ``two_hand_m`` is the distance to the nearest boundary of the two-hand envelope; ``one_hand_m``
    is the larger of the margins of either hand, so never more than the distance to the boundary of what
    either hand reaches. Outside, the amount says how much the most broken limit is exceeded.

    Attributes:
        one_hand_m, two_hand_m: (...).
        nearer: (...) 0 or 1, the shoulder nearer to the point.
    """

    one_hand_m: Array
    two_hand_m: Array
    nearer: np.ndarray


def cone_margin_m(points_m: ArrayLike, half_angle_rad: float) -> Array:
    """Return the signed distance of points (..., 3) to the cone about +x from the origin, positive inside.

    Args:
        points_m: in the cone's frame, apex at the origin.
        half_angle_rad: between 0 and pi; over pi/2 the cone holds more than half of space.
    """
    points = np.asarray(points_m, dtype=float)
    range_m = np.linalg.norm(points, axis=-1)
    inside = half_angle_rad - np.arctan2(np.hypot(points[..., 1], points[..., 2]), points[..., 0])
    # beyond a right angle from the surface the apex is its nearest point
    return np.asarray(range_m * np.sin(np.clip(inside, -np.pi / 2, np.pi / 2)))


def hand_margins(reach: ReachEnvelope, T_x_chest: Array, shoulders_m: ArrayLike, points_m: ArrayLike) -> HandMargins:
    """Measure how far inside the hands' envelope points are.

    Args:
        reach: lengths and cone of this size, m and rad.
        T_x_chest: (..., 4, 4) chest frame, +x forward, in any frame x.
        shoulders_m: (..., 2, 3) both shoulders in x.
        points_m: (..., 3) points in x; all arguments broadcast.

    Returns:
        HandMargins with the broadcast shape (...).
    """
    points = np.asarray(points_m, dtype=float)
    away = np.linalg.norm(np.asarray(shoulders_m, dtype=float) - points[..., None, :], axis=-1)
    from_chest = poses.apply(poses.inverse(T_x_chest), points)
    common = np.minimum(
        np.linalg.norm(from_chest, axis=-1) - reach.nearest, cone_margin_m(from_chest, reach.half_angle)
    )
    return HandMargins(
        one_hand_m=np.minimum(reach.one_hand - away.min(axis=-1), common),
        two_hand_m=np.minimum(reach.two_hand - away.max(axis=-1), common),
        nearer=np.argmin(away, axis=-1),
    )


def sight_margin_m(T_x_visor: Array, points_m: ArrayLike, half_angle_rad: float) -> Array:
    """Return how far inside the visor's cone of view points (..., 3) are, metres, negative outside.

    Args:
        T_x_visor: (..., 4, 4) visor frame, +x forward, in the frame of the points.
        points_m: broadcasts with the poses.
        half_angle_rad: half angle of the view about +x.
    """
    return cone_margin_m(poses.apply(poses.inverse(T_x_visor), points_m), half_angle_rad)
