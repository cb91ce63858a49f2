"""What a file describes: links, joints and bodies of one thing, not yet placed anywhere.

All is checked where it is made, with InputError, and trusted from then on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np

from armcarry.errors import InputError
from armcarry.geometry import checked
from armcarry.geometry.poses import Array, identity
from armcarry.geometry.shapes import SHAPES, Shape

JointKind = Literal["fixed", "revolute", "prismatic"]

#: classes of body that the rules tell apart; see models/rules
BodyClass = Literal["arm", "rider", "hardware", "worker", "structure", "appendage", "vehicle"]


@dataclass(frozen=True)
class Follows:
    """What a joint follows: its position is ``factor`` times that of ``joint`` and ``offset``, rad or m."""

    joint: str
    factor: float = 1.0
    offset: float = 0.0

    def __post_init__(self) -> None:
        what = f"what follows joint '{checked.name('followed joint', self.joint)}'"
        for word, value in (("factor", self.factor), ("offset", self.offset)):
            if not abs(checked.real(value)) <= checked.LARGEST_M:  # nan compares false
                raise InputError(f"{what}: no {word}", found=checked.told(value), accepted="a finite number")
            object.__setattr__(self, word, checked.real(value))

    def through(self, other: Follows) -> Follows:
        """Return what is followed where the followed joint follows another in turn."""
        return Follows(other.joint, self.factor * other.factor, self.factor * other.offset + self.offset)


@dataclass(frozen=True, eq=False)
class Joint:
    """A joint from a parent link to a child link.

    Attributes:
        origin: T_parent_joint (4, 4); the child link's frame is the joint frame after its motion.
        axis: unit axis (3,) in the joint frame.
        lower, upper: travel in rad or m; infinite for a continuous joint.
        velocity: largest rate in rad/s or m/s as URDF states it.
        follows: the joint it follows, which follows none itself; None for a joint of its own.
    """

    name: str
    kind: JointKind
    parent: str
    child: str
    origin: Array = field(default_factory=identity)
    axis: Array = field(default_factory=lambda: np.array([1.0, 0.0, 0.0]))
    lower: float = 0.0
    upper: float = 0.0
    velocity: float = np.inf
    follows: Follows | None = None

    def __post_init__(self) -> None:
        what = f"joint '{checked.name('joint', self.name)}'"
        if self.kind not in get_args(JointKind):
            accepted = ", ".join(get_args(JointKind))
            raise InputError(f"{what}: unknown kind", found=checked.told(self.kind), accepted=accepted)
        for link in (self.parent, self.child):
            checked.name(f"link of {what}", link)
        object.__setattr__(self, "origin", checked.pose(f"origin of {what}", self.origin))
        if self.kind != "fixed":
            object.__setattr__(self, "axis", checked.axis(f"axis of {what}", self.axis))
        if not checked.real(self.lower) <= checked.real(self.upper):
            found = f"{self.lower} to {self.upper}"
            raise InputError(f"{what}: no travel", found=found, accepted="lower at most upper, rad or m")
        if not checked.real(self.velocity) >= 0.0:
            raise InputError(f"{what}: no rate", found=checked.told(self.velocity), accepted="0 or more, rad/s or m/s")
        for word in ("lower", "upper", "velocity"):  # whatever number it was
            object.__setattr__(self, word, checked.real(getattr(self, word)))
        followed: object = self.follows
        if followed is not None and not isinstance(followed, Follows):
            raise InputError(f"{what}: nothing to follow", found=checked.told(followed), accepted="Follows, or None")


@dataclass(frozen=True, eq=False)
class Body:
    """A convex solid fixed to a link at T_link_body (4, 4).

    Attributes:
        colour: red, green, blue, opacity in 0..1 for views, or None where the file gives none.
    """

    name: str
    link: str
    shape: Shape
    pose: Array
    body_class: BodyClass = "structure"
    colour: tuple[float, float, float, float] | None = None

    def __post_init__(self) -> None:
        what = f"body '{checked.name('body', self.name)}'"
        checked.name(f"link of {what}", self.link)
        shape: object = self.shape
        if not isinstance(shape, SHAPES):
            accepted = ", ".join(shape.__name__ for shape in SHAPES)
            raise InputError(f"{what}: not a shape", found=checked.told(shape), accepted=accepted)
        if self.body_class not in get_args(BodyClass):
            accepted = ", ".join(get_args(BodyClass))
            raise InputError(f"{what}: unknown class", found=checked.told(self.body_class), accepted=accepted)
        object.__setattr__(self, "pose", checked.pose(f"pose of {what}", self.pose))

    def inside(self, instance: str) -> Body:
        """Return the same body with the full name it has in a tree, and its link's."""
        body = object.__new__(Body)  # checked already; a tree is made for every grasp of a run
        body.__dict__.update(self.__dict__, name=f"{instance}/{self.name}", link=f"{instance}/{self.link}")
        return body


@dataclass(frozen=True, eq=False)
class Model:
    """Links, joints and bodies of one thing, names without an instance in front.

    ``joints`` is in topological order: every parent link is the root or the child of an earlier joint.
    """

    name: str
    root: str
    links: tuple[str, ...]
    joints: tuple[Joint, ...]
    bodies: tuple[Body, ...]

    def __post_init__(self) -> None:
        what = f"model '{checked.name('model', self.name)}'"
        known = {self.root}
        for joint in self.joints:
            if joint.parent not in known or joint.child in known:
                raise InputError(
                    f"{what}: joint '{joint.name}' does not hang from the root or the child of an earlier joint, or "
                    "its child has a parent already", accepted="a tree of links, joints from the root outward",
                )  # fmt: skip
            known.add(joint.child)
        if known != set(self.links) or len(known) != len(self.links):
            odd = sorted(known.symmetric_difference(self.links)) or sorted(self.links)
            words = f"{what}: links that are not of the tree, or twice"
            raise InputError(words, found=odd[0], accepted="every link once")
        _once(what, "joints", (joint.name for joint in self.joints))
        leaders = {joint.name for joint in self.joints if joint.kind != "fixed" and joint.follows is None}
        for joint in self.joints:
            if joint.follows is not None and joint.follows.joint not in leaders:
                raise InputError(
                    f"{what}: joint '{joint.name}' follows '{joint.follows.joint}'",
                    accepted="a joint of the model that moves and follows none itself",
                )
        _once(what, "bodies", (body.name for body in self.bodies))
        for body in self.bodies:
            if body.link not in known:
                raise InputError(f"{what}: body '{body.name}' is on no link of it", found=body.link)

    def movable(self) -> tuple[Joint, ...]:
        """Return the joints that are not fixed, in order."""
        return tuple(joint for joint in self.joints if joint.kind != "fixed")


def _once(what: str, kinds: str, names: Iterable[str]) -> None:
    """Raise InputError where a name comes twice."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(f"{what}: two of its {kinds} are named '{name}'", accepted="every name once")
        seen.add(name)
