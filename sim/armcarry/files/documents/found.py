"""What was found for what a script leaves open: kept beside it, so that the next rehearsal is the same at once."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from armcarry.files.documents.arm import JointSettings
from armcarry.files.documents.base import Angle, Document, FullName, Length, Name, Part, Position, Text
from armcarry.files.documents.scenario import Base
from armcarry.files.documents.step_parts import PastArm

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class FoundWay(Part):
    """A way of the arm in place of the free, straight one: via points, rounded without a stop, and where it ends."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "carry": "box_to_bay_7", "move": "bring_pump_box_7", "to_joints": {"shoulder_turn": "40 deg"}
    }  # fmt: skip

    carry: Name = Field(description="carry of the long form", examples=["box_to_bay_7"])
    move: Name = Field(description="move of that carry, by name", examples=["bring_pump_box_7"])
    to_joints: JointSettings = Field(description="where it ends", examples=[{"shoulder_turn": "40 deg"}])
    via: list[JointSettings] = Field(
        default_factory=list, description="joint positions that it rounds", examples=[[{"shoulder_turn": "20 deg"}]]
    )
    why: Text = Field(default="", description="what stood in the way, for people", examples=["0.12 m short of a rail"])


class FoundWait(Part):
    """A step of the day that waits for another, so that people afoot keep clear of the arm."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"step": "ev2_to_bay_5", "after": "to_rack_a"}

    step: Name = Field(description="step of the long form that waits", examples=["ev2_to_bay_5"])
    after: Name = Field(description="step for which it waits", examples=["to_rack_a"])


class FoundPast(PastArm):
    """Where the arm stands still in a step in which somebody goes past it, so that the body is turned clear of it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"step": "ev2_to_bay_5", "joints": {"shoulder_turn": "40 deg"}}

    step: Name = Field(description="step of the long form", examples=["ev2_to_bay_5"])


class FoundPlace(Part):
    """From where somebody gets on the arm, and to where off it, at a step that leaves it open."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"on": "platform/hearth_1_from", "shift": ["0 m", "-0.5 m", "0 m"]}

    on: FullName | None = Field(
        default=None, description="where who gets on waits", examples=["platform/hearth_1_from"]
    )
    off: FullName | None = Field(default=None, description="where who gets off goes", examples=["platform/bridge_to"])
    shift: Position = Field(
        default=(0.0, 0.0, 0.0), description="where the plate stands from the worksite's stand, in its axes",
        examples=[["0 m", "-0.5 m", "0 m"]],
    )
    held: dict[Name, Angle] = Field(
        default_factory=dict, description="settings in which the restraint is clear of all in the hands, where others "
        "than it has are needed", examples=[{"pitch": "120 deg"}],
    )  # fmt: skip


class FoundDocument(Document):
    """What a script leaves open and the tool found; written by armcarry, read with the script."""

    format: Literal["armcarry found 1"] = Field(description="kind and version of this file")
    script: Digest = Field(
        description="SHA-256 of what the script and its models say; what was found for others is stale",
        examples=["0" * 64],
    )
    base: Base | None = Field(default=None, description="where the arm's base sits at the start")
    start: JointSettings = Field(
        default_factory=dict, description="arm joints at the start", examples=[{"shoulder_turn": "41.2 deg"}]
    )
    settings: dict[Name, Angle] = Field(
        default_factory=dict, description="settings of the restraint", examples=[{"pitch": "90 deg"}]
    )
    stations: list[Length | None] = Field(
        default_factory=list,
        description="station of the base for each worksite that is come to, in order; null where it need not roll",
        examples=[["6 m"]],
    )
    places: list[FoundPlace | None] = Field(
        default_factory=list,
        description="from and to where people get on and off, for each step that leaves it open, in order; null where "
        "those nearest by do",
        examples=[[{"on": "platform/hearth_1_from", "off": "platform/bridge_to"}]],
    )
    unfinished: bool = Field(
        default=False, description="what follows from settings and places is still to be found", examples=[True]
    )
    ways: list[FoundWay] = Field(default_factory=list, description="ways that were found")
    past: list[FoundPast] = Field(
        default_factory=list, description="where the arm stands still while somebody goes past it along handrails"
    )
    waits: list[FoundWait] = Field(default_factory=list, description="who waits so that nobody meets the arm")
    told: list[Text] = Field(
        default_factory=list, description="what was found, in words", examples=[["the arm starts before rack_a"]]
    )
