"""The carries of a scenario: moves of the arm, in order."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.arm import JointSettings
from armcarry.files.documents.base import (
    FullName,
    Name,
    OwnWords,
    Part,
    PoseIn,
    Position,
    Quantity,
    Rotation,
    Share,
    Speed,
    Text,
    Time,
)
from armcarry.files.documents.intents import Bring, Fetch, Place, Ride
from armcarry.files.documents.relaxation import Relaxation

MOVE_KINDS = (
    "to_joints", "to_pose", "to_worksite", "line", "one_joint", "hold", "attach", "detach", "appendage", "posture",
)
#: kinds from which moves follow when a script is read; none of them is left then
INTENT_KINDS = ("ride", "fetch", "place", "bring")
#: kinds of move that may take any way to where they lead
FREE_KINDS = ("to_joints", "one_joint", "to_pose", "to_worksite")
_POINT = "link to move; left out, the restraint's plate or the tip"


class Line(Part):
    """A straight line of a chosen point: to a pose in a frame, or by an offset in a frame."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"frame": "platform/bay_7_stand", "to": ["-0.9 m", "0 m", "0 m"]}

    point: FullName | None = Field(default=None, description=_POINT, examples=["pump_box/base"])
    frame: FullName = Field(description="frame in which the line is told", examples=["platform/bay_7_stand"])
    to: Position | None = Field(
        default=None, description="where the point ends, in that frame", examples=[["-0.9 m", "0 m", "0 m"]]
    )
    by: Position | None = Field(
        default=None, description="how far the point goes, in that frame's axes", examples=[["0.9 m", "0 m", "0 m"]]
    )
    rotation: Rotation | None = Field(
        default=None,
        description="roll, pitch, yaw to end with; left out, held as it is",
        examples=[["0 deg", "0 deg", "90 deg"]],
    )
    free: Literal["x", "y", "z", "any"] | None = Field(
        default=None,
        description="axis of the point about which it may turn as the arm needs, or any for all turning, which an arm "
        "of fewer than six joints cannot hold; left out, all is held",
        examples=["z"],
    )
    closes: bool = Field(
        default=False,
        description="whether lines in a row that say so share where the spare joint stays near, so that a way round "
        "and back ends at the joint positions where it began; else each line stays near its own start",
        examples=[True],
    )

    @model_validator(mode="after")
    def _one_goal(self) -> Line:
        if self.free == "any" and self.rotation is not None:
            raise ValueError("a line that may turn about any axis (free: any) ends with no rotation")
        if (self.to is None) == (self.by is None):
            raise ValueError("a line needs exactly one of: to, by")
        return self


class PoseGoal(PoseIn):
    """A pose for a chosen point."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"frame": "platform/bay_7_stand", "position": ["-1.6 m", "0 m", "0 m"]}

    point: FullName | None = Field(default=None, description=_POINT, examples=["pump_box/base"])


class AttachTo(Part):
    """Something is fixed to a link from now on; where it is unless ``seat`` brings it exactly there."""

    what: Name = Field(description="crewmember, item of hardware or restraint", examples=["pump_box"])
    to: FullName = Field(description="link it hangs from", examples=["ev1/hands"])
    seat: bool = Field(
        default=False,
        description="bring its base or handhold exactly to the link's frame; else it stays as it is",
        examples=[True],
    )


class Detach(Part):
    """Something is left at a seat, or where it is, fixed to a link of the platform."""

    what: Name = Field(description="crewmember, item of hardware or restraint", examples=["pump_box"])
    to: FullName = Field(description="link of platform or vehicle it is left at", examples=["platform/bay_7_seat"])
    seat: bool = Field(
        default=False,
        description="bring its base exactly to the link's frame; else it stays where it is",
        examples=[True],
    )


class PostureChange(Part):
    """A crewmember takes another posture."""

    who: Name = Field(description="crewmember", examples=["ev1"])
    posture: Name = Field(description="posture of that crew model", examples=["work_two_hands"])
    over: Annotated[float, Quantity("time", "5 s", "0 s", "1 h", above=True)] = Field(
        default=5.0, description="how long it takes"
    )


class Move(OwnWords):
    """One move of a carry: exactly one of the kinds, options, and own words."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"line": {"frame": "platform/bay_7_stand", "to": ["-0.9 m", "0 m", "0 m"]}}

    to_joints: JointSettings | None = Field(
        default=None, description="to these joint positions, others held", examples=[{"shoulder_turn": "40 deg"}]
    )
    to_pose: PoseGoal | None = Field(default=None, description="the tip, or a chosen point, to a pose, freely")
    to_worksite: Name | None = Field(
        default=None, description="the restraint's plate, or the tip, to the stand of a worksite", examples=["bay_7"]
    )
    line: Line | None = Field(default=None, description="the tip, or a chosen point, along a straight line")
    one_joint: JointSettings | None = Field(
        default=None, max_length=1, description="to this value, others held", examples=[{"wrist_turn": "90 deg"}]
    )
    hold: Time | None = Field(default=None, description="the arm stands still for this long", examples=["60 s"])
    attach: AttachTo | None = Field(default=None, description="something is fixed to a link from now on")
    detach: Detach | None = Field(default=None, description="something is left at the platform")
    appendage: dict[Name, Name] | None = Field(
        default=None,
        max_length=1,
        description="appendage -> state it turns to while the arm stands still",
        examples=[{"solar_wing": "level"}],
    )
    posture: PostureChange | None = Field(default=None, description="a crewmember takes another posture")

    ride: Ride | None = Field(default=None, description="to a worksite by its way in")
    fetch: Fetch | None = Field(default=None, description="an item is unfastened, taken and brought out of its seat")
    place: Place | None = Field(default=None, description="an item in hand is put into a seat, fastened and left")
    bring: Bring | None = Field(default=None, description="an item is fetched and placed somewhere else")

    name: Name | None = Field(default=None, description="name to speak of it by", examples=["push_in"])
    via: list[JointSettings] = Field(
        default_factory=list,
        description="joint positions that to_joints rounds without stopping; others held",
        examples=[[{"shoulder_turn": "20 deg", "elbow_bend": "100 deg"}]],
    )
    way: Literal["straight", "find"] = Field(
        default="straight",
        description="of a free move (to_joints, one_joint, to_pose, to_worksite): straight in joint space, or found "
        "where that one comes too near something; moves by intent are found",
        examples=["find"],
    )
    rate: Share = Field(default=1.0, description="share of the allowed rates", examples=[0.5])
    tip_speed: Speed | None = Field(
        default=None, description="largest speed of the tip; left out, that of the load", examples=["0.05 m/s"]
    )
    pin: JointSettings = Field(
        default_factory=dict,
        description="joints held at a value to fix the redundancy",
        examples=[{"shoulder_swing": "30 deg"}],
    )
    relax: list[Relaxation] = Field(
        default_factory=list, description="smaller clearances for named bodies while this move lasts"
    )

    @property
    def kind(self) -> str:
        """Which of MOVE_KINDS or INTENT_KINDS this move is."""
        return next(kind for kind in (*MOVE_KINDS, *INTENT_KINDS) if getattr(self, kind) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> Move:
        kinds = (*MOVE_KINDS, *INTENT_KINDS)
        given = [kind for kind in kinds if getattr(self, kind) is not None]
        if len(given) != 1:
            found = ", ".join(given) or "none"
            raise ValueError(f"a move needs exactly one of: {', '.join(kinds)}; found {found}")
        if self.via and self.to_joints is None:
            raise ValueError(f"via points go with to_joints; found them with {given[0]}")
        if self.way == "find" and (given[0] not in FREE_KINDS or self.via):
            raise ValueError(f"way: find goes with {', '.join(FREE_KINDS)}, without via; found it with {given[0]}")
        return self


class Carry(Part):
    """A carry: moves of the arm, in order."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"name": "wait", "moves": [{"hold": "60 s"}]}

    name: Name = Field(description="name to speak of it by, once in a file", examples=["box_to_bay_7"])
    title: Text = Field(default="", description="what it is, for captions", examples=["Pump box to bay 7"])
    moves: list[Move] = Field(default_factory=list, description="what the arm does, in order")
    reverse_of: Name | None = Field(
        default=None, description="an earlier carry, flown backwards and checked anew", examples=["box_to_bay_7"]
    )
    repeat_of: Name | None = Field(
        default=None, description="an earlier carry, flown again and checked anew", examples=["box_to_bay_7"]
    )
    hardware: dict[Name, Name] = Field(
        default_factory=dict,
        description="item of the earlier carry -> item in its place, for a variant",
        examples=[{"pump_box": "spent_box"}],
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
