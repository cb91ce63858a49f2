"""The rules document: what is required, and how much of it may be relaxed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.base import (
    Angle,
    Document,
    Fraction,
    Length,
    Name,
    NamePattern,
    Part,
    Speed,
    Text,
    Time,
)
from armcarry.files.documents.dispersion import Dispersion

Class = Literal["arm", "rider", "hardware", "worker", "structure", "appendage", "vehicle"]


class Required(Part):
    """Least clearance between two classes of body, in either order."""

    between: tuple[Class, Class]
    distance: Length
    why: Text = ""


class IntendedContact(Part):
    """Bodies that are meant to touch; any other contact fails."""

    bodies: tuple[NamePattern, NamePattern]
    why: Text


class RelaxationLimits(Part):
    """How far a script may relax the required clearance."""

    longest: Time
    least: Length
    reach: Length = Field(description="how far the tip may be from where the relaxation begins or ends")


class BudgetTerm(Part):
    """One term of the clearance budget."""

    title: Text
    amount: Length
    applies_to: list[Class]


class Margins(Part):
    """Margins other than clearance."""

    joint_position: Angle = Field(description="least distance of a revolute joint from its travel limit")
    joint_travel: Length = Field(default=0.0, description="the same for a prismatic joint")
    smallest_singular_value: Annotated[float, Field(ge=0)]


class LockedJoint(Part):
    """How closely it is looked at what is left to a rider when a joint locks."""

    instants: Annotated[int, Field(ge=0, le=500)] = Field(description="of the run, evenly spread; 0 leaves it out")


class RulesDocument(Document):
    """The rules of a rehearsal."""

    format: Literal["armcarry rules 1"]
    report_distance: Length
    required: list[Required]
    intended_contact: list[IntendedContact] = Field(default_factory=list)
    relaxation: RelaxationLimits
    slow_within: Length = Field(description="inside this distance of structure the arm slows down")
    margins: Margins
    budget: dict[Name, BudgetTerm] = Field(
        default_factory=dict,
        description="arm_positioning, structure_placement, thermal and grasp must be stated, if only as 0 m",
    )
    budget_combination: Literal["worst_case", "root_sum_square"] = "root_sum_square"
    stop_remainder: Length = Field(description="clearance that must be left after a late stop")
    locked_joint: LockedJoint | None = Field(default=None, description="10 instants when left out")
    rider_tip_speed: Speed = Field(description="largest tip speed with a rider aboard")
    safe_return: Time = Field(
        default=1800.0, description="longest time for a stranded rider to the airlock; default 30 min, an assumption"
    )
    tether_reach: Length | None = Field(
        default=None,
        description="widest gap from a stranded rider's gloves to a handrail, or between handrails, that a tether or "
        "a second worker bridges; without it such gaps are told, not judged",
    )
    worker_speed: Speed | None = Field(
        default=None,
        description="how fast a free worker may come towards the arm, for the protective separation; without it the "
        "1.6 m/s of a person walking",
    )
    unseen_extra: Length = Field(default=0.0, description="added where no camera sees")
    confidence: Fraction = Field(default=0.95)
    dispersion: Dispersion | None = Field(
        default=None, description="how the true run may differ from the rehearsed one; needed by armcarry disperse"
    )
