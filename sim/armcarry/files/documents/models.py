"""Documents that stand beside a URDF: arm, platform, crew, hardware, restraint."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.base import (
    Angle,
    Document,
    JointAcceleration,
    JointRate,
    JointValue,
    Length,
    Mass,
    Name,
    NamePattern,
    Part,
    Position,
    Speed,
    Text,
    Time,
)

JointSettings = dict[str, JointValue]
LoadName = Literal["free", "rider", "rider_and_hardware"]


class Camera(Part):
    """A camera: looks along +x of its frame, up is +z."""

    frame: str
    title: Text = ""
    horizontal_view: Angle
    vertical_view: Angle
    pan: tuple[Angle, Angle] = Field(default=(0.0, 0.0))
    tilt: tuple[Angle, Angle] = Field(default=(0.0, 0.0))


class LoadClass(Part):
    """Limits of the arm with one kind of load; a joint not named takes ``default``."""

    joint_rate: dict[str, JointRate]
    joint_acceleration: dict[str, JointAcceleration]
    brake_deceleration: dict[str, JointAcceleration]
    runaway_rate: dict[str, JointRate] = Field(
        default_factory=dict, description="how fast a joint can run away with this load; default the arm's"
    )
    runaway_near: Annotated[float, Field(gt=0, le=1)] = Field(
        default=1.0,
        description="share of that which remains inside rules.slow_within of structure, where the drives themselves "
        "are limited",
    )
    tip_speed: Speed
    near_structure: Annotated[float, Field(gt=0, le=1)] = Field(
        default=1.0, description="share of the rates that remains inside rules.slow_within of structure"
    )


class ArmDocument(Document):
    """An arm: its URDF, its joints in order, and limits by load."""

    format: Literal["armcarry arm 1"]
    urdf: str
    base: str = Field(description="link that sits on the platform's mount")
    tip: str = Field(description="link that carries the restraint or grips hardware")
    joints: list[str] = Field(min_length=5, description="movable joints from base to tip, in order")
    home: dict[str, JointValue]
    loads: dict[LoadName, LoadClass]
    reaction_time: Time = Field(description="from the stop command, or from a person's call, to braking")
    detection_time: Time = Field(description="from a joint running away to the brakes being commanded")
    runaway_rate: dict[str, JointRate] = Field(default_factory=dict)
    characteristic_length: Length = Field(description="weighs turning against moving in the singular value")
    tip_positioning: Length = Field(description="positioning error of the tip, worst case")
    ignore_pairs: list[tuple[NamePattern, NamePattern]] = Field(default_factory=list)
    cameras: dict[Name, Camera] = Field(default_factory=dict)


class Appendage(Part):
    """A part of the platform that can stand in several states."""

    joints: list[str]
    states: dict[Name, JointSettings]
    turning_time: Time


class Mount(Part):
    """A place for the arm's base; ``joint`` names the rail joint when the mount travels."""

    frame: str
    joint: str | None = None
    half_length: Length = Field(default=0.0, description="rail it takes up either side of its station, if it travels")


class Cart(Part):
    """A cart on the rail: takes up rail length either side of its station."""

    joint: str
    half_length: Length
    body_frame: str


class Worksite(Part):
    """A place to work: where the boots go, what is worked on, where a restraint can be put."""

    title: Text
    stand: str = Field(description="frame for the restraint's plate: boots on its +z side, facing +x")
    socket: str | None = Field(default=None, description="frame of a fixed restraint socket, if any")
    work_points: dict[Name, str] = Field(default_factory=dict, description="name -> frame, +x out of the work")
    hands: Literal["one", "two"] = "two"
    handrail: Name | None = None


class Seat(Part):
    """A place where hardware sits; what must be done before it may leave or arrive."""

    frame: str
    accepts: list[Name]
    connectors: int = 0
    bolts: int = 0
    touches: list[NamePattern] = Field(default_factory=list, description="bodies of the platform it touches")


class Handrail(Part):
    """A straight rail for gloves, from one frame to another."""

    start: str
    end: str


class PlatformDocument(Document):
    """The platform: its URDF, what stands on it and what may visit it."""

    format: Literal["armcarry platform 1"]
    urdf: str
    classes: dict[Literal["appendage", "structure"], list[NamePattern]] = Field(default_factory=dict)
    vehicle_urdf: str | None = None
    vehicle_dock: str | None = Field(default=None, description="frame where the vehicle docks, its root there")
    appendages: dict[Name, Appendage] = Field(default_factory=dict)
    mounts: dict[Name, Mount]
    carts: dict[Name, Cart] = Field(default_factory=dict)
    worksites: dict[Name, Worksite]
    seats: dict[Name, Seat] = Field(default_factory=dict)
    handrails: dict[Name, Handrail] = Field(default_factory=dict)
    airlock: str | None = Field(default=None, description="frame at the hatch where workers come out")
    cameras: dict[Name, Camera] = Field(default_factory=dict)


class ReachEnvelope(Part):
    """Where hands can work: a ball about each shoulder, cut by what is in front of the chest."""

    one_hand: Length = Field(description="farthest glove from its own shoulder")
    two_hand: Length = Field(description="farthest glove from both shoulders")
    nearest: Length = Field(description="closest to the chest at which gloves can work")
    half_angle: Angle = Field(description="half angle of the cone about the chest's forward axis")


class CrewSize(Part):
    """One size of suited body."""

    urdf: str
    mass: Mass
    reach: ReachEnvelope


class CrewDocument(Document):
    """A suited body: sizes, postures and the frames other parts ask for."""

    format: Literal["armcarry crew 1"]
    sizes: dict[Name, CrewSize]
    postures: dict[Name, JointSettings]
    boots: str
    chest: str
    visor: str
    shoulders: tuple[str, str]
    gloves: tuple[str, str]
    hands: str = Field(description="frame between the gloves where held hardware hangs")
    view_half_angle: Angle
    corridor: Length = Field(description="least free width the body needs to pass")
    translation_speed: Speed
    cameras: dict[Name, Camera] = Field(default_factory=dict, description="on the helmet, say")


class Fastener(Part):
    """A lock, set of bolts, connector or cover on hardware; ``joint`` names what it holds still or folds."""

    kind: Literal["lock", "bolts", "connector", "cover"]
    count: int = 1
    joint: str | None = None
    closed: JointValue | None = None
    open: JointValue | None = None
    needed_to: list[Literal["carry", "grasp", "release", "seat"]] = Field(default_factory=list)
    state_needed: Literal["closed", "open"] = "closed"


class HardwareDocument(Document):
    """A piece of hardware that is carried."""

    format: Literal["armcarry hardware 1"]
    urdf: str
    mass: Mass
    base: str = Field(description="frame that meets the seat's frame")
    handhold: str = Field(description="frame that meets the hands")
    fasteners: dict[Name, Fastener] = Field(default_factory=dict)
    rest: JointSettings = Field(default_factory=dict)
    touches: list[NamePattern] = Field(default_factory=list, description="bodies of its holder it touches")


class Setting(Part):
    """One adjustment of the restraint in discrete steps."""

    joint: str
    step: Angle
    lowest: Angle
    highest: Angle


class RestraintDocument(Document):
    """A foot restraint between arm tip and boots."""

    format: Literal["armcarry restraint 1"]
    urdf: str
    mount: str
    plate: str
    settings: dict[Name, Setting]
    offset: Position = Field(default=(0.0, 0.0, 0.0))
