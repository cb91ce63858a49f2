"""A URDF from elsewhere to a model folder of ours: convex pieces in place of meshes, every liberty told.

What the strict reader refuses because it would have to guess is settled here, once and in words: meshes that are
not convex, joints that mimic others (held), links with a visual alone, elements of other tools. The result is read
by the strict reader like any other model.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from xml.sax.saxutils import quoteattr

import numpy as np

from armcarry.errors import InputError, InputErrors
from armcarry.files.import_mesh import READ, ImportedMesh, import_mesh
from armcarry.files.meshes import MAX_TRIANGLES
from armcarry.files.places import is_file
from armcarry.files.urdf_parts import Part
from armcarry.files.xml_text import read_xml
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import ConvexMesh

_UNNAMED = re.compile(r"[^A-Za-z0-9_.-]+")


@dataclass(eq=False)
class ImportedUrdf:
    """A URDF as it was understood.

    Attributes:
        name: the robot's name.
        urdf: text of the URDF of ours.
        meshes: path beside it -> OBJ text.
        rows: link, mesh -> what became of each mesh.
        notes: every liberty taken, with the line of the file it is about.
        drivers: joints that others followed.
    """

    name: str
    urdf: str = ""
    meshes: dict[str, str] = field(default_factory=dict)
    rows: list[tuple[str, ImportedMesh]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    drivers: set[str] = field(default_factory=set)

    def files(self, name: str) -> dict[str, bytes]:
        """Return the meshes and the URDF, which gets a name: path beside it -> content."""
        return {path: text.encode() for path, text in {**self.meshes, f"{name}.urdf": self.urdf}.items()}


def import_urdf(
    path: Path, root: Path | None = None, *, tolerance_m: float = 0.01, most: int = 16,
    most_triangles: int = MAX_TRIANGLES,
) -> ImportedUrdf:
    """Read a URDF of anybody's.

    Args:
        path: the URDF.
        root: folder that holds its packages or meshes; nothing outside is opened. Default the folder above
            the URDF's, as in package/urdf/robot.urdf.
        tolerance_m, most: as ``convex_pieces``, for each mesh.

    Raises:
        InputError: not a URDF, or a mesh that is not found or not read; InputErrors when there are several.
    """
    element, _ = read_xml(path)
    robot = Part(element, path)
    if robot.tag != "robot":
        raise robot.refuse("not a URDF", found=f"<{robot.tag}>", accepted="<robot name=...>")
    reader = _Reader(robot, (root or path.resolve().parent.parent).resolve(), tolerance_m, most, most_triangles)
    return reader.read()


class _Reader:
    def __init__(self, robot: Part, root: Path, tolerance_m: float, most: int, most_triangles: int) -> None:
        self.robot, self.root, self.tolerance_m, self.most = robot, root, tolerance_m, most
        self.most_triangles = most_triangles
        self.result = ImportedUrdf(_UNNAMED.sub("_", robot.element.attributes.get("name", "robot"))[:60] or "robot")
        self.lines: list[str] = []
        self.problems: list[InputError] = []
        self.names: set[str] = set()
        self.known: dict[tuple[Path, tuple[float, ...]], ImportedMesh] = {}
        spans = [np.linalg.norm(Part(j, robot.path).origin()[:3, 3]) for j in robot.element.all("joint")]
        self.length_m = float(max(spans, default=0.0)) or 1.0

    def read(self) -> ImportedUrdf:
        for element in self.robot.element.all("link"):
            self.link(Part(element, self.robot.path))
        for element in self.robot.element.all("joint"):
            self.joint(Part(element, self.robot.path))
        if len(self.problems) == 1:
            raise self.problems[0]
        if self.problems:
            raise InputErrors(self.problems)
        body = "\n".join(self.lines)
        self.result.urdf = f'<?xml version="1.0"?>\n<robot name={quoteattr(self.result.name)}>\n{body}\n</robot>\n'
        return self.result

    def note(self, part: Part, words: str) -> None:
        self.result.notes.append(f"{part.path.name}:{part.element.line}: {words}")

    # -- links ---------------------------------------------------------------------------------------------

    def passed_over(self, part: Part, known: tuple[str, ...]) -> None:
        """Note the elements that say nothing about where bodies are."""
        odd = sorted({child.tag for child in part.element.children} - set(known))
        if odd:
            name = part.element.attributes.get("name", "")
            self.note(part, f"{part.tag} '{name}': passed over {', '.join(f'<{tag[:40]}>' for tag in odd)}")

    def link(self, part: Part) -> None:
        name = part.name(levels=True)
        self.passed_over(part, ("collision", "visual", "inertial"))
        shown = part.element.all("collision")
        if not shown and part.element.all("visual"):
            shown = part.element.all("visual")
            self.note(part, f"link '{name}' has no <collision>; its <visual> is taken")
        written: list[str] = []
        for element in shown:
            try:
                written.extend(self.geometry(Part(element, part.path), name, len(written)))
            except InputError as error:
                self.problems.append(error)
        if not written:
            self.lines.append(f"  <link name={quoteattr(name)}/>")
            return
        self.lines += [f"  <link name={quoteattr(name)}>", *written, "  </link>"]

    def geometry(self, part: Part, link: str, count: int) -> list[str]:
        shapes = part.need("geometry").element.children
        if len(shapes) != 1:
            raise part.refuse("<geometry> needs exactly one shape", found=f"{len(shapes)} shapes")
        shape = Part(shapes[0], part.path)
        origin, own = _origin(part), _UNNAMED.sub("_", part.element.attributes.get("name", ""))[:60]
        if shape.tag != "mesh":
            attributes = " ".join(f"{key}={quoteattr(value)}" for key, value in shape.element.attributes.items())
            name = self.new_name(part, own, f"{link}_{count + 1}")
            return [_collision(name, origin, f"<{shape.tag} {attributes}/>")]
        mesh = self.mesh(shape)
        self.result.rows.append((link, mesh))
        for words in mesh.notes:
            self.note(shape, f"{mesh.name}: {words}")
        lines = []
        for k, piece in enumerate(mesh.pieces.shapes, start=1):
            wanted = own if len(mesh.pieces.shapes) == 1 else f"{own}_{k}"
            name = self.new_name(part, wanted if own else "", f"{link}_{count + k}")
            path = f"meshes/{name}.obj"
            self.result.meshes[path] = obj_text(piece)
            lines.append(_collision(name, origin, f'<mesh filename="{path}"/>'))
        return lines

    def new_name(self, part: Part, own: str, plain: str) -> str:
        """Return the name of a collision as the file has it, so that rules can name it; ``plain`` where it has none."""
        name = own or plain
        if name in self.names:
            number = next(k for k in range(2, len(self.names) + 3) if f"{name}_{k}" not in self.names)
            if own:
                self.note(part, f"a second <collision> is named '{name}'; it is called '{name}_{number}' here")
            name = f"{name}_{number}"
        self.names.add(name)
        return name

    def mesh(self, part: Part) -> ImportedMesh:
        given = part.element.attributes.get("filename", "")
        scale = part.numbers("scale", 3) if "scale" in part.element.attributes else (1.0, 1.0, 1.0)
        path = self.find(part, given)
        key = (path, tuple(scale))
        if key not in self.known:
            try:
                self.known[key] = import_mesh(
                    path, np.array(scale), tolerance_m=self.tolerance_m, most=self.most, length_m=self.length_m,
                    most_triangles=self.most_triangles,
                )
            except InputError as error:
                raise part.refuse(f"<mesh filename>: {error}") from error
        return self.known[key]

    def find(self, part: Part, given: str) -> Path:
        """Return the mesh of a file name: beside the URDF, or under a folder above it, never outside the root."""
        plain = PurePosixPath(given.removeprefix("package://").removeprefix("file://"))
        other = _package_root(part.path, given) or "FOLDER"
        accepted = f"a path inside {self.root}; --root {other} allows another folder"
        if not given.strip() or len(given) > 400 or any(sign in str(plain) for sign in "\\:\0") or ".." in plain.parts:
            raise part.refuse("<mesh filename>: not a path inside the root", found=given, accepted=accepted)
        if plain.is_absolute():
            raise part.refuse("<mesh filename>: an absolute path", found=given, accepted=accepted)
        ways = [plain, PurePosixPath(*plain.parts[1:])] if given.startswith("package://") else [plain]
        place = part.path.resolve().parent
        while place.is_relative_to(self.root):
            for way in ways:
                path = (place / way).resolve()
                if way.parts and is_file(path) and path.is_relative_to(self.root):
                    if path.suffix.lower() not in READ:
                        raise part.refuse(
                            "<mesh filename>: a mesh of a kind that is not read", found=given,
                            accepted=f"{', '.join(READ)}: convert it first",
                        )
                    return path
            if place == place.parent:
                break
            place = place.parent
        raise part.refuse("<mesh filename>: no such file", found=given, accepted=accepted)

    # -- joints --------------------------------------------------------------------------------------------

    def joint(self, part: Part) -> None:
        try:
            self.lines.extend(self.joint_lines(part))
        except InputError as error:
            self.problems.append(error)

    def joint_lines(self, part: Part) -> list[str]:
        name, kind = part.name(levels=True), part.element.attributes.get("type", "")
        self.passed_over(part, ("origin", "parent", "child", "axis", "limit", "mimic"))
        ends = [part.need(tag).name("link", levels=True) for tag in ("parent", "child")]
        lines = [
            f"  <joint name={quoteattr(name)} type={quoteattr(kind)}>", f"    {_origin(part)}",
            f"    <parent link={quoteattr(ends[0])}/><child link={quoteattr(ends[1])}/>",
        ]  # fmt: skip
        axis, limit = part.one("axis"), part.one("limit")
        if axis is not None and kind != "fixed":
            lines.append(f"    <axis xyz={quoteattr(axis.element.attributes.get('xyz', '1 0 0'))}/>")
        if limit is not None and kind != "fixed":
            given = {"effort": "0", "velocity": "0", **limit.element.attributes}
            if kind == "continuous":
                given.pop("lower", None)
                given.pop("upper", None)
            known = [key for key in ("lower", "upper", "effort", "velocity") if key in given]
            written = " ".join(f"{key}={quoteattr(given[key])}" for key in known)
            lines.append(f"    <limit {written}/>")
        return [*lines, *(self.followed(part, name) if kind != "fixed" else []), "  </joint>"]

    def followed(self, part: Part, name: str) -> list[str]:
        """Return the line of a joint that follows another, as it stands, and note it."""
        mimic = part.one("mimic")
        if mimic is None:
            return []
        other = mimic.element.attributes.get("joint", "")
        self.result.drivers.add(other)
        self.note(part, f"joint '{name}' follows '{other}'; no move of a rehearsal moves either, both stand as at home")
        given = mimic.element.attributes
        known = [f"{key}={quoteattr(given[key])}" for key in ("joint", "multiplier", "offset") if key in given]
        return [f"    <mimic {' '.join(known)}/>"]


def _package_root(urdf: Path, given: str) -> Path | None:
    """Return the folder that holds the package a mesh is said to be in, if the URDF lies in a folder of its name."""
    package = PurePosixPath(given.removeprefix("package://")).parts[:1]
    around = [place.parent for place in urdf.resolve().parents if (place.name,) == package]
    return around[0] if around and given.startswith("package://") else None


def _pose(pose: Array) -> str:
    xyz = " ".join(repr(float(v)) for v in pose[:3, 3])
    rpy = " ".join(repr(float(v)) for v in poses.rpy(pose))
    return f'<origin xyz="{xyz}" rpy="{rpy}"/>'


def _origin(part: Part) -> str:
    found = part.one("origin")
    given = {} if found is None else found.element.attributes
    xyz, rpy = (quoteattr(given.get(key, "0 0 0")) for key in ("xyz", "rpy"))
    return f"<origin xyz={xyz} rpy={rpy}/>"


def _collision(name: str, origin: str, shape: str) -> str:
    return f"    <collision name={quoteattr(name)}>{origin}<geometry>{shape}</geometry></collision>"


def obj_text(shape: ConvexMesh) -> str:
    """Return a hull as OBJ text that reads back bit for bit."""
    corners = [f"v {x!r} {y!r} {z!r}" for x, y, z in shape.vertices_m.tolist()]
    faces = [f"f {a} {b} {c}" for a, b, c in (shape.faces + 1).tolist()]
    return "\n".join([*corners, *faces]) + "\n"
