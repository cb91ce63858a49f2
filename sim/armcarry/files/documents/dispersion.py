"""How the true run may differ from the rehearsed one: the part of the rules that a dispersion campaign draws from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.base import Angle, JointValue, Length, Name, NamePattern, Part, Text, Time

_PATTERN = "full names with *; an instance named crew or hardware stands for each crewmember or item of the scenario"


class _Term(Part):
    """What every term has: what it is, what it acts on, and how it is spread."""

    title: Text
    of: Annotated[list[NamePattern], Field(min_length=1, description=_PATTERN)]
    shape: Literal["normal", "uniform"] = Field(
        default="normal", description="normal: amounts are standard deviations, cut off at cut; uniform: half-widths"
    )


class JointOffset(_Term):
    """Constant error of each joint that fits, drawn joint by joint: offset and bias of its sensor, or posture."""

    kind: Literal["joint_offset"]
    amount: JointValue


class MountOffset(_Term):
    """A thing sits a little beside where it is mounted, drawn along and about each of three axes."""

    kind: Literal["mount_offset"]
    position: Length = 0.0
    rotation: Angle = 0.0
    held: bool = Field(default=False, description="only while it is held in hands or by the arm: how it is grasped")


class BodyOffset(_Term):
    """The bodies of each link that fits stand a little beside where they are drawn, as one rigid part."""

    kind: Literal["body_offset"]
    position: Length = 0.0
    rotation: Angle = 0.0


class Bending(_Term):
    """The link before each joint that fits is bent: the joint is moved and tilted, drawn across and about each axis."""

    kind: Literal["bending"]
    position: Length = 0.0
    rotation: Angle = 0.0


class Lag(_Term):
    """Joints run late or early against the script, each on its own or, with together, all by one time."""

    kind: Literal["lag"]
    amount: Time
    together: bool = False


Term = Annotated[JointOffset | MountOffset | BodyOffset | Bending | Lag, Field(discriminator="kind")]


class Dispersion(Part):
    """Distributions of a campaign of perturbed runs."""

    terms: dict[Name, Term]
    cut: Annotated[float, Field(ge=1, le=6)] = Field(
        default=3.0, description="normal amounts are drawn within this many standard deviations"
    )
    watch: Length = Field(
        default=1.0, description="pairs proven to have more than this beyond what is required are not told apart"
    )
