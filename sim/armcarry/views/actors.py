"""The scene of a run as VTK actors, built once and moved by matrices; for pictures, the movie and the player."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape
from armcarry.record.record import Record
from armcarry.views import gl, palette
from armcarry.views.groups import STATIC, arm_groups, body_kinds, group_poses, rigid_groups
from armcarry.views.indoors import indoors_at
from armcarry.views.looks import MATERIALS, looks
from armcarry.views.meshes import Triangles, joined, triangles
from armcarry.views.pieces import Piece, When, pieces
from armcarry.views.tone import through_curve

#: opacity of a body that is seen through
_CLEAR = 0.16
#: a mark is so much larger than its body, and has so much light of its own
_GROWN, _GLOW = 1.004, 0.35
#: what every surface throws back of the light from all around, so that nothing is black
_AMBIENT = 0.14


@dataclass(frozen=True, eq=False)
class _Part:
    """An actor of some pieces of one mover: which rows of which things it draws, whose vertices, its colours."""

    actor: Any
    group: int
    when: When
    owners: frozenset[str]
    pieces: tuple[tuple[int, Piece], ...]
    surface: Triangles
    own: NDArray[np.uint8]
    shown: NDArray[np.uint8]
    scalars: Any

    def slices(self) -> Iterable[tuple[int, slice]]:
        """Yield a row and its vertices for each piece."""
        end = 0
        for row, piece in self.pieces:
            start, end = end, end + len(piece.surface.vertices_m)
            yield row, slice(start, end)


class SceneActors:
    """All bodies of a run, merged by rigid group and material, coloured vertex by vertex.

    Attributes:
        groups: the rigid groups; actors of a group share one matrix.
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
        #: what matrices move: the groups, then parts of arms that are drawn with their hand on a rail
        self._movers = (*self.groups, *arm_groups(record))
        self.kinds, self.looks = body_kinds(record), looks(record)
        self.time_s = record.motion.start_s
        self._sides = sides if callable(sides) else lambda shape: sides
        self._group_of = {row: k for k, group in enumerate(self.groups) for row in group.bodies}
        self._row_of = {body.name: row for row, body in enumerate(record.bodies)}
        self._matrices = [vtkMatrix4x4() for _ in self._movers]
        self._marks: list[Any] = []
        self._clear: list[_Part] = []
        self._proven = False
        self._indoors = frozenset[str]()
        self._replaced: set[_Part] = set()
        #: the triangles of each part where it was last asked for: most of a scene stands still
        self._cast: dict[int, tuple[Array, NDArray[np.float32]]] = {}
        self._painted: dict[int, str] = {}
        self._share, self._spared = 1.0, frozenset[int]()
        self._parts = [self._part(k, when, some) for k, when, some in self._sorted(pieces(record, self._sides))]
        self.show_proven(False)
        self.show(self.time_s)

    @property
    def actors(self) -> list[Any]:
        """Every actor of the bodies, to be added to a renderer once and never again."""
        return [part.actor for part in self._parts]

    @property
    def drawn(self) -> list[tuple[int, ...]]:
        """Rows into ``record.bodies`` that each of ``actors`` draws."""
        return [tuple(dict.fromkeys(row for row, _ in part.pieces)) for part in self._parts]

    def show(self, time_s: float) -> None:
        """Move everything to where it is at an instant."""
        self.time_s = float(np.clip(time_s, self.record.motion.start_s, self.record.motion.end_s))
        for matrix, pose in zip(self._matrices, group_poses(self.record, self._movers, self.time_s)[0], strict=True):
            matrix.DeepCopy(pose.ravel())
        within = indoors_at(self.record, self.time_s)
        if within != self._indoors:
            self._indoors = within
            self._show_parts()

    def stand(self, there: Record) -> None:
        """Move every group to where it is in a run that stands still at the instant shown, as after a fault."""
        tree, links = there.link_poses(self.time_s)
        for group, matrix in zip(self.groups, self._matrices, strict=False):  # drawn arms are of people on rails
            matrix.DeepCopy(links[tree.index(group.link)].ravel())

    def body_pose(self, name: str) -> Array:
        """Return T_world_body (4, 4) of a body at the instant shown."""
        row = self._row_of[name]
        k = self._group_of[row]
        return np.asarray(self._pose(k) @ self.groups[k].local[self.groups[k].bodies.index(row)])

    def matrix(self, group: int) -> Any:
        """Return the vtkMatrix4x4 that moves a group, for further actors that go with it."""
        return self._matrices[group]

    def corners_m(self) -> NDArray[np.float32]:
        """Return the triangles (n, 3, 3) of all bodies as they are shown, in the world: what casts shadows."""
        found = []
        for k, part in enumerate(self._parts):
            if self._is_shown(part):
                pose = self._pose(part.group)
                if k not in self._cast or not np.array_equal(self._cast[k][0], pose):
                    points = part.surface.vertices_m @ pose[:3, :3].T + pose[:3, 3]
                    self._cast[k] = (pose, points.astype(np.float32)[part.surface.faces])
                found.append(self._cast[k][1])
        return np.concatenate(found) if found else np.zeros((0, 3, 3), dtype=np.float32)

    def cull(self) -> None:
        """Leave out the backs of bodies, which are closed: an eye inside a helmet must see out."""
        for actor in self.actors:
            actor.GetProperty().SetBackfaceCulling(True)

    # -- what stands out ----------------------------------------------------------------------

    def show_proven(self, on: bool) -> None:
        """Show people as the bodies that were proven, in place of what is drawn for them; or take that back."""
        self._proven = on
        self._show_parts()

    def mark(self, colours: Mapping[str, str]) -> list[Any]:
        """Draw bodies as they were proven, by name, over the others in a colour; return the actors to add.

        Marks move with their bodies; forget them with ``unmark``.
        """
        new = []
        for name, colour in colours.items():
            row = self._row_of[name]
            k, shape = self._group_of[row], self.record.bodies[row].shape
            plain = triangles(shape, self._sides(shape))
            grown = Triangles(plain.vertices_m * _GROWN, plain.faces, plain.normals)
            local = self.groups[k].local[self.groups[k].bodies.index(row)]
            new.append(surface_actor(joined([(grown, local)]), colour, self._matrices[k]))
            new[-1].GetProperty().SetAmbient(_GLOW)
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
        for part in self._parts:
            clear = [pair for pair in part.pieces if pair[0] in wanted]
            if clear and part.actor.GetVisibility():
                rest = [pair for pair in part.pieces if pair[0] not in wanted]
                self._clear += [self._part(part.group, part.when, rest)] if rest else []
                self._clear.append(self._part(part.group, part.when, clear, _CLEAR))
                self._replaced.add(part)
        self._show_parts()
        self._colour(self._clear)
        return [part.actor for part in self._clear]

    def solid(self) -> list[Any]:
        """Let nothing be seen through any more and return the actors to be removed."""
        gone, self._clear = self._clear, []
        self._replaced.clear()
        self._show_parts()
        return [part.actor for part in gone]

    def dim(self, share: float, but: Iterable[str] = ()) -> None:
        """Show everything but the marks, and the bodies named, at a share of its brightness, 1 for plain."""
        self._share, self._spared = share, frozenset(self._row_of[name] for name in but)
        self._colour([*self._parts, *self._clear])

    def paint(self, colours: Mapping[int, str | None]) -> None:
        """Colour bodies, rows into ``record.bodies``; None gives a body its own colours back."""
        for row, colour in colours.items():
            if colour is None:
                self._painted.pop(row, None)
            else:
                self._painted[row] = colour
        self._colour([part for part in self._parts if any(row in colours for row, _ in part.pieces)])

    def _colour(self, parts: Iterable[_Part]) -> None:
        """Write the colours of all vertices of some parts: painted or their own, dimmed where that is asked."""
        ground = 255 * np.array(palette.channels(palette.ROOM))
        for part in parts:
            for row, inside in part.slices():
                painted = self._painted.get(row)
                colour = part.own[inside] if painted is None else _bytes(painted)
                share = 1.0 if row in self._spared else self._share
                part.shown[inside] = colour if share == 1.0 else np.round(ground + share * (colour - ground))
            part.scalars.Modified()

    def _show_parts(self) -> None:
        for part in self._parts:
            part.actor.SetVisibility(self._is_shown(part) and part not in self._replaced)

    def _is_shown(self, part: _Part) -> bool:
        """Tell whether a part is of how people are drawn now, and outside."""
        return part.when in ("always", "proven" if self._proven else "dress") and not part.owners <= self._indoors

    def _pose(self, k: int) -> Array:
        return np.array([[self._matrices[k].GetElement(i, j) for j in range(4)] for i in range(4)])

    def _sorted(
        self, every: tuple[tuple[Piece, ...], ...]
    ) -> Iterable[tuple[int, When, list[tuple[int, Piece]]]]:
        """Yield the pieces that make one actor: those of one mover, material and time to be shown."""
        found: dict[tuple[int, str, When], list[tuple[int, Piece]]] = {}
        arm_of = {mover.bodies[0]: k for k, mover in enumerate(self._movers) if mover.drawn_arm is not None}
        for k, group in enumerate(self.groups):
            for row in group.bodies:
                for piece in every[row]:
                    by = arm_of.get(row, k) if piece.when == "dress" else k
                    found.setdefault((by, piece.look.material, piece.when), []).append((row, piece))
        return [(k, when, some) for (k, _, when), some in found.items()]

    def _part(self, k: int, when: When, some: list[tuple[int, Piece]], opacity: float = 1.0) -> _Part:
        from vtkmodules.util.numpy_support import numpy_to_vtk

        local = dict(zip(self._movers[k].bodies, self._movers[k].local, strict=True))
        surface = joined([(piece.surface, local[row]) for row, piece in some])
        own = np.concatenate([
            np.tile(_bytes(piece.look.colour), (len(piece.surface.vertices_m), 1)) for _, piece in some
        ])
        shown = own.copy()
        scalars = numpy_to_vtk(shown)  # shares memory with the array, which the part keeps alive
        scalars.SetName("colour")
        material = some[0][1].look.material
        actor = surface_actor(surface, palette.LIGHT, self._matrices[k], opacity, material)
        mapper = actor.GetMapper()
        mapper.GetInput().GetPointData().SetScalars(scalars)
        mapper.SetColorModeToDirectScalars()
        mapper.ScalarVisibilityOn()
        owners = frozenset(self.record.bodies[row].name.split("/", 1)[0] for row, _ in some)
        return _Part(actor, k, when, owners, tuple(some), surface, own, shown, scalars)


def surface_actor(
    surface: Triangles, colour: str, matrix: Any = None, opacity: float = 1.0, material: str = "paint"
) -> Any:
    """Return a VTK actor of a surface in one colour, moved by a vtkMatrix4x4 that the caller may change."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(poly_data(surface))
    mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    if matrix is not None:
        actor.SetUserMatrix(matrix)
    look, made_of = actor.GetProperty(), MATERIALS[material]
    look.SetColor(*palette.channels(colour))
    look.SetOpacity(opacity)
    look.SetAmbient(_AMBIENT)
    look.SetDiffuse(made_of.diffuse)
    look.SetSpecular(made_of.specular)
    look.SetSpecularPower(made_of.power)
    through_curve(actor)
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


def _bytes(colour: str) -> NDArray[np.uint8]:
    return np.array([round(255 * part) for part in palette.channels(colour)], dtype=np.uint8)


__all__ = ["STATIC", "SceneActors", "poly_data", "surface_actor"]
