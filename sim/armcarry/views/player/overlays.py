"""What is laid over the 3-D view on demand: planned path with places, what eyes see, rooms, map from above, a cut."""

from __future__ import annotations

from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import SceneActors
from armcarry.views.eyes import CONE_M, Eye, eyes
from armcarry.views.ghosts import laid_over
from armcarry.views.inset import Inset
from armcarry.views.kept_out import OPACITY, drawn_rooms
from armcarry.views.player import look
from armcarry.views.player.cameras import links_at
from armcarry.views.player.layers import Layer
from armcarry.views.player.marks import Lines, place, words
from armcarry.views.way import NEAR, ROOMY, SHORT, way

#: how the path is drawn by how it keeps what is required: colour, pixels
_PATH = {ROOMY: (palette.LIGHT, 3.0), NEAR: (palette.YELLOW, 6.0), SHORT: (look.FAIL_TEXT, 6.0)}
_MAP_PX, _EDGE_PX = 240, 10


def path(record: Record) -> Layer:
    """Return the planned path of the tool, what keeps little in colour, and the names along it."""
    layer, planned = Layer(), way(record)
    for kept, (colour, wide) in _PATH.items():
        parts = planned.stretches(kept)
        ends = [np.stack([part[:-1], part[1:]], axis=1) for part in parts]
        if ends:
            joined = np.concatenate(ends)
            lines = Lines([colour] * len(joined), wide)
            lines.move(joined)
            layer.solid.append(lines.actor)
    for text, point in planned.places:
        actor = words(text, 13)
        place(actor, point)
        layer.above.append(actor)
    return layer


def cones(record: Record) -> Layer:
    """Return what each camera and each person sees, as pyramids that go with them."""
    layer, seen = Layer(), eyes(record)
    people = set(record.scene.loaded.crew)
    lines = Lines([palette.YELLOW if eye.name in people else palette.SKY_BLUE for eye in seen for _ in range(8)], 2.0)
    layer.solid.append(lines.actor)
    shapes = np.stack([_pyramid(eye) for eye in seen]) if seen else np.zeros((0, 8, 2, 3))
    links = [eye.link for eye in seen]

    def follow(time_s: float) -> None:
        if links:
            pose = links_at(record, links, time_s)
            turned = np.einsum("eij,enkj->enki", pose[:, :3, :3], shapes) + pose[:, None, None, :3, 3]
            lines.move(turned.reshape(-1, 2, 3))

    layer.follow = follow
    return layer


def rooms(record: Record) -> Layer:
    """Return the platform's rooms, seen through, while they ask for anything, with their names."""
    from vtkmodules.vtkCommonMath import vtkMatrix4x4

    layer, drawn = Layer(), drawn_rooms(record)
    links, matrices = [room.link for room in drawn], [vtkMatrix4x4() for _ in drawn]
    for room, matrix in zip(drawn, matrices, strict=True):
        actor = laid_over(room.surface, room.colour, matrix, opacity=OPACITY)
        actor.GetProperty().SetAmbient(1.0)  # as bright in shadow as in the sun
        actor.GetProperty().SetDiffuse(0.0)
        layer.solid.append(actor)
        layer.above.append(words(room.words, 13))

    def follow(time_s: float) -> None:
        shown = zip(drawn, matrices, layer.solid, layer.above, links_at(record, links, time_s), strict=True)
        for room, matrix, actor, name, pose in shown:
            matrix.DeepCopy(pose.ravel())
            place(name, pose[:3, :3] @ room.middle_m + pose[:3, 3])
            for one in (actor, name):
                one.SetVisibility(room.asks_at(time_s))

    layer.follow = follow
    return layer


def _pyramid(eye: Eye) -> Array:
    """Return the edges (8, 2, 3) of what an eye sees, in its link: +x ahead, +z up."""
    up = CONE_M * np.tan(eye.vertical_rad / 2)
    aside = up * eye.aspect
    corners = np.array([[CONE_M, y * aside, z * up] for y, z in ((1, 1), (-1, 1), (-1, -1), (1, -1))])
    out = np.stack([np.zeros((4, 3)), corners], axis=1)
    return np.concatenate([out, np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)])


def plan(record: Record) -> Layer:
    """Return the map from above with people on it, at the lower left of the view."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonDataModel import vtkImageData
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkImageMapper

    layer, drawn, data = Layer(), Inset(record, _MAP_PX), vtkImageData()
    mapper, actor = vtkImageMapper(), vtkActor2D()
    mapper.SetInputData(data)
    mapper.SetColorWindow(255.0)
    mapper.SetColorLevel(127.5)
    actor.SetMapper(mapper)
    actor.SetPosition(_EDGE_PX, _EDGE_PX)
    layer.above.append(actor)

    def follow(time_s: float) -> None:
        picture = drawn.at(time_s)
        high, wide, _ = picture.shape
        data.SetDimensions(wide, high, 1)
        data.GetPointData().SetScalars(numpy_to_vtk(picture[::-1].reshape(-1, 3), deep=True))
        data.Modified()

    layer.follow = follow
    return layer


def cut(scene: SceneActors, camera: Any) -> Layer:
    """Return a cut across that axis of the run which is nearest the line of sight, through what the view turns round.

    What lies on the viewer's side of it is left out; each time it is shown it is cut anew.
    """
    from vtkmodules.vtkCommonDataModel import vtkPlane

    layer, plane = Layer(), vtkPlane()

    def switch(on: bool) -> None:
        focus = np.array(camera.GetFocalPoint())
        ahead = focus - np.array(camera.GetPosition())
        axis = int(np.argmax(np.abs(ahead)))
        plane.SetOrigin(*focus)
        plane.SetNormal(*(np.sign(ahead[axis]) * np.eye(3)[axis]))
        for actor in scene.actors:
            actor.GetMapper().RemoveAllClippingPlanes()
            if on:
                actor.GetMapper().AddClippingPlane(plane)
            actor.GetProperty().SetBackfaceCulling(not on)

    layer.switch = switch
    return layer
