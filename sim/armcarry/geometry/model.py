"""What a file describes: links, joints and bodies of one thing, not yet placed anywhere."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from armcarry.geometry.poses import Array, identity
from armcarry.geometry.shapes import Shape

JointKind = Literal["fixed", "revolute", "prismatic"]

#: classes of body that the rules tell apart; see models/rules
BodyClass = Literal["arm", "rider", "hardware", "worker", "structure", "appendage", "vehicle"]


@dataclass(frozen=True, eq=False)
class Joint:
    """A joint from a parent link to a child link.

    Attributes:
        origin: T_parent_joint (4, 4); the child link's frame is the joint frame after its motion.
        axis: unit axis (3,) in the joint frame.
        lower, upper: travel in rad or m; infinite for a continuous joint.
        velocity: largest rate in rad/s or m/s as URDF states it.
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

    def movable(self) -> tuple[Joint, ...]:
        """Return the joints that are not fixed, in order."""
        return tuple(joint for joint in self.joints if joint.kind != "fixed")
