"""Builds URDF text link by link: what is seen is what is checked, so every body is written as both.

Lengths in metres, angles in radians, poses (4, 4) that take the child's coordinates to the parent's.
Numbers are written with a fixed count of decimals, so that the same input gives the same bytes anywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from colours import COLOURS

from armcarry.geometry import poses, shapes

Array = poses.Array
Vector = Sequence[float]

#: mass and inertia of a link that is only a frame, small enough to matter to nothing
FRAME_MASS_KG = 0.001
FRAME_INERTIA_KG_M2 = 0.000001


def number(value: float, decimals: int = 6) -> str:
    """Write a number with at most ``decimals`` decimals, no trailing zeros, no negative zero."""
    text = f"{float(value):.{decimals}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def at(
    x: float = 0.0, y: float = 0.0, z: float = 0.0, roll: float = 0.0, pitch: float = 0.0, yaw: float = 0.0
) -> Array:
    """Return a pose from metres and degrees, fixed-axis roll, pitch, yaw."""
    return poses.from_xyz_rpy((x, y, z), np.radians((roll, pitch, yaw)))


def axes(origin: Vector, x: Vector, z: Vector) -> Array:
    """Return the pose at ``origin`` whose x and z axes point along ``x`` and ``z`` (unit, at right angles)."""
    pose = poses.identity()
    pose[:3, 0], pose[:3, 2] = x, z
    pose[:3, 1] = np.cross(z, x)
    pose[:3, 3] = origin
    return pose


def along(start: Vector, end: Vector) -> tuple[Array, float]:
    """Return the pose in the middle of a segment with z along it, and the segment's length in metres."""
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    length = float(np.linalg.norm(b - a))
    z = (b - a) / length
    side = np.array([1.0, 0.0, 0.0]) if abs(z[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    x = side - z * float(side @ z)
    return axes((a + b) / 2, x / np.linalg.norm(x), z), length


@dataclass(frozen=True)
class Piece:
    """A convex body of a link."""

    name: str
    shape: shapes.Shape
    pose: Array
    colour: str
    mesh: str = ""


@dataclass
class Link:
    """A link in the making."""

    name: str
    mass_kg: float
    pieces: list[Piece] = field(default_factory=list)


@dataclass
class Robot:
    """A URDF in the making; ``where`` remembers T_root_link with every joint at zero."""

    name: str
    root: str
    root_mass_kg: float = 0.0
    links: dict[str, Link] = field(default_factory=dict)
    joints: list[str] = field(default_factory=list)
    where: dict[str, Array] = field(default_factory=dict)
    meshes: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Start with the root link."""
        self.links[self.root] = Link(self.root, self.root_mass_kg)
        self.where[self.root] = poses.identity()

    def fixed(self, child: str, parent: str, pose: Array, mass_kg: float = 0.0) -> None:
        """Add a link that does not move against its parent; without a mass it is only a frame."""
        self._joint(f"{child}_fixed", "fixed", child, parent, pose, mass_kg, "")

    def frame_in_root(self, name: str, pose: Array, parent: str | None = None) -> None:
        """Add a frame whose pose is given in the root; it hangs from ``parent`` (default the root)."""
        parent = parent or self.root
        self.fixed(name, parent, poses.inverse(self.where[parent]) @ pose)

    def turning(
        self, joint: str, child: str, parent: str, pose: Array, axis: Vector, travel: tuple[float, float],
        rate: float, mass_kg: float, kind: str = "revolute",
    ) -> None:
        """Add a link on a joint: ``travel`` and ``rate`` in degrees if it turns, in metres if ``prismatic``."""
        scale = np.pi / 180 if kind == "revolute" else 1.0
        low, high = (number(value * scale, 9) for value in travel)
        limit = (
            f'    <axis xyz="{" ".join(number(v) for v in axis)}"/>\n'
            f'    <limit lower="{low}" upper="{high}" effort="1000" velocity="{number(rate * scale, 9)}"/>\n'
        )
        self._joint(joint, kind, child, parent, pose, mass_kg, limit)

    def _joint(
        self, name: str, kind: str, child: str, parent: str, pose: Array, mass_kg: float, limit: str
    ) -> None:
        if child in self.links:
            raise ValueError(f"link '{child}' is there already")
        self.links[child] = Link(child, mass_kg)
        self.where[child] = self.where[parent] @ pose
        self.joints.append(
            f'  <joint name="{name}" type="{kind}">\n    <parent link="{parent}"/>\n    <child link="{child}"/>\n'
            f"    {origin(pose)}\n{limit}  </joint>\n"
        )

    def body(self, link: str, name: str, shape: shapes.Shape, pose: Array, colour: str, mesh: str = "") -> None:
        """Add a convex body to a link."""
        if any(piece.name == name for part in self.links.values() for piece in part.pieces):
            raise ValueError(f"body '{name}' is there already")
        self.links[link].pieces.append(Piece(name, shape, pose, colour, mesh))

    def box(self, link: str, name: str, size: Vector, pose: Array, colour: str) -> None:
        """Add a box with full edge lengths."""
        self.body(link, name, shapes.Box((size[0], size[1], size[2])), pose, colour)

    def cylinder(self, link: str, name: str, radius: float, start: Vector, end: Vector, colour: str) -> None:
        """Add a cylinder whose axis runs from start to end, both in the link's frame."""
        pose, length = along(start, end)
        self.body(link, name, shapes.Cylinder(radius, length), pose, colour)

    def capsule(self, link: str, name: str, radius: float, start: Vector, end: Vector, colour: str) -> None:
        """Add a capsule whose axis segment runs from start to end."""
        pose, length = along(start, end)
        self.body(link, name, shapes.Capsule(radius, length), pose, colour)

    def ball(self, link: str, name: str, radius: float, centre: Vector, colour: str) -> None:
        """Add a ball."""
        self.body(link, name, shapes.Sphere(radius), poses.translation(centre), colour)

    def mesh(self, link: str, name: str, points: Array, pose: Array, colour: str) -> None:
        """Add the convex hull of points, written as an OBJ file beside the URDF."""
        hull = shapes.ConvexMesh.hull_of(np.round(points, 6))
        path = f"meshes/{name}.obj"
        self.meshes[path] = obj_text(hull)
        self.body(link, name, hull, pose, colour, path)

    def text(self) -> str:
        """Return the whole URDF."""
        used = sorted({piece.colour for link in self.links.values() for piece in link.pieces})
        colours = "".join(
            f'  <material name="{name}"><color rgba="{" ".join(number(v) for v in COLOURS[name])}"/></material>\n'
            for name in used
        )
        links = "".join(link_text(link) for link in self.links.values())
        # version 1.2 of URDF is the one that has capsules; a capsule's length is that of its axis segment
        return (
            f'<?xml version="1.0"?>\n<!-- written by models/generator: change it there -->\n'
            f'<robot name="{self.name}" version="1.2">\n{colours}{links}{"".join(self.joints)}</robot>\n'
        )

    def write(self, folder: Path, file: str) -> None:
        """Write the URDF and its meshes into a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        write_text(folder / file, self.text())
        for path, text in self.meshes.items():
            (folder / path).parent.mkdir(exist_ok=True)
            write_text(folder / path, text)


def write_text(path: Path, text: str) -> None:
    """Write text with the same line ends on every system."""
    path.write_bytes(text.encode())


def origin(pose: Array) -> str:
    """Return an origin element."""
    xyz = " ".join(number(v) for v in pose[:3, 3])
    angles = poses.rpy(pose)
    back = poses.from_xyz_rpy(pose[:3, 3], angles)
    if not np.allclose(back, pose, atol=1e-9):
        raise ValueError("roll, pitch, yaw do not give the pose back")
    rpy = " ".join(number(v, 9) for v in angles)
    return f'<origin xyz="{xyz}" rpy="{rpy}"/>'


def geometry(piece: Piece) -> str:
    """Return a geometry element."""
    match piece.shape:
        case shapes.Box(size):
            inner = f'<box size="{" ".join(number(v) for v in size)}"/>'
        case shapes.Cylinder(radius, length):
            inner = f'<cylinder radius="{number(radius)}" length="{number(length)}"/>'
        case shapes.Capsule(radius, length):
            inner = f'<capsule radius="{number(radius)}" length="{number(length)}"/>'
        case shapes.Sphere(radius):
            inner = f'<sphere radius="{number(radius)}"/>'
        case _:
            inner = f'<mesh filename="{piece.mesh}"/>'
    return f"<geometry>{inner}</geometry>"


def link_text(link: Link) -> str:
    """Return a link element with mass properties and its bodies, each as visual and as collision."""
    lines = [f'  <link name="{link.name}">\n', inertial(link)]
    for piece in link.pieces:
        place, form = origin(piece.pose), geometry(piece)
        lines.append(
            f'    <visual name="{piece.name}">{place}{form}<material name="{piece.colour}"/></visual>\n'
            f'    <collision name="{piece.name}">{place}{form}</collision>\n'
        )
    return "".join(lines) + "  </link>\n"


def inertial(link: Link) -> str:
    """Return the inertial element: the link's mass spread over its bodies by volume, each as its bounding box."""
    volumes = np.array([shapes.volume_m3(piece.shape) for piece in link.pieces])
    if not link.mass_kg or not len(volumes):
        return _inertial(np.zeros(3), max(link.mass_kg, FRAME_MASS_KG), np.eye(3) * FRAME_INERTIA_KG_M2)
    masses = link.mass_kg * volumes / volumes.sum()
    corners = [shapes.half_extents_m(piece.shape) for piece in link.pieces]
    middles = np.array(
        [poses.apply(piece.pose, (low + high) / 2) for piece, (low, high) in zip(link.pieces, corners, strict=True)]
    )
    centre = masses @ middles / masses.sum()
    total = np.zeros((3, 3))
    for piece, (low, high), mass, middle in zip(link.pieces, corners, masses, middles, strict=True):
        squares = (high - low) ** 2
        own = np.diag(squares.sum() - squares) * mass / 12
        turn, arm = piece.pose[:3, :3], middle - centre
        total += turn @ own @ turn.T + mass * (np.eye(3) * (arm @ arm) - np.outer(arm, arm))
    return _inertial(centre, link.mass_kg, total)


def _inertial(centre: Array, mass_kg: float, inertia: Array) -> str:
    names = ("ixx", "ixy", "ixz", "iyy", "iyz", "izz")
    cells = (inertia[0, 0], inertia[0, 1], inertia[0, 2], inertia[1, 1], inertia[1, 2], inertia[2, 2])
    values = " ".join(f'{name}="{number(cell)}"' for name, cell in zip(names, cells, strict=True))
    xyz = " ".join(number(v) for v in centre)
    return (
        f'    <inertial><origin xyz="{xyz}" rpy="0 0 0"/><mass value="{number(mass_kg)}"/>'
        f"<inertia {values}/></inertial>\n"
    )


def obj_text(hull: shapes.ConvexMesh) -> str:
    """Return a Wavefront OBJ of a hull, vertices and faces in a fixed order."""
    order = np.lexsort(hull.vertices_m.T[::-1])
    renumber = np.empty(len(order), dtype=int)
    renumber[order] = np.arange(len(order))
    rows = ["# written by models/generator: metres, convex, faces outward"]
    rows += ["v " + " ".join(number(v) for v in hull.vertices_m[k]) for k in order]
    faces = []
    for face in renumber[hull.faces]:
        turn = int(np.argmin(face))
        faces.append(tuple(int(v) + 1 for v in np.roll(face, -turn)))
    rows += ["f " + " ".join(str(v) for v in face) for face in sorted(faces)]
    return "\n".join(rows) + "\n"


def frustum(radius_a: float, radius_b: float, length: float, sides: int = 24) -> Array:
    """Return the corners (2 * sides, 3) of a cut cone along x from 0 to length."""
    turn = 2 * np.pi * (np.arange(sides) + 0.5) / sides
    ring = np.stack([np.zeros(sides), np.cos(turn), np.sin(turn)], axis=1)
    return np.concatenate([ring * radius_a, ring * radius_b + (length, 0.0, 0.0)])
