"""Sunlit pictures of what a plotter shows: two passes, depth and shadow maps brought together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.views import shading
from armcarry.views.actors import SceneActors
from armcarry.views.backdrop import backdrop
from armcarry.views.daylight import Daylight, Lamps

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]

#: the fine shadow map holds what is nearer than this many times the middle of what is seen
_CLOSE = 1.5


def composed(
    plotter: Any, scene: SceneActors, lamps: Lamps, day: Daylight | None, times: int, unlit: Sequence[Any] = ()
) -> Pixels:
    """Return the picture of a plotter whose window is ``times`` as large, a side, as the picture is to be.

    Args:
        plotter: what draws; no multisampling.
        scene: its bodies; further actors cast no shadows.
        lamps: its lights.
        day: where the sun stands.
        times: 1, or 2 for smooth edges.
        unlit: actors that keep their own colour in every light, such as lines.
    """
    window, camera = plotter.render_window, plotter.renderer.GetActiveCamera()
    wide, high = window.GetSize()
    tall = float(np.tan(np.radians(camera.GetViewAngle()) / 2))
    eye, right, up, ahead = _axes(camera)
    lamps.only(sun=False, fill=True)
    fill = drawn(window)
    z = _distances(window, camera)
    lamps.only(sun=True, fill=False)
    sun = _sunlit(window, unlit) if lamps.key > 0 or unlit else np.zeros_like(fill)
    lamps.only(sun=True, fill=True)
    at = shading.places(z, np.stack([eye, right, up, ahead]).astype(np.float32), tall)
    axes = shading.sun_axes(lamps.towards(right, up, -ahead, day))
    near, whole, frames = _maps(scene, z, at, axes)
    sky = np.asarray(np.isinf(z).reshape(high // times, times, wide // times, times).any(axis=(1, 3)))
    ground = np.round(255 * np.array(plotter.renderer.GetBackground())).astype(np.float32)
    behind = backdrop(sky, right, up, ahead, tall, day)
    return np.asarray(shading.compose(fill, sun, behind, z, at, near, whole, frames, axes, tall, times, ground))


def _axes(camera: Any) -> tuple[Array, Array, Array, Array]:
    """Return eye, right, up and ahead (3,) of a camera."""
    eye, focus, up = (np.array(v) for v in (camera.GetPosition(), camera.GetFocalPoint(), camera.GetViewUp()))
    ahead = (focus - eye) / np.linalg.norm(focus - eye)
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    return eye, right, np.cross(right, ahead), ahead


def _sunlit(window: Any, unlit: Sequence[Any]) -> Pixels:
    """Draw what the sun alone lights, unlit actors in the colour that tells them apart."""
    own = [actor.GetProperty().GetColor() for actor in unlit]
    for actor in unlit:
        actor.GetProperty().SetColor(*(part / 255 for part in shading.UNLIT))
    picture = drawn(window)
    for actor, colour in zip(unlit, own, strict=True):
        actor.GetProperty().SetColor(*colour)
    return picture


def drawn(window: Any) -> Pixels:
    """Draw and return the picture (h, w, 3), its first row at the top."""
    window.Render()
    return np.ascontiguousarray(_buffer(window, depth=False)[..., :3])


def _distances(window: Any, camera: Any) -> Floats:
    """Return how far along the line of sight each pixel (h, w) of what was just drawn is; inf for nothing."""
    return np.asarray(shading.distances(_buffer(window, depth=True)[..., 0], *camera.GetClippingRange()))


def _buffer(window: Any, depth: bool) -> NDArray[Any]:
    """Return colours or depth (h, w, n) of what was just drawn, the first row at the top."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

    taken = vtkWindowToImageFilter()
    taken.SetInput(window)
    taken.ReadFrontBufferOff()
    taken.ShouldRerenderOff()
    if depth:
        taken.SetInputBufferTypeToZBuffer()
    taken.Update()
    picture = taken.GetOutput()
    wide, high, _ = picture.GetDimensions()
    return np.asarray(vtk_to_numpy(picture.GetPointData().GetScalars()).reshape(high, wide, -1)[::-1])


def _maps(scene: SceneActors, z: Floats, at: Floats, axes: Floats) -> tuple[Floats, Floats, Floats]:
    """Return two shadow maps and their frames (2, 3): of what is near in the picture, and of all that is seen."""
    corners = scene.corners_m()
    every = z[::4, ::4] < np.inf
    points = at[::4, ::4][every]
    if not len(points):
        points, close = corners.reshape(-1, 3)[:1], np.ones(1, dtype=bool)
    else:
        close = z[::4, ::4][every] < _CLOSE * float(np.median(z[::4, ::4][every]))
    frames = np.stack([_frame(points[close] @ axes[:2].T), _frame(points @ axes[:2].T)]).astype(np.float32)
    maps = [shading.sun_depth(corners, axes, *map(float, frame), shading.MAP_PX) for frame in frames]
    return maps[0], maps[1], frames


def _frame(points: Floats) -> Array:
    """Return the corner and the texel of a square map that holds points (n, 2)."""
    low, high = points.min(axis=0), points.max(axis=0)
    texel = float((high - low).max()) * 1.04 / (shading.MAP_PX - 12) + 1e-5
    middle = (low + high) / 2
    return np.array([*(middle - texel * shading.MAP_PX / 2), texel])
