"""What stands behind everything: the Earth where it is, lit from the sun's side, and stars; quiet, so that words read.

Seas and clouds are a seeded noise that stands still among the stars, not a map: only place, size and light are true.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.views import palette
from armcarry.views.daylight import Daylight

Floats = NDArray[np.float32]

_STARS = 2400
#: of the clouds: how many swells in an Earth's radius, each half as high and about twice as many as the one before
_SWELLS = 9.0


def backdrop(
    seen: NDArray[np.bool_], right: Array, up: Array, ahead: Array, tall: float, day: Daylight | None
) -> Floats:
    """Return what stands behind everything (h, w, 3), 0 to 255, for a camera with these axes in the world.

    Args:
        seen: (h, w) where the sky is seen; elsewhere the picture is left plain.
        right, up, ahead: unit vectors (3,).
        tall: tangent of half the vertical view.
        day: where sun and Earth stand; None gives a plain ground.
    """
    high, wide = seen.shape
    ground = (255 * np.array(palette.channels(palette.ROOM))).astype(np.float32)
    picture = np.empty((high, wide, 3), dtype=np.float32)
    picture[:] = ground
    if day is None:
        return picture
    axes = np.stack([right, up, ahead]).astype(np.float32)
    _stars(picture, np.stack([right, up, ahead]) @ day.R_equator.T, tall, 0.45 if day.share > 0 else 0.8)
    _earth(picture, seen, axes, tall, day.earth.astype(np.float32), day.sun.astype(np.float32), day.away,
           day.R_equator.astype(np.float32))
    return picture


def _stars(picture: Floats, axes: Array, tall: float, bright: float) -> None:
    """Put stars where they stand for a camera with axes in the equator frame; brightness by a seeded draw."""
    high, wide = picture.shape[:2]
    draw = np.random.default_rng(7)
    way = draw.normal(size=(_STARS, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    strength = bright * 200 * draw.random(_STARS) ** 4 + 25 * bright
    x, y, z = axes @ way.T
    before = z > 0.05
    column = np.full(_STARS, -1)
    row = np.full(_STARS, -1)
    column[before] = np.round(wide / 2 + x[before] / z[before] / tall * high / 2).astype(int)
    row[before] = np.round(high / 2 - y[before] / z[before] / tall * high / 2).astype(int)
    inside = (column >= 0) & (row >= 0) & (column < wide) & (row < high)
    picture[row[inside], column[inside]] += strength[inside, None].astype(np.float32)


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _hash(x: int, y: int, z: int) -> float:
    n = (x * 374761393 + y * 668265263 + z * 1274126177) & 0xFFFFFFFF
    n = ((n ^ (n >> 13)) * 1103515245) & 0xFFFFFFFF
    return ((n ^ (n >> 16)) & 0xFFFF) / 65535.0


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _noise(x: float, y: float, z: float) -> float:
    """Return a smooth noise, 0 to 1, of a place."""
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    a, b, c = x - i, y - j, z - k
    a, b, c = a * a * (3 - 2 * a), b * b * (3 - 2 * b), c * c * (3 - 2 * c)
    total = 0.0
    for n in range(8):
        p, q, r = n & 1, (n >> 1) & 1, n >> 2
        share = (a if p else 1 - a) * (b if q else 1 - b) * (c if r else 1 - c)
        total += share * _hash(i + p, j + q, k + r)
    return total


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _earth(
    picture: Floats, seen: NDArray[np.bool_], axes: Floats, tall: float, earth: Floats, sun: Floats, away: float,
    turned: Floats,
) -> None:
    """Draw the Earth and its rim of air over what is there."""
    high, wide = picture.shape[:2]
    rim = np.arcsin(1 / away)
    d, n, e = np.zeros(3), np.zeros(3), np.zeros(3)
    for i in range(high):
        y = tall * (1 - 2 * (i + 0.5) / high)
        for j in range(wide):
            if not seen[i, j]:
                continue
            x = tall * (2 * (j + 0.5) / wide - 1) * wide / high
            size = np.sqrt(1 + x * x + y * y)
            along = 0.0
            for k in range(3):
                d[k] = (axes[2, k] + x * axes[0, k] + y * axes[1, k]) / size
                along += d[k] * earth[k]
            off = np.arccos(min(max(along, -1.0), 1.0)) - rim
            if off > 0.08:
                continue
            inside = off <= 0
            far = away * along - (np.sqrt(max(1 - away * away * (1 - along * along), 0.0)) if inside else 0.0)
            light = 0.0
            for k in range(3):
                n[k] = far * d[k] - away * earth[k]
                light += n[k] * sun[k]
            light = min(max(0.12 + light, 0.0), 1.0)
            air = np.exp(-abs(off) / (0.05 if inside else 0.010)) * (0.08 + light)
            if not inside:
                picture[i, j, 0] += 45 * air
                picture[i, j, 1] += 80 * air
                picture[i, j, 2] += 125 * air
                continue
            cloud, share, swells = 0.0, 0.5, _SWELLS
            for k in range(3):
                e[k] = turned[k, 0] * n[0] + turned[k, 1] * n[1] + turned[k, 2] * n[2]
            for _ in range(5):
                cloud += share * _noise(e[0] * swells, e[1] * swells, e[2] * swells)
                share, swells = share / 2, swells * 2.3
            cloud = min(max((cloud - 0.46) * 3.2, 0.0), 1.0) * 0.8
            shine = 0.05 + 0.62 * light
            picture[i, j, 0] = shine * (26 + 120 * cloud) + 22 * air
            picture[i, j, 1] = shine * (58 + 105 * cloud) + 42 * air
            picture[i, j, 2] = shine * (104 + 75 * cloud) + 70 * air
