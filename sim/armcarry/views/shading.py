"""Shadows, dark corners, edges and the sky behind, put into two pictures that VTK has drawn.

VTK's own shadows leave black what the shadowed light misses, so one picture is lit by the fill alone and one by the
sun alone, and depth says where each pixel is. Triangles are drawn here once more as the sun sees them, without
perspective; a point with something nearer to the sun is in shadow.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.views.tone import gain, share

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]

#: corners darken where something stands within this distance, m
_NEAR_M = 0.45
#: where it is looked from a pixel, in shares of that: a sunflower's order (y, x)
_TURNS, _LOOKS = 2.39996 * np.arange(12), np.sqrt((np.arange(12) + 0.5) / 12)
_AROUND = np.stack([_LOOKS * np.sin(_TURNS), _LOOKS * np.cos(_TURNS)], axis=1).astype(np.float32)
#: in the picture that the sun alone lights: what keeps its own colour in every light; no lit surface is just so
UNLIT = (1, 254, 3)
#: texels of a shadow map a side
MAP_PX = 2048
#: sums may be taken in another order; inf and nan mean something here
_LOOSE = {"reassoc", "contract", "arcp", "nsz"}


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def sun_depth(corners: Floats, axes: Floats, low_u: float, low_v: float, texel: float, count: int) -> Floats:
    """Return how near to the sun (count, count) the nearest surface is, -inf for none.

    Args:
        corners: triangles (n, 3, 3) in the world.
        axes: (3, 3) rows u, v across the sunlight and s towards the sun.
        low_u, low_v: of the map's corner, m.
        texel: size of one, m.
        count: texels a side.
    """
    found = np.full((count, count), -np.inf, dtype=np.float32)
    p = np.empty((3, 3))
    for n in range(len(corners)):
        for k in range(3):
            for axis in range(3):
                p[k, axis] = (corners[n, k, 0] * axes[axis, 0] + corners[n, k, 1] * axes[axis, 1]
                              + corners[n, k, 2] * axes[axis, 2])
            p[k, 0] = (p[k, 0] - low_u) / texel - 0.5
            p[k, 1] = (p[k, 1] - low_v) / texel - 0.5
        left, right = min(p[0, 0], p[1, 0], p[2, 0]), max(p[0, 0], p[1, 0], p[2, 0])
        low, high = min(p[0, 1], p[1, 1], p[2, 1]), max(p[0, 1], p[1, 1], p[2, 1])
        area = (p[1, 0] - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[2, 0] - p[0, 0]) * (p[1, 1] - p[0, 1])
        if right < 0 or high < 0 or left > count - 1 or low > count - 1 or area < 1e-9:
            continue  # off the map, or turned away from the sun: bodies are closed
        # s and the weights of the corners change evenly along a row: only what is covered of each is gone through
        slope_x = ((p[1, 1] - p[2, 1]) * p[0, 2] + (p[2, 1] - p[0, 1]) * p[1, 2] + (p[0, 1] - p[1, 1]) * p[2, 2]) / area
        slope_y = ((p[2, 0] - p[1, 0]) * p[0, 2] + (p[0, 0] - p[2, 0]) * p[1, 2] + (p[1, 0] - p[0, 0]) * p[2, 2]) / area
        for y in range(max(int(np.ceil(low)), 0), min(int(np.floor(high)), count - 1) + 1):
            begin, end = max(left, 0.0), min(right, count - 1.0)
            for k in range(3):
                one, two = (k + 1) % 3, (k + 2) % 3
                # the side across from corner k: on its inner side the weight of k is not below 0
                across = (p[one, 1] - p[two, 1]) / area
                here = ((p[one, 0] * p[two, 1] - p[two, 0] * p[one, 1]) + (p[two, 0] - p[one, 0]) * y) / area + 1e-6
                if across > 1e-12:
                    begin = max(begin, -here / across)
                elif across < -1e-12:
                    end = min(end, -here / across)
                elif here < 0:
                    end = -1.0
            for x in range(int(np.ceil(begin)), int(np.floor(end)) + 1):
                s = p[0, 2] + slope_x * (x - p[0, 0]) + slope_y * (y - p[0, 1])
                if s > found[y, x]:
                    found[y, x] = s
    return found


def sun_axes(sun: Array) -> Floats:
    """Return axes (3, 3) as rows, two across the sunlight and the unit vector to the sun."""
    across = np.cross(np.eye(3)[int(np.argmin(np.abs(sun)))], sun)
    across /= np.linalg.norm(across)
    return np.stack([across, np.cross(sun, across), sun]).astype(np.float32)


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def distances(depth: Floats, near: float, far: float) -> Floats:
    """Return how far along the line of sight (h, w) what a depth buffer holds is, inf for nothing."""
    found = np.empty(depth.shape, dtype=np.float32)
    for i in range(depth.shape[0]):
        for j in range(depth.shape[1]):
            here = np.float64(depth[i, j])
            found[i, j] = np.inf if here >= 1.0 else near * far / (far - here * (far - near))
    return found


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def places(z: Floats, camera: Floats, tall: float) -> Floats:
    """Return where pixels (h, w) at distances z along the line of sight are in the world (h, w, 3); nan for the sky.

    ``camera`` has as rows eye, right, up and ahead; ``tall`` is the tangent of half the vertical view.
    """
    h, w = z.shape
    found = np.full((h, w, 3), np.nan, dtype=np.float32)
    for i in range(h):
        y = tall * (1 - 2 * (i + 0.5) / h)
        for j in range(w):
            if z[i, j] < np.inf:
                x = tall * (2 * (j + 0.5) / w - 1) * w / h
                for k in range(3):
                    found[i, j, k] = camera[0, k] + z[i, j] * (camera[3, k] + x * camera[1, k] + y * camera[2, k])
    return found


@njit(cache=True, nogil=True, fastmath=_LOOSE, error_model="numpy")  # type: ignore[untyped-decorator]
def _normal(at: Floats, z: Floats, i: int, j: int, way: Floats) -> Any:
    """Write the surface's direction at a pixel, towards the eye, and return how sharply the surface bends there."""
    h, w = z.shape
    left, right, up, down = max(j - 1, 0), min(j + 1, w - 1), max(i - 1, 0), min(i + 1, h - 1)
    here = 1 / z[i, j]
    bend = (abs(1 / z[i, left] + 1 / z[i, right] - 2 * here) + abs(1 / z[up, j] + 1 / z[down, j] - 2 * here)) / here
    a = left if (abs(z[i, left] - z[i, j]) < abs(z[i, right] - z[i, j]) and left != j) or right == j else right
    b = up if (abs(z[up, j] - z[i, j]) < abs(z[down, j] - z[i, j]) and up != i) or down == i else down
    if z[i, a] == np.inf or z[b, j] == np.inf:
        way[:] = 0.0
        return bend
    sx, sy = (1.0 if a > j else -1.0), (1.0 if b < i else -1.0)
    ux, uy, uz = (sx * (at[i, a, 0] - at[i, j, 0]), sx * (at[i, a, 1] - at[i, j, 1]), sx * (at[i, a, 2] - at[i, j, 2]))
    vx, vy, vz = (sy * (at[b, j, 0] - at[i, j, 0]), sy * (at[b, j, 1] - at[i, j, 1]), sy * (at[b, j, 2] - at[i, j, 2]))
    way[0], way[1], way[2] = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    size = np.sqrt(way[0] ** 2 + way[1] ** 2 + way[2] ** 2)
    way[:] = way / size if size > 0 else way
    return bend


@njit(cache=True, nogil=True, fastmath=_LOOSE, error_model="numpy")  # type: ignore[untyped-decorator]
def _sunlit(point: Floats, way: Floats, axes: Floats, map_: Floats, low_u: float, low_v: float, texel: float) -> float:
    """Return how much of the sun (0 to 1) reaches a point, by nine looks around it; -1 off the map."""
    off = 1.6 * texel + 0.003
    u = v = s = 0.0
    for k in range(3):
        p = point[k] + off * way[k]
        u, v, s = u + p * axes[0, k], v + p * axes[1, k], s + p * axes[2, k]
    x, y = (u - low_u) / texel - 0.5, (v - low_v) / texel - 0.5
    count = len(map_)
    if x < 2 or y < 2 or x > count - 3 or y > count - 3:
        return -1.0
    facing = max(way[0] * axes[2, 0] + way[1] * axes[2, 1] + way[2] * axes[2, 2], 0.12)
    bias = texel * (0.6 + 1.2 / facing) + 0.004
    x0, y0 = int(np.floor(x)), int(np.floor(y))
    fx, fy = x - x0, y - y0
    total = 0.0
    for dy in range(-1, 3):
        wy = 1 - fy if dy == -1 else fy if dy == 2 else 1.0
        for dx in range(-1, 3):
            wx = 1 - fx if dx == -1 else fx if dx == 2 else 1.0
            if map_[y0 + dy, x0 + dx] <= s + bias:
                total += wx * wy
    return total / 9.0


@njit(cache=True, nogil=True, fastmath=_LOOSE, error_model="numpy")  # type: ignore[untyped-decorator]
def _open(at: Floats, z: Floats, i: int, j: int, way: Floats, px_m: float) -> float:
    """Return how open a point is (0 to 1), by twelve looks at what stands near it in the picture."""
    h, w = z.shape
    reach = min(max(_NEAR_M / px_m, 2.0), 60.0)
    shut = 0.0
    for k in range(len(_AROUND)):
        y, x = i + int(np.floor(reach * _AROUND[k, 0] + 0.5)), j + int(np.floor(reach * _AROUND[k, 1] + 0.5))
        if y < 0 or x < 0 or y >= h or x >= w or z[y, x] == np.inf:
            continue
        dx, dy, dz = at[y, x, 0] - at[i, j, 0], at[y, x, 1] - at[i, j, 1], at[y, x, 2] - at[i, j, 2]
        size = np.sqrt(dx * dx + dy * dy + dz * dz) + 1e-9
        rise = (dx * way[0] + dy * way[1] + dz * way[2]) / size
        if rise > 0.15 and size < 2 * _NEAR_M:
            shut += (rise - 0.15) * (1 - size / (2 * _NEAR_M))
    return max(1 - shut / 3.8, 0.3)


@njit(cache=True, nogil=True, fastmath=_LOOSE, error_model="numpy")  # type: ignore[untyped-decorator]
def compose(
    fill: Bytes, sun: Bytes, behind: Floats, z: Floats, at: Floats, near: Floats, whole: Floats,
    frames: Floats, axes: Floats, tall: float, times: int, ground: Floats,
) -> Bytes:
    """Return the picture (h, w, 3), ``times`` smaller than what was drawn.

    Args:
        fill, sun: lit by the fill alone and by the sun alone, (times h, times w, 3), drawn through the curve.
        behind: (h, w, 3) what stands behind everything, 0 to 255.
        z, at: how far each pixel is along the line of sight, inf for the sky, and where, see ``places``.
        near, whole: two shadow maps; where the first does not reach the second counts.
        frames: (2, 3) low_u, low_v and texel of each.
        axes: of the sunlight, see ``sun_axes``.
        tall: tangent of half the vertical view.
        times: how many pixels become one, a side.
        ground: (3,) what was drawn where nothing is, 0 to 255.
    """
    h, w = behind.shape[:2]
    out = np.empty((h, w, 3), dtype=np.uint8)
    way, total, light = np.zeros(3, dtype=np.float32), np.zeros(3), np.zeros(3)
    px = 2 * tall / z.shape[0]
    for i in range(h):
        for j in range(w):
            total[:] = 0.0
            corner = -1.0
            for n in range(times * times):
                y, x = i * times + n // times, j * times + n % times
                if z[y, x] == np.inf:  # what is seen through has no depth: its own light is added to what is behind it
                    for k in range(3):
                        own = max(fill[y, x, k] - ground[k], 0.0) + max(sun[y, x, k] - ground[k], 0.0)
                        total[k] += min(behind[i, j, k] + own, 255.0)
                    continue
                if sun[y, x, 0] == UNLIT[0] and sun[y, x, 1] == UNLIT[1] and sun[y, x, 2] == UNLIT[2]:
                    for k in range(3):
                        total[k] += fill[y, x, k]
                    continue
                bend = _normal(at, z, y, x, way)
                if corner < 0:
                    corner = _open(at, z, y, x, way, px * z[y, x])
                lit = 0.0
                if int(sun[y, x, 0]) + sun[y, x, 1] + sun[y, x, 2] > 6:
                    lit = _sunlit(at[y, x], way, axes, near, frames[0, 0], frames[0, 1], frames[0, 2])
                    if lit < 0:
                        lit = _sunlit(at[y, x], way, axes, whole, frames[1, 0], frames[1, 1], frames[1, 2])
                    lit = 1.0 if lit < 0 else lit
                edge = 0.72 if bend > 0.012 + 1.5 * px else 1.0
                around = corner * gain(fill[y, x, 0], fill[y, x, 1], fill[y, x, 2])
                lit *= (0.5 + 0.5 * corner) * gain(sun[y, x, 0], sun[y, x, 1], sun[y, x, 2])
                most = 0.0
                for k in range(3):
                    light[k] = fill[y, x, k] * around + sun[y, x, k] * lit
                    most = max(most, light[k])
                shown = edge * share(most / 255)
                for k in range(3):
                    total[k] += shown * light[k]
            for k in range(3):
                out[i, j, k] = int(total[k] / (times * times) + 0.5)
    return out
