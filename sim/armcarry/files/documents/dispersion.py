"""How the true run may differ from the rehearsed one: the part of the rules that a dispersion campaign draws from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.base import JointAmount, Name, NamePattern, Part, Quantity, Text

#: by how much a place or an attitude may be off
OffBy = Annotated[float, Quantity("length", "10 mm", "0 m", "10 m")]
TurnedBy = Annotated[float, Quantity("angle", "0.1 deg", "0 deg", "180 deg")]
_POSITION = "along each of three axes"
_ROTATION = "about each of three axes"


class _Term(Part):
    """What every term has: what it is, what it acts on, and how it is spread."""

    title: Text = Field(description="what it is, for tables", examples=["bending of the two booms"])
    of: list[NamePattern] = Field(
        min_length=1,
        description="what it acts on: full names with *; an instance named crew or hardware stands for each "
        "crewmember or item of the scenario",
        examples=[["arm/elbow_bend", "arm/wrist_lift"]],
    )
    shape: Literal["normal", "uniform"] = Field(
        default="normal",
        description="normal: amounts are standard deviations, cut off at cut; uniform: half-widths",
        examples=["uniform"],
    )


class JointOffset(_Term):
    """Constant error of each joint that fits, drawn joint by joint: offset and bias of its sensor, or posture."""

    kind: Literal["joint_offset"] = Field(description="constant error of each joint")
    amount: JointAmount = Field(description="error of a joint: an angle if it turns, a length if it slides")


class MountOffset(_Term):
    """A thing sits a little beside where it is mounted, drawn along and about each of three axes."""

    kind: Literal["mount_offset"] = Field(description="a thing sits beside where it is mounted")
    position: OffBy = Field(default=0.0, description=_POSITION, examples=["5 mm"])
    rotation: TurnedBy = Field(default=0.0, description=_ROTATION, examples=["0.02 deg"])
    held: bool = Field(
        default=False,
        description="only while it is held in hands or by the arm: how it is grasped",
        examples=[True],
    )


class BodyOffset(_Term):
    """The bodies of each link that fits stand a little beside where they are drawn, as one rigid part."""

    kind: Literal["body_offset"] = Field(description="the bodies of a link stand beside where they are drawn")
    position: OffBy = Field(default=0.0, description=_POSITION, examples=["10 mm"])
    rotation: TurnedBy = Field(default=0.0, description=_ROTATION, examples=["0.02 deg"])


class Bending(_Term):
    """The link before each joint that fits is bent: the joint is moved and tilted, drawn across and about each axis."""

    kind: Literal["bending"] = Field(description="the link before a joint is bent")
    position: OffBy = Field(default=0.0, description="how far the joint is moved, " + _POSITION, examples=["10 mm"])
    rotation: TurnedBy = Field(default=0.0, description="how far it is tilted, " + _ROTATION, examples=["0.1 deg"])


class Lag(_Term):
    """Joints run late or early against the script, each on its own or, with together, all by one time."""

    kind: Literal["lag"] = Field(description="joints run late or early against the script")
    amount: Annotated[float, Quantity("time", "1 s", "0 s", "1 h")] = Field(description="how late or early")
    together: bool = Field(default=False, description="all joints by one time, not each by its own", examples=[True])


Term = Annotated[JointOffset | MountOffset | BodyOffset | Bending | Lag, Field(discriminator="kind")]


class Dispersion(Part):
    """Distributions of a campaign of perturbed runs."""

    terms: dict[Name, Term] = Field(description="what may be off, by name of the term")
    cut: Annotated[float, Field(ge=1, le=6)] = Field(
        default=3.0, description="normal amounts are drawn within this many standard deviations", examples=[3]
    )
    watch: Annotated[float, Quantity("length", "0.5 m", "0 m", "100 m")] = Field(
        default=1.0, description="pairs proven to have more than this beyond what is required are not told apart"
    )
