"""Other engines' distance of two bodies at rest: a second opinion on what our own proof says.

Each engine has a band inside which it is trusted, measured on random and degenerate pairs: coal to 0.05 mm,
pybullet to 3 mm (its box-box distance is up to 1.4 mm too large, its hulls carry a margin of 1 mm each).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from typing import Any

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere

#: how far an engine may be off, metres
BANDS_M = {"coal": 5e-5, "pybullet": 3e-3}
@dataclass(frozen=True)
class Opinion:
    """One engine's answer on one pair at one instant, beside our bounds of the same distance."""

    engine: str
    body_a: str
    body_b: str
    time_s: float
    theirs_m: float
    lower_m: float
    upper_m: float

    @property
    def off_m(self) -> float:
        """How far the answer is outside our bounds, metres; 0 inside. In contact any answer up to 0 is inside."""
        if self.upper_m <= 0.0:
            return max(0.0, self.theirs_m)
        return max(0.0, self.lower_m - self.theirs_m, self.theirs_m - self.upper_m)

    @property
    def agrees(self) -> bool:
        """Whether the answer is inside our bounds widened by the engine's own band."""
        return self.off_m <= BANDS_M[self.engine]


@dataclass(frozen=True)
class StopOpinion:
    """One engine's run-out of a stop commanded at an instant, beside ours, both from when the brakes take hold.

    Attributes:
        theirs_m, ours_m: way of the tip to rest.
        theirs_s, ours_s: time to rest.
        joint, off: the joint that is farthest from ours on the way, and by how much, rad or m.
        spare_m: least distance beyond what must be left over the flown way, looked at in steps.
        body_a, body_b: between these two.
    """

    engine: str
    time_s: float
    theirs_m: float
    ours_m: float
    theirs_s: float
    ours_s: float
    joint: str
    off: float
    spare_m: float
    body_a: str
    body_b: str

    @property
    def agrees(self) -> bool:
        """Whether the flown way keeps what must be left, as ours is proven to."""
        return self.spare_m >= 0.0


@dataclass(frozen=True)
class EngineAnswer:
    """All answers of one engine; an absent engine gives none and agrees with nothing."""

    engine: str
    present: bool
    opinions: tuple[Opinion, ...] = ()
    stops: tuple[StopOpinion, ...] = ()


def present(engine: str) -> bool:
    """Tell whether an engine is installed."""
    return find_spec(engine) is not None


def engine_distance(engine: str) -> Callable[[Shape, Array, Shape, Array], float]:
    """Return the engine's distance of two shapes at T_world_shape (4, 4), in metres; 0 or less where they overlap.

    Raises:
        KeyError: no such engine.
        ImportError: it is not installed.
    """
    return {"coal": _coal_distance, "pybullet": _pybullet_distance}[engine]


# -- coal -----------------------------------------------------------------------------------------------------


def _coal_distance(shape_a: Shape, T_a: Array, shape_b: Shape, T_b: Array) -> float:
    import coal

    request, result = coal.DistanceRequest(), coal.DistanceResult()
    request.gjk_tolerance = 1e-9
    request.gjk_max_iterations = 1000
    geometry_a, geometry_b = _coal_geometry(shape_a), _coal_geometry(shape_b)
    place_a, place_b = (coal.Transform3s(T[:3, :3], T[:3, 3]) for T in (T_a, T_b))
    return float(coal.distance(geometry_a, place_a, geometry_b, place_b, request, result))


def _coal_geometry(shape: Shape) -> Any:
    import coal

    match shape:
        case Sphere(radius):
            return coal.Sphere(radius)
        case Capsule(radius, length):
            return coal.Capsule(radius, length)
        case Box(size):
            return coal.Box(*size)
        case Cylinder(radius, length):
            return coal.Cylinder(radius, length)
        case ConvexMesh(vertices):
            points = coal.StdVec_Vec3s()
            points.extend([np.asarray(vertex) for vertex in vertices])
            return coal.Convex.convexHull(points, False, "Qt")


# -- pybullet -------------------------------------------------------------------------------------------------


@contextmanager
def silence() -> Iterator[None]:
    """Keep the library's banner, written past Python, off standard output."""
    quiet, out = os.open(os.devnull, os.O_WRONLY), os.dup(1)
    try:
        os.dup2(quiet, 1)
        yield
    finally:
        os.dup2(out, 1)
        os.close(quiet)
        os.close(out)


@lru_cache(maxsize=1)
def bullet_client() -> tuple[Any, int]:
    """Return pybullet and its client without a window, connected once and in silence."""
    with silence():
        import pybullet

        return pybullet, pybullet.connect(pybullet.DIRECT)


def _pybullet_distance(shape_a: Shape, T_a: Array, shape_b: Shape, T_b: Array) -> float:
    bullet, client = bullet_client()
    with silence():
        first, second = (_bullet_body(bullet, client, shape, T) for shape, T in ((shape_a, T_a), (shape_b, T_b)))
        try:
            answers = bullet.getClosestPoints(first, second, distance=100.0, physicsClientId=client)
        finally:
            for body in (first, second):
                bullet.removeBody(body, physicsClientId=client)
    return float(min(answer[8] for answer in answers))


def _bullet_body(bullet: Any, client: int, shape: Shape, pose: Array) -> int:
    match shape:
        case Sphere(radius):
            wanted = {"shapeType": bullet.GEOM_SPHERE, "radius": radius}
        case Capsule(radius, length):
            wanted = {"shapeType": bullet.GEOM_CAPSULE, "radius": radius, "height": length}
        case Box(size):
            wanted = {"shapeType": bullet.GEOM_BOX, "halfExtents": [edge / 2 for edge in size]}
        case Cylinder(radius, length):
            wanted = {"shapeType": bullet.GEOM_CYLINDER, "radius": radius, "height": length}
        case ConvexMesh(vertices):
            wanted = {"shapeType": bullet.GEOM_MESH, "vertices": vertices.tolist()}
    geometry = bullet.createCollisionShape(**wanted, physicsClientId=client)
    w, x, y, z = poses.quaternion_wxyz(pose)
    return int(
        bullet.createMultiBody(
            0.0, geometry, basePosition=pose[:3, 3].tolist(), baseOrientation=[x, y, z, w], physicsClientId=client
        )
    )
