"""Two layers that are worked out when first shown: the room that is swept, and how close the run comes to surfaces."""

from __future__ import annotations

import numpy as np

from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import SceneActors, surface_actor
from armcarry.views.ghosts import laid_over
from armcarry.views.meshes import Triangles, joined
from armcarry.views.player import look
from armcarry.views.player.layers import Layer
from armcarry.whatif.swept import MAP_REPORT_M, closest_map, envelope

#: a little coarser than the mesh for engineers, so that it is there within a few seconds
_CELL_M = 0.2
#: closest approach below which a face takes a colour; beyond MAP_REPORT_M it keeps its own. Near is no failure, so
#: the colours of verdicts are not among them
MAP_BANDS_M = ((0.2, palette.YELLOW), (0.6, "#BFE3F7"), (1.2, palette.SKY_BLUE), (MAP_REPORT_M, palette.BLUE))


def envelope_layer(record: Record) -> Layer:
    """Return the room that arm, rider and hardware sweep, which one sees through."""
    made = envelope(record, cell_m=_CELL_M)
    layer = Layer()
    layer.solid.append(laid_over(_faceted(made.vertices_m[made.faces]), look.LINES[0], opacity=0.25))
    return layer


def map_layer(record: Record, scene: SceneActors) -> Layer:
    """Return the faces of structure, appendages and vehicle that something comes near, coloured by how near."""
    made = closest_map(record)
    near = made.lower_m < MAP_REPORT_M
    layer = Layer()
    for k, group in enumerate(scene.groups):
        parts, colours = [], []
        for row, local in zip(group.bodies, group.local, strict=True):
            mine = near & (made.body == row)
            if mine.any():
                surface = _faceted(made.corners_m[mine])
                parts.append((surface, local))
                colours.append(np.repeat(_colours(made.lower_m[mine]), 3, axis=0))
        if parts:
            layer.solid.append(_painted(joined(parts), np.concatenate(colours), scene.matrix(k)))
    return layer


def _colours(lower_m: np.ndarray) -> np.ndarray:
    """Return red, green, blue (F, 3) of faces from 0 to 255."""
    bands = np.searchsorted([limit for limit, _ in MAP_BANDS_M], lower_m, side="right")
    table = np.array([[round(255 * c) for c in palette.channels(colour)] for _, colour in MAP_BANDS_M], dtype=np.uint8)
    return np.asarray(table[np.minimum(bands, len(table) - 1)])


def _faceted(corners: np.ndarray) -> Triangles:
    """Return faces (F, 3, 3) as a surface whose faces share no vertices; none is left out, whatever its area."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    faces = np.arange(3 * len(corners)).reshape(-1, 3)
    return Triangles(corners.reshape(-1, 3), faces, np.repeat(normals, 3, axis=0))


def _painted(surface: Triangles, colours: np.ndarray, matrix: object) -> object:
    """Return an actor with a colour a vertex, drawn just in front of the body it lies on."""
    from vtkmodules.util.numpy_support import numpy_to_vtk

    actor = surface_actor(surface, palette.LIGHT, matrix)
    mapper = actor.GetMapper()
    scalars = numpy_to_vtk(np.ascontiguousarray(colours), deep=True)
    scalars.SetName("closest approach")
    mapper.GetInput().GetPointData().SetScalars(scalars)
    mapper.SetColorModeToDirectScalars()
    mapper.ScalarVisibilityOn()
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(-2.0, -2.0)
    actor.GetProperty().SetBackfaceCulling(True)
    actor.PickableOff()
    return actor
