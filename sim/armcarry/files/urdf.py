"""URDF to a Model: links, joints and convex bodies of one thing.

Facts of the format (joint types, defaults, what is required) as in ROS urdfdom, xsd/urdf.xsd and
urdf_parser/src/joint.cpp; units metres and radians, rpy about fixed axes, as in REP 103.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.urdf_geometry import GeometryReader
from armcarry.files.urdf_parts import LARGEST, Part
from armcarry.files.urdf_tree import in_tree_order, led
from armcarry.files.validate import raise_all
from armcarry.files.xml_text import read_xml
from armcarry.geometry.model import Body, BodyClass, Follows, Joint, JointKind, Model

KINDS: dict[str, JointKind] = {
    "fixed": "fixed", "revolute": "revolute", "continuous": "revolute", "prismatic": "prismatic",
}
_NO_READING = {
    "floating": "a floating joint moves freely; armcarry places things by attaching them",
    "planar": "a planar joint has no single position",
}
#: elements of URDF that say nothing about where bodies are
_PASSED_OVER_ROBOT = ("transmission", "gazebo", "sensor", "ros2_control", "group", "group_state", "disable_collisions")
_PASSED_OVER_LINK = ("inertial", "sensor", "contact", "self_collision_checking", "collision_checking", "gazebo")
_PASSED_OVER_JOINT = ("calibration", "dynamics", "hardwareInterface")


@dataclass(frozen=True, eq=False)
class UrdfFile:
    """A URDF as read.

    Attributes:
        model: what it describes.
        path: the URDF.
        files: every file it was read from, the URDF first: path -> bytes.
        lines: ``link name``, ``joint name`` -> line, e.g. ``lines['joint', 'elbow']``.
    """

    model: Model
    path: Path
    files: dict[Path, bytes]
    lines: dict[tuple[str, str], int]


def read_urdf(
    path: Path,
    classes: Mapping[BodyClass, Iterable[str]] | None = None,
    default_class: BodyClass = "structure",
    folder: Path | None = None,
) -> Model:
    """Read a URDF file.

    Args:
        path: the URDF.
        classes: class of body -> patterns of body names; the first that fits counts.
        default_class: class of all other bodies.
        folder: the model folder, outside of which nothing is opened; default the URDF's own.

    Raises:
        InputError: anything that cannot be read as a tree of links with convex bodies, with file and line.
    """
    return open_urdf(path, classes, default_class, folder).model


def open_urdf(
    path: Path,
    classes: Mapping[BodyClass, Iterable[str]] | None = None,
    default_class: BodyClass = "structure",
    folder: Path | None = None,
) -> UrdfFile:
    """Read a URDF file as ``read_urdf`` does, and keep the files it was read from and their lines."""
    robot, content = _robot(path)
    geometry = GeometryReader(folder or path.parent, classes or {}, default_class)
    reader = _Reader(robot, geometry)
    model = reader.model()
    return UrdfFile(model, path, {path: content, **geometry.files}, reader.lines)


def read_kinematics(path: Path) -> Model:
    """Read links and joints of a URDF file and no bodies, so that its meshes need not be there nor be convex.

    Raises:
        InputError: anything that cannot be read as a tree of links, with file and line.
    """
    return _Reader(_robot(path)[0], _NoGeometry(path.parent, {}, "structure")).model()


def _robot(path: Path) -> tuple[Part, bytes]:
    """Return the outermost element and the bytes of the file."""
    root, content = read_xml(path)
    robot = Part(root, path)
    if robot.tag != "robot":
        raise robot.refuse("not a URDF", found=f"<{robot.tag}>", accepted="<robot name=...>")
    return robot, content


class _NoGeometry(GeometryReader):
    """Passes over every shape and colour."""

    def bodies(self, link: Part, link_name: str) -> list[Body]:
        return []

    def read_material(self, part: Part) -> None:
        return None


class _Reader:
    """Reads the parts of one robot; collects problems of links and joints so that all are told."""

    def __init__(self, robot: Part, geometry: GeometryReader) -> None:
        self.robot = robot
        self.geometry = geometry
        self.problems: list[InputError] = []
        self.lines: dict[tuple[str, str], int] = {}

    def model(self) -> Model:
        # nothing hangs on the name of the whole, and not every file has one
        name = self.robot.name() if "name" in self.robot.element.attributes else "robot"
        self._robot_children()
        for element in self.robot.element.all("material"):
            part = Part(element, self.robot.path)
            colour = self.geometry.read_material(part)
            if colour is not None:
                self.geometry.materials[part.name()] = colour
        links, bodies = self._links()
        joints = self._joints()
        raise_all(sorted(self.problems, key=lambda problem: problem.line or 0))
        joints = led(self.robot, joints, self.lines)
        root, ordered = in_tree_order(self.robot, links, joints, self.lines)
        return Model(name, root, tuple(links), ordered, tuple(bodies))

    def _robot_children(self) -> None:
        """Refuse what looks like a misspelt link or joint; other unknown elements are extensions of other tools."""
        known = ("link", "joint", "material")
        for child in self.robot.element.children:
            near = names.nearest(child.tag, known)
            if child.tag not in (*known, *_PASSED_OVER_ROBOT) and near is not None:
                problem = f"unknown element <{child.tag}> in <robot>"
                self.problems.append(Part(child, self.robot.path).refuse(problem, accepted=f"<{near}>"))

    def _links(self) -> tuple[list[str], list[Body]]:
        links: list[str] = []
        bodies: list[Body] = []
        seen: dict[str, int] = {}
        for element in self.robot.element.all("link"):
            part = Part(element, self.robot.path)
            try:
                name = self._new_name(part, "link")
                links.append(name)
                part.attributes(("name",), ("type",), extended=True)
                part.children(("collision", "visual", "inertial"), _PASSED_OVER_LINK, extended=True)
                for body in self.geometry.bodies(part, name):
                    if body.name in seen:
                        raise part.refuse(
                            f"a second body named '{body.name}', first in line {seen[body.name]}",
                            accepted="collision names used once",
                        )
                    seen[body.name] = part.element.line
                    bodies.append(body)
            except InputError as error:
                self.problems.append(error)
        if not links and not self.problems:
            self.problems.append(self.robot.refuse("no <link> at all"))
        return links, bodies

    def _new_name(self, part: Part, kind: str) -> str:
        name = part.name(levels=True)
        if (kind, name) in self.lines:
            first = self.lines[kind, name]
            raise part.refuse(f"a second {kind} named '{name}', first in line {first}", accepted="names used once")
        self.lines[kind, name] = part.element.line
        return name

    def _joints(self) -> list[Joint]:
        joints = []
        for element in self.robot.element.all("joint"):
            part = Part(element, self.robot.path)
            try:
                name = self._new_name(part, "joint")
                joints.append(_joint(part, name))
            except InputError as error:
                self.problems.append(error)
        return joints


def _joint(part: Part, name: str) -> Joint:
    kind = part.attributes(("name", "type"), extended=True)["type"]
    if kind not in KINDS:
        reason = _NO_READING.get(kind)
        raise part.refuse(
            f"joint '{name}': {reason}" if reason else f"joint '{name}': unknown type",
            found=kind,
            accepted=", ".join(KINDS),
        )
    part.children(
        ("origin", "parent", "child", "axis", "limit", "mimic", "safety_controller", *_PASSED_OVER_JOINT),
        extended=True,
    )
    safety = part.one("safety_controller")
    if safety is not None and "k_velocity" not in safety.element.attributes:
        raise safety.refuse("<safety_controller> has no attribute 'k_velocity'")
    ends = []
    for tag in ("parent", "child"):
        end = part.need(tag)
        end.attributes(("link",))
        ends.append(end.name("link", levels=True))
    lower, upper, velocity = _limits(part, name, kind)
    axis = _axis(part, name) if kind != "fixed" else np.array([1.0, 0.0, 0.0])
    follows = _follows(part) if kind != "fixed" else None
    return Joint(name, KINDS[kind], ends[0], ends[1], part.origin(), axis, lower, upper, velocity, follows)


def _follows(part: Part) -> Follows | None:
    """Return whom a joint follows; multiplier 1 and offset 0 where the file gives none (urdfdom joint.cpp)."""
    mimic = part.one("mimic")
    if mimic is None:
        return None
    given = mimic.attributes(("joint",), ("multiplier", "offset"))
    return Follows(
        given["joint"],
        mimic.number("multiplier") if "multiplier" in given else 1.0,
        mimic.number("offset") if "offset" in given else 0.0,
    )


def _axis(part: Part, name: str) -> np.ndarray:
    """Return the unit axis (3,); (1, 0, 0) where there is none, the length of a given one does not count."""
    axis = part.one("axis")
    if axis is None:
        return np.array([1.0, 0.0, 0.0])
    axis.attributes(("xyz",))
    vector = np.array(axis.numbers("xyz", 3))
    length = float(np.linalg.norm(vector))
    if length < 1e-6:
        raise axis.refuse(f"joint '{name}': the axis has no direction", found=axis.element.attributes["xyz"])
    return np.asarray(vector / length)


def _limits(part: Part, name: str, kind: str) -> tuple[float, float, float]:
    """Return lower, upper, velocity; a continuous joint has no travel limit."""
    limit = part.one("limit")
    if kind == "fixed" or (kind == "continuous" and limit is None):
        return (0.0, 0.0, np.inf) if kind == "fixed" else (-np.inf, np.inf, np.inf)
    if limit is None:
        accepted = "<limit lower upper effort velocity>"
        raise part.refuse(f"joint '{name}' is {kind} and has no <limit>", accepted=accepted)
    # effort and velocity are required, lower and upper default to 0 (urdfdom joint.cpp)
    given = limit.attributes(("effort", "velocity"), ("lower", "upper"), extended=True)
    limit.numbers("effort", 1, np.inf)
    velocity = limit.numbers("velocity", 1, np.inf)[0]
    if velocity < 0:
        raise limit.refuse(f"joint '{name}': a negative velocity limit", found=velocity, accepted="0 or more")
    velocity = np.inf if velocity > LARGEST else velocity  # as with travel below: a limit that nothing reaches
    if kind == "continuous":
        return -np.inf, np.inf, velocity
    lower, upper = (limit.numbers(end, 1, np.inf)[0] if end in given else 0.0 for end in ("lower", "upper"))
    # some write a joint without limits as one with limits that nothing reaches
    lower, upper = -np.inf if lower < -LARGEST else lower, np.inf if upper > LARGEST else upper
    if lower > upper:
        raise limit.refuse(f"joint '{name}': lower is above upper", found=f"{lower} > {upper}")
    return lower, upper, velocity
