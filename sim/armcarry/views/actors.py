"""The scene of a run as VTK actors, built once and moved by matrices; for pictures, the movie and the player."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape
from armcarry.record.record import Record
from armcarry.views import gl, palette
from armcarry.views.groups import STATIC, Group, body_kinds, group_poses, rigid_groups
from armcarry.views.meshes import Triangles, joined, triangles

#: opacity of a body that is seen through
_CLEAR = 0.16


class SceneActors:
    """All bodies of a run, merged by rigid group and colour.

    Attributes:
        groups: the rigid groups; actors of a group share one matrix.
        actors: every actor, to be added to a renderer once and never again.
        time_s: the instant shown.
    """

    def __init__(self, record: Record, sides: int | Callable[[Shape], int] = 24) -> None:
        """Build the actors and show the start of the run.

        Args:
            record: the run.
            sides: corners of round parts, or a function that tells them of a shape.
        """
        gl.prepare()
        from vtkmodules.vtkCommonMath import vtkMatrix4x4

        self.record = record
        self.groups = rigid_groups(record)
        self.kinds = body_kinds(record)
        self.time_s = record.motion.start_s
        self._sides = sides if callable(sides) else lambda shape: sides
        self._group_of = {row: k for k, group in enumerate(self.groups) for row in group.bodies}
        self._row_of = {body.name: row for row, body in enumerate(record.bodies)}
        self._matrices = [vtkMatrix4x4() for _ in self.groups]
        self._marks: list[Any] = []
        self._clear: list[Any] = []
        self._share = 1.0
        self._base: list[tuple[Any, str]] = []
        #: rows into ``record.bodies`` that each of ``actors`` draws, their vertices in this order
        self.drawn: list[tuple[int, ...]] = []
        for k, group in enumerate(self.groups):
            for kind, rows in self._by_kind(group).items():
                self._base.append((self._actor(k, rows, palette.BODIES[kind]), palette.BODIES[kind]))
                self.drawn.append(tuple(rows))
        self.show(self.time_s)

    @property
    def actors(self) -> list[Any]:
        """The actors of all bodies."""
        return [actor for actor, _ in self._base]

    def show(self, time_s: float) -> None:
        """Move everything to where it is at an instant."""
        self.time_s = float(np.clip(time_s, self.record.motion.start_s, self.record.motion.end_s))
        for matrix, pose in zip(self._matrices, group_poses(self.record, self.groups, self.time_s)[0], strict=True):
            matrix.DeepCopy(pose.ravel())

    def body_pose(self, name: str) -> Array:
        """Return T_world_body (4, 4) of a body at the instant shown."""
        row = self._row_of[name]
        k = self._group_of[row]
        matrix = np.array([[self._matrices[k].GetElement(i, j) for j in range(4)] for i in range(4)])
        return np.asarray(matrix @ self.groups[k].local[self.groups[k].bodies.index(row)])

    def vertex_count(self, row: int) -> int:
        """Return how many vertices the body of a row is drawn with."""
        return len(self._surface(row).vertices_m)

    def matrix(self, group: int) -> Any:
        """Return the vtkMatrix4x4 that moves a group, for further actors that go with it."""
        return self._matrices[group]

    def mark(self, colours: Mapping[str, str]) -> list[Any]:
        """Draw bodies, by name, over the others in a colour, and return the new actors to add.

        Marks move with their bodies; forget them with ``unmark``.
        """
        new = [self._actor(self._group_of[self._row_of[name]], [self._row_of[name]], colour, grow=1.004)
               for name, colour in colours.items()]
        self._marks += new
        return new

    def unmark(self) -> list[Any]:
        """Forget all marks and return their actors, to be removed from the renderer."""
        gone, self._marks = self._marks, []
        return gone

    def see_through(self, names: Iterable[str]) -> list[Any]:
        """Let bodies, by name, be seen through, and return the actors to add; undo with ``solid``.

        The actors that hold them among others are hidden; what is returned stands in for them.
        """
        wanted = {self._row_of[name] for name in names}
        new = []
        for (actor, colour), rows in zip(self._base, self.drawn, strict=True):
            clear = [row for row in rows if row in wanted]
            if not clear:
                continue
            actor.SetVisibility(False)
            rest = [row for row in rows if row not in wanted]
            group = self._group_of[rows[0]]
            new += [self._actor(group, rest, colour)] if rest else []
            new.append(self._actor(group, clear, colour, opacity=_CLEAR))
        for standing in new:
            standing.GetProperty().SetColor(*self._dimmed(standing.GetProperty().GetColor()))
        self._clear += new
        return new

    def solid(self) -> list[Any]:
        """Let nothing be seen through any more and return the actors to be removed."""
        for actor, _ in self._base:
            actor.SetVisibility(True)
        gone, self._clear = self._clear, []
        return gone

    def dim(self, share: float) -> None:
        """Show everything but the marks at a share of its brightness, 1 for plain."""
        self._share = share
        for actor, colour in self._base:
            actor.GetProperty().SetColor(*self._dimmed(palette.channels(colour)))

    def _dimmed(self, colour: tuple[float, float, float]) -> Array:
        ground = np.array(palette.channels(palette.ROOM))
        return np.asarray(ground + self._share * (np.array(colour) - ground))

    def _surface(self, row: int) -> Triangles:
        shape = self.record.bodies[row].shape
        return triangles(shape, self._sides(shape))

    def _by_kind(self, group: Group) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {}
        for row in group.bodies:
            found.setdefault(self.kinds[row], []).append(row)
        return found

    def _actor(self, k: int, rows: Iterable[int], colour: str, grow: float = 1.0, opacity: float = 1.0) -> Any:
        group = self.groups[k]
        parts = []
        for row in rows:
            surface = self._surface(row)
            surface = Triangles(surface.vertices_m * grow, surface.faces, surface.normals)
            parts.append((surface, group.local[group.bodies.index(row)]))
        return surface_actor(joined(parts), colour, self._matrices[k], opacity)


def surface_actor(surface: Triangles, colour: str, matrix: Any = None, opacity: float = 1.0) -> Any:
    """Return a VTK actor of a surface in one colour, moved by a vtkMatrix4x4 that the caller may change."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(poly_data(surface))
    mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    if matrix is not None:
        actor.SetUserMatrix(matrix)
    look = actor.GetProperty()
    look.SetColor(*palette.channels(colour))
    look.SetOpacity(opacity)
    look.SetAmbient(0.24)
    look.SetDiffuse(0.8)
    look.SetSpecular(0.12)
    look.SetSpecularPower(20)
    return actor


def poly_data(surface: Triangles) -> Any:
    """Return a surface as vtkPolyData with point normals."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    points, cells, data = vtkPoints(), vtkCellArray(), vtkPolyData()
    points.SetData(numpy_to_vtk(surface.vertices_m.astype(np.float32), deep=True))
    rows = np.hstack([np.full((len(surface.faces), 1), 3), surface.faces]).astype(np.int64)
    cells.ImportLegacyFormat(numpy_to_vtkIdTypeArray(rows.ravel(), deep=True))
    normals = numpy_to_vtk(surface.normals.astype(np.float32), deep=True)
    normals.SetName("Normals")
    data.SetPoints(points)
    data.SetPolys(cells)
    data.GetPointData().SetNormals(normals)
    return data


__all__ = ["STATIC", "SceneActors", "poly_data", "surface_actor"]
