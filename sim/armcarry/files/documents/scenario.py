"""The scenario document: one script of a rehearsal."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import (
    Angle,
    Document,
    FullName,
    Length,
    Name,
    NamePattern,
    Part,
    PoseIn,
    Position,
    Rotation,
    Speed,
    Text,
    Time,
)
from armcarry.files.documents.day import Day
from armcarry.files.documents.environment import Environment
from armcarry.files.documents.models import JointSettings
from armcarry.files.documents.relaxation import Relaxation

MOVE_KINDS = (
    "to_joints", "to_pose", "to_worksite", "line", "one_joint", "hold", "attach", "detach", "appendage", "posture",
)


class Line(Part):
    """A straight line of a chosen point: to a pose in a frame, or by an offset in a frame."""

    point: FullName | None = Field(default=None, description="link to move; default the restraint's plate or the tip")
    frame: FullName
    to: Position | None = None
    by: Position | None = None
    rotation: Rotation | None = Field(default=None, description="roll, pitch, yaw to end with; default held")

    @model_validator(mode="after")
    def _one_goal(self) -> Line:
        if (self.to is None) == (self.by is None):
            raise ValueError("a line needs exactly one of: to, by")
        return self


class PoseGoal(PoseIn):
    """A pose for a chosen point."""

    point: FullName | None = None


class AttachTo(Part):
    """Something is fixed to a link from now on; where it is unless ``at`` says where on the link."""

    what: Name
    to: FullName
    seat: bool = Field(default=False, description="bring its base or handhold exactly to the link's frame")


class Detach(Part):
    """Something is left at a seat, or where it is, fixed to a link of the platform."""

    what: Name
    to: FullName
    seat: bool = False


class PostureChange(Part):
    """A crewmember takes another posture."""

    who: Name
    posture: Name
    over: Time = Field(default=5.0)


class Move(Part):
    """One move of a carry: exactly one of the kinds, and options."""

    to_joints: JointSettings | None = None
    to_pose: PoseGoal | None = None
    to_worksite: Name | None = None
    line: Line | None = None
    one_joint: JointSettings | None = Field(default=None, max_length=1, description="to this value, others held")
    hold: Time | None = None
    attach: AttachTo | None = None
    detach: Detach | None = None
    appendage: dict[Name, Name] | None = Field(default=None, max_length=1, description="appendage -> state")
    posture: PostureChange | None = None

    name: Name | None = None
    via: list[JointSettings] = Field(
        default_factory=list, description="joint positions that to_joints rounds without stopping; others held"
    )
    say: Text = Field(default="", description="caption for the room")
    rate: Annotated[float, Field(gt=0, le=1)] = Field(default=1.0, description="share of the allowed rates")
    tip_speed: Speed | None = None
    pin: JointSettings = Field(default_factory=dict, description="joints held at a value to fix the redundancy")
    relax: list[Relaxation] = Field(default_factory=list)

    @property
    def kind(self) -> str:
        """Which of MOVE_KINDS this move is."""
        return next(kind for kind in MOVE_KINDS if getattr(self, kind) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> Move:
        given = [kind for kind in MOVE_KINDS if getattr(self, kind) is not None]
        if len(given) != 1:
            found = ", ".join(given) or "none"
            raise ValueError(f"a move needs exactly one of: {', '.join(MOVE_KINDS)}; found {found}")
        if self.via and self.to_joints is None:
            raise ValueError(f"via points go with to_joints; found them with {given[0]}")
        return self


class Carry(Part):
    """A carry: moves of the arm, in order."""

    name: Name
    title: Text = ""
    moves: list[Move] = Field(default_factory=list)
    reverse_of: Name | None = Field(default=None, description="an earlier carry, flown backwards and checked anew")
    repeat_of: Name | None = Field(default=None, description="an earlier carry, flown again and checked anew")
    hardware: dict[Name, Name] = Field(
        default_factory=dict, description="item of the earlier carry -> item in its place, for a variant"
    )

    @property
    def variant_of(self) -> str | None:
        """Name of the carry this one is a variant of, if any."""
        return self.reverse_of or self.repeat_of

    @model_validator(mode="after")
    def _one_source(self) -> Carry:
        given = [key for key in ("moves", "reverse_of", "repeat_of") if getattr(self, key)]
        if len(given) != 1:
            raise ValueError(
                f"carry '{self.name}' needs exactly one of: moves, reverse_of, repeat_of; "
                f"found {', '.join(given) or 'none'}"
            )
        if self.hardware and self.variant_of is None:
            raise ValueError(f"carry '{self.name}' has its own moves, so hardware has nothing to replace")
        return self


class CrewMember(Part):
    """One crewmember of this rehearsal."""

    body: str = Field(default="suited", description="crew model")
    size: Name = "medium"
    posture: Name
    at: Literal["arm", "inside"] | FullName = Field(description="arm, inside, or a frame where the boots are")


class HardwareItem(Part):
    """One piece of hardware and where it starts."""

    model: str
    at: FullName = Field(description="frame of a seat, or a link such as ev1/hands when it is held")
    fasteners: dict[Name, Literal["open", "closed"]] = Field(
        default_factory=dict, description="state at the start; default as its rest position says, else closed"
    )


class Base(Part):
    """Where the arm's base sits."""

    mount: Name
    station: Length | None = Field(default=None, description="along the rail, for a travelling mount")


class Restraint(Part):
    """The foot restraint of this rehearsal and where it is."""

    model: str = "foot_restraint"
    at: Literal["arm"] | FullName = "arm"
    settings: dict[Name, Angle] = Field(default_factory=dict)


class Expectation(Part):
    """A verdict this scenario is expected to give, tested."""

    check: Name
    verdict: Literal["pass", "fail", "not_assessed"]
    subject: NamePattern = "*"
    other: NamePattern = "*"


class ScenarioDocument(Document):
    """One script: what stands where, what the arm does, and what verdicts are expected."""

    format: Literal["armcarry scenario 1"]
    purpose: Text
    platform: str
    arm: str
    rules: str
    base: Base
    vehicle: Literal["docked", "absent"] = "absent"
    appendages: dict[Name, Name] = Field(default_factory=dict, description="appendage -> state at the start")
    carts: dict[Name, Length] = Field(default_factory=dict, description="cart -> station at the start")
    restraint: Restraint | None = None
    crew: dict[Name, CrewMember] = Field(default_factory=dict)
    hardware: dict[Name, HardwareItem] = Field(default_factory=dict)
    start: JointSettings = Field(default_factory=dict, description="arm joints at the start; others at home")
    safe_point: Name | None = Field(
        default=None,
        description="worksite where a rider is safe when a joint has locked; default where the run starts",
    )
    carries: list[Carry] = Field(default_factory=list)
    day: Day | None = Field(default=None, description="who does what and when; without it carries follow in order")
    cameras_off: list[NamePattern] = Field(
        default_factory=list, description="cameras out of service, by full name: platform/bow_eye, ev1/*"
    )
    environment: Environment | None = Field(
        default=None, description="date, orbit and attitude; without it nothing that needs light is assessed"
    )
    expect: list[Expectation] = Field(default_factory=list)

    @model_validator(mode="after")
    def _names_of_the_day(self) -> ScenarioDocument:
        earlier: list[str] = []
        for carry in self.carries:
            if carry.variant_of is not None and carry.variant_of not in earlier:
                raise ValueError(
                    f"carry '{carry.name}' is a variant of '{carry.variant_of}', which is no earlier carry; "
                    f"earlier: {', '.join(earlier) or 'none'}"
                )
            earlier.append(carry.name)
        if self.day is not None:
            self.day.check_names(self.crew, earlier, self.hardware)
        return self
