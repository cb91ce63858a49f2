"""People as they are drawn: gloves with fingers, boots with soles, a rounded pack, folds at joints, bands.

What is drawn lies inside the bodies that were proven, so that no picture shows less room than there is; see
``looks.Bands`` for how people are told apart. A body whose name says nothing here is drawn as it is.
"""

from __future__ import annotations

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere
from armcarry.views.looks import RIM, SHADE, Bands, Look
from armcarry.views.meshes import Triangles, joined, triangles

Part = tuple[Triangles, Look]

#: the suit lies this far under the proven body, the bands on it, m
_UNDER_M = 0.005
#: height of all bands of a limb together, and the gap between two, m
_BANDS_M, _GAP_M = 0.11, 0.02


def dressed(body: Body, look: Look, bands: Bands, sides: int = 24) -> tuple[Part, ...]:
    """Return what is drawn for a body of a person, in the body's own frame, round parts with so many sides."""
    words, shape = body.name.split("/", 1)[-1].lower().split("_"), body.shape
    match shape:
        case Capsule() if "glove" in words:
            return _glove(shape, look, bands, sides)
        case Capsule() if {"shin", "forearm"} & set(words):
            return _limb(shape, look, None, sides)
        case Capsule() if {"arm", "thigh", "leg", "legs"} & set(words):
            return _limb(shape, look, bands, sides)
        case Box() if {"boot", "boots"} & set(words):
            return _boot(shape, look, sides)
        case Box() if "pack" in words:
            return _pack(shape, look, bands, sides)
        case Box():
            return ((rounded(np.array(shape.size_m) / 2, sides), look),)
        case Sphere() if "helmet" in words:
            return _helmet(shape, look, bands, sides)
        case ConvexMesh():
            return ((_soft(shape), look),)
    return ((triangles(shape, sides), look),)


def rounded(half_m: Array, sides: int, sharp: float = 0.3) -> Triangles:
    """Return a box of half sizes (3,) with soft edges: a superellipsoid, from 0 for a box to 1 for an ellipsoid."""
    sides = max(sides, 16)
    up = np.linspace(-np.pi / 2, np.pi / 2, sides // 2 + 1)
    about = np.linspace(0, 2 * np.pi, sides + 1)[:-1]
    b, a = np.meshgrid(up, about, indexing="ij")

    def power(value: Array, exponent: float) -> Array:
        return np.asarray(np.sign(value) * np.abs(value) ** exponent)

    def at(exponent: float) -> Array:
        flat = power(np.cos(b), exponent)
        return np.stack([flat * power(np.cos(a), exponent), flat * power(np.sin(a), exponent),
                         power(np.sin(b), exponent)], axis=-1)

    points, normals = at(sharp) * half_m, at(2.0 - sharp) / half_m
    normals /= np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-12)
    count, rows = len(about), np.arange(len(up) - 1)[:, None] * len(about)
    here, after = rows + np.arange(count), rows + (np.arange(count) + 1) % count
    faces = np.stack([here, after, after + count, here, after + count, here + count], axis=-1).reshape(-1, 3)
    return Triangles(points.reshape(-1, 3), faces, normals.reshape(-1, 3))


def _glove(shape: Capsule, look: Look, bands: Bands, sides: int) -> tuple[Part, ...]:
    """Return a palm, three fingers, a thumb and a cuff; the capsule's axis runs along the fingers."""
    r, half = shape.radius_m, shape.length_m / 2
    few = max(sides // 3, 6)
    tip, palm = half + 0.55 * r, half - 0.3 * r
    dark = Look(SHADE, "fabric")
    fingers = [_along((0.0, y * r, palm - 0.4 * r), (0.0, y * r, tip), 0.26 * r, few) for y in (-0.5, 0.0, 0.5)]
    thumb = _along((-0.2 * r, 0.0, -half), (-0.62 * r, 0.0, half - 0.2 * r), 0.26 * r, few)
    hand = joined([(rounded(np.array([0.42 * r, 0.78 * r, 0.5 * (palm + half) + 0.2 * r]), sides, 0.6),
                    poses.translation((0.0, 0.0, (palm - half) / 2)))])
    cuff = joined([(triangles(Cylinder(0.92 * r, 0.35 * r), sides), poses.translation((0.0, 0.0, -half - 0.1 * r)))])
    return ((hand, look), (joined([*fingers, thumb]), dark), (cuff, Look(bands.hue, "fabric")))


def _boot(shape: Box, look: Look, sides: int) -> tuple[Part, ...]:
    """Return a sole, a toe and a shaft; x is forward, z up."""
    x, y, z = (value / 2 for value in shape.size_m)
    sole = joined([(rounded(np.array([x, y, 0.2 * z]), sides, 0.35), poses.translation((0.0, 0.0, -0.8 * z)))])
    toe = joined([(rounded(np.array([x - _UNDER_M, 0.94 * y, 0.62 * z]), sides, 0.6),
                   poses.translation((0.0, 0.0, -0.3 * z)))])
    shaft = joined([(rounded(np.array([0.52 * x, 0.94 * y, 0.98 * z]), sides, 0.55),
                     poses.translation((-0.42 * x, 0.0, 0.0)))])
    return ((sole, Look(RIM, "fabric")), (joined([(toe, np.eye(4)), (shaft, np.eye(4))]), look))


def _pack(shape: Box, look: Look, bands: Bands, sides: int) -> tuple[Part, ...]:
    """Return a soft box with the person's bands across its back, which is -x."""
    x, y, z = (value / 2 for value in shape.size_m)
    body = rounded(np.array([x, y, z]) - _UNDER_M, sides, 0.22)
    high = 0.9 * z / bands.count
    stripes = [
        (triangles(Box((0.02, 1.5 * y, 0.6 * high))), poses.translation((-x + 0.01, 0.0, z * 0.45 - k * high)))
        for k in range(bands.count)
    ]
    rims = [
        (triangles(Box((0.018, 1.5 * y + 0.03, 0.6 * high + 0.03))),
         poses.translation((-x + 0.011, 0.0, z * 0.45 - k * high)))
        for k in range(bands.count)
    ]
    return (body, look), (joined(rims), Look(RIM, "fabric")), (joined(stripes), Look(bands.hue, "fabric"))


def _helmet(shape: Sphere, look: Look, bands: Bands, sides: int) -> tuple[Part, ...]:
    """Return the ball with the person's bands over its crown, from front to back."""
    r = shape.radius_m
    wide = 0.3 * r / bands.count
    ball = triangles(Sphere(r - _UNDER_M), sides)
    hoops = []
    for k in range(bands.count):
        y = (k - (bands.count - 1) / 2) * 1.6 * wide
        rim = float(np.sqrt(r * r - (abs(y) + wide / 2) ** 2))
        hoops.append((triangles(Cylinder(rim, wide), sides), poses.from_xyz_rpy((0.0, y, 0.0), (np.pi / 2, 0.0, 0.0))))
    return (ball, look), (joined(hoops), Look(bands.hue, "fabric"))


def _limb(shape: Capsule, look: Look, bands: Bands | None, sides: int) -> tuple[Part, ...]:
    """Return a limb with folds at its ends, and bands about its middle where it wears them."""
    r, half = shape.radius_m, shape.length_m / 2
    parts = [(triangles(Capsule(r - _UNDER_M, shape.length_m), sides), look)]
    folds = [
        (triangles(Cylinder(r - 0.4 * _UNDER_M, 0.008), sides), poses.translation((0.0, 0.0, end * (half - 0.018 * k))))
        for end in (-1, 1) for k in range(3) if 0.018 * k < half
    ]
    parts += [(joined(folds), Look(SHADE, "fabric"))] if folds else []
    if bands is not None:
        high = min(_BANDS_M, 1.2 * half)
        each = (high - (bands.count - 1) * min(_GAP_M, 0.4 * high / bands.count)) / bands.count
        step = (high - each) / max(bands.count - 1, 1)
        spots = [k * step - (high - each) / 2 for k in range(bands.count)]
        for colour, radius, more in ((RIM, r - 0.2 * _UNDER_M, 0.008), (bands.hue, r, 0.0)):
            belts: list[tuple[Triangles, Array]] = [
                (triangles(Cylinder(radius, each + more), sides), poses.translation((0.0, 0.0, z))) for z in spots
            ]
            parts.append((joined(belts), Look(colour, "fabric")))
    return tuple(parts)


def _soft(shape: Shape) -> Triangles:
    """Return a convex mesh with the normals of its corners, so that its edges read as folds of cloth."""
    flat = triangles(shape)
    corners, which = np.unique(np.round(flat.vertices_m, 6), axis=0, return_inverse=True)
    normals = np.zeros_like(corners)
    np.add.at(normals, which.ravel(), flat.normals)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return Triangles(corners, which.ravel()[flat.faces], normals)


def _along(start: tuple[float, float, float], end: tuple[float, float, float], radius: float, sides: int) -> (
        tuple[Triangles, Array]):
    """Return a capsule between two points and its pose."""
    a, b = np.array(start), np.array(end)
    way = (b - a) / np.linalg.norm(b - a)
    side = np.cross((0.0, 1.0, 0.0), way)
    side /= np.linalg.norm(side)
    pose = np.eye(4)
    pose[:3] = np.column_stack([side, np.cross(way, side), way, (a + b) / 2])
    return triangles(Capsule(radius, float(np.linalg.norm(b - a))), max(sides // 2 * 2, 6)), pose
