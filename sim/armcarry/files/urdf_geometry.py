"""Collision and visual elements of URDF to convex bodies with colours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from armcarry.errors import InputError
from armcarry.files.meshes import convex, read_mesh
from armcarry.files.names import matches
from armcarry.files.places import is_file
from armcarry.files.urdf_parts import Part
from armcarry.geometry.model import Body, BodyClass
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere

Colour = tuple[float, float, float, float]
SHAPES = ("box", "sphere", "cylinder", "capsule", "mesh")


@dataclass
class GeometryReader:
    """Reads the bodies of one URDF.

    Attributes:
        folder: no file outside of it is opened.
        classes: class of body -> patterns of body names.
        default_class: class of the bodies that fit no pattern.
        materials: colours named at robot level.
        files: every mesh read so far, path -> bytes.
    """

    folder: Path
    classes: Mapping[BodyClass, Iterable[str]]
    default_class: BodyClass
    materials: dict[str, Colour] = field(default_factory=dict)
    files: dict[Path, bytes] = field(default_factory=dict)
    hulls: dict[tuple[Path, tuple[float, ...]], ConvexMesh] = field(default_factory=dict)

    def bodies(self, link: Part, link_name: str) -> list[Body]:
        """Return the bodies of a link, coloured like the visuals of the same geometry.

        A collision without a name takes the link's, with a number where the link has several.
        """
        collisions = [Part(element, link.path) for element in link.element.all("collision")]
        colours = self._visual_colours(link)
        bodies = []
        for number, part in enumerate(collisions, start=1):
            part.attributes((), ("name",))
            part.children(("origin", "geometry"), ("verbose", "contact_coefficients", "max_contacts"))
            named = "name" in part.element.attributes
            name = part.name() if named else (link_name if len(collisions) == 1 else f"{link_name}_{number}")
            shape, pose = self._shape(part.need("geometry")), part.origin()
            key = self._key(part)
            colour = colours.get(key) or next(iter(colours.values()), None)
            bodies.append(Body(name, link_name, shape, pose, self._class(name), colour))
        return bodies

    def _class(self, body: str) -> BodyClass:
        for body_class, patterns in self.classes.items():
            if any(matches(pattern, body) for pattern in patterns):
                return body_class
        return self.default_class

    def _shape(self, geometry: Part) -> Shape:
        geometry.children(SHAPES)
        if len(geometry.element.children) != 1:
            raise geometry.refuse(
                "<geometry> needs exactly one shape",
                found=f"{len(geometry.element.children)} shapes",
                accepted=", ".join(f"<{shape}>" for shape in SHAPES),
            )
        part = Part(geometry.element.children[0], geometry.path)
        match part.tag:
            case "box":
                part.attributes(("size",))
                size = part.numbers("size", 3)
                if min(size) <= 0:
                    raise part.refuse("<box size>: no size", found=size, accepted="metres, more than 0")
                return Box((size[0], size[1], size[2]))
            case "sphere":
                part.attributes(("radius",))
                return Sphere(part.size("radius"))
            case "cylinder":
                part.attributes(("radius", "length"))
                return Cylinder(part.size("radius"), part.size("length"))
            case "capsule":
                # URDF 1.2; length is that of the axis segment, as pybullet and urdfdom take it
                part.attributes(("radius", "length"))
                return Capsule(part.size("radius"), part.size("length"))
            case _:
                return self._mesh(part)

    def _mesh(self, part: Part) -> ConvexMesh:
        given = part.attributes(("filename",), ("scale",))
        scale = part.numbers("scale", 3) if "scale" in given else (1.0, 1.0, 1.0)
        if min(scale) <= 0:
            raise part.refuse(
                "<mesh scale>: zero or mirrored", found=given["scale"], accepted="three numbers more than 0"
            )
        path = self.resolve(part, given["filename"])
        key = (path, tuple(scale))
        if key not in self.hulls:
            try:
                mesh, content = read_mesh(path)
                self.hulls[key] = convex(mesh, np.array(scale), path)
            except InputError as error:
                raise part.refuse(f"<mesh filename>: {error}") from error
            self.files[path] = content
        return self.hulls[key]

    def resolve(self, part: Part, filename: str) -> Path:
        """Return the path of a mesh inside the model folder.

        ``package://name/a/b.stl`` is a/b.stl or name/a/b.stl, under the URDF's own folder or the model folder.

        Raises:
            InputError: outside the model folder, or no such file.
        """
        inside = "a path inside the model folder"
        whole = filename.removeprefix("package://")
        plain = PurePosixPath(whole)
        if any(sign in whole for sign in ":\\\0") or plain.is_absolute() or not whole.strip() or len(whole) > 400:
            raise part.refuse("<mesh filename>: not a path inside the model folder", found=filename, accepted=inside)
        ways = [plain]
        if filename.startswith("package://"):
            ways.insert(0, PurePosixPath(*plain.parts[1:]))
        folder = self.folder.resolve()
        for start, way in product((part.path.parent, self.folder), ways):
            path = (start / way).resolve()
            if not path.is_relative_to(folder):
                raise part.refuse("<mesh filename>: leads out of the model folder", found=filename, accepted=inside)
            if is_file(path):
                return path
        raise part.refuse("<mesh filename>: no such file", found=filename, accepted=inside)

    # -- colours --------------------------------------------------------------------------------------

    def read_material(self, part: Part) -> Colour | None:
        """Return the colour of a <material>; one without a colour is looked up by its name."""
        part.children(("color", "texture"))
        colour = part.one("color")
        if colour is None:
            return self.materials.get(part.element.attributes.get("name", ""))
        colour.attributes(("rgba",))
        rgba = colour.numbers("rgba", 4)
        if min(rgba) < 0 or max(rgba) > 1:
            raise colour.refuse("<color rgba>: outside 0 to 1", found=rgba, accepted="four numbers from 0 to 1")
        return (rgba[0], rgba[1], rgba[2], rgba[3])

    def _visual_colours(self, link: Part) -> dict[Any, Colour]:
        colours: dict[Any, Colour] = {}
        for element in link.element.all("visual"):
            visual = Part(element, link.path)
            material = visual.one("material")
            colour = None if material is None else self.read_material(material)
            if colour is not None:
                colours.setdefault(self._key(visual), colour)
        return colours

    @staticmethod
    def _key(part: Part) -> Any:
        """Return what makes two of <visual> and <collision> the same geometry: shape and origin as written."""

        def spelled(tag: str) -> Any:
            found = part.element.all(tag)
            if not found:
                return ()
            inner = [(child.tag, tuple(sorted(child.attributes.items()))) for child in found[0].children]
            return (tuple(sorted(found[0].attributes.items())), tuple(inner))

        return spelled("origin"), spelled("geometry")
