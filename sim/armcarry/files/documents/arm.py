"""The arm document: what a URDF does not say of an arm."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.base import (
    Angle,
    Delay,
    Document,
    JointAcceleration,
    JointRate,
    JointValue,
    Name,
    NamePattern,
    Part,
    Quantity,
    Share,
    Speed,
    Text,
    UrdfName,
    View,
)
from armcarry.files.documents.zones import Groups, Near

JointSettings = dict[str, JointValue]
LoadName = Literal["free", "rider", "rider_and_hardware"]


class Camera(Part):
    """A camera: looks along +x of its frame, up is +z."""

    frame: UrdfName = Field(description="link it sits on: looks along +x, up is +z", examples=["tip_eye"])
    title: Text = Field(default="", description="what it is, for captions", examples=["beside the hand"])
    horizontal_view: View = Field(description="whole angle it sees from left to right", examples=["62 deg"])
    vertical_view: View = Field(description="whole angle it sees from top to bottom", examples=["38 deg"])
    pan: tuple[Angle, Angle] = Field(
        default=(0.0, 0.0), description="how far it turns about its z, least and most", examples=[["-90 deg", "90 deg"]]
    )
    tilt: tuple[Angle, Angle] = Field(
        default=(0.0, 0.0), description="how far it nods about its y, least and most", examples=[["-60 deg", "60 deg"]]
    )


class LoadClass(Part):
    """Limits of the arm with one kind of load; a joint not named takes ``default``."""

    joint_rate: dict[str, JointRate] = Field(
        description="largest rate by joint; default stands for joints not named",
        examples=[{"default": "1.2 deg/s", "wrist_turn": "2 deg/s"}],
    )
    joint_acceleration: dict[str, JointAcceleration] = Field(
        description="largest acceleration by joint while a move is made", examples=[{"default": "0.25 deg/s^2"}]
    )
    brake_deceleration: dict[str, JointAcceleration] = Field(
        description="how hard each joint brakes when a stop is commanded", examples=[{"default": "0.8 deg/s^2"}]
    )
    runaway_rate: dict[str, JointRate] = Field(
        default_factory=dict,
        description="how fast a joint can run away with this load; left out, the arm's runaway_rate",
        examples=[{"default": "1.5 deg/s"}],
    )
    runaway_near: Share = Field(
        default=1.0,
        description="share of that which remains inside rules.slow_within of structure, where the drives themselves "
        "are limited",
        examples=[0.4],
    )
    tip_speed: Speed = Field(description="largest speed of the tip with this load", examples=["0.15 m/s"])
    near_structure: Share = Field(
        default=1.0,
        description="share of the rates that remains inside rules.slow_within of structure",
        examples=[0.4],
    )


class ArmDocument(Document):
    """An arm: its URDF, its joints in order, and limits by load."""

    format: Literal["armcarry arm 1"] = Field(description="kind and version of this file")
    urdf: UrdfName = Field(description="URDF of the arm, inside the folder of this file", examples=["heron.urdf"])
    base: UrdfName = Field(description="link that sits on the platform's mount", examples=["base"])
    tip: UrdfName = Field(description="link that carries the restraint or grips hardware", examples=["tip"])
    joints: list[str] = Field(
        min_length=5,
        description="movable joints from base to tip, in order",
        examples=[["shoulder_turn", "shoulder_lift", "elbow_bend", "wrist_lift", "wrist_turn"]],
    )
    home: dict[str, JointValue] = Field(
        description="position of every movable joint at rest, where a scenario's start says nothing else",
        examples=[{"shoulder_turn": "0 deg", "shoulder_lift": "20 deg", "slide": "0.5 m"}],
    )
    travel: dict[str, JointValue] = Field(
        default_factory=dict,
        description="posture in which the base rolls along its rail, clear of all along it with a rider aboard; left "
        "out, it rolls with the arm as it waits",
        examples=[{"shoulder_turn": "0 deg", "shoulder_lift": "20 deg", "slide": "0.5 m"}],
    )
    loads: dict[LoadName, LoadClass] = Field(
        description="limits by what the arm carries: free, rider, and rider_and_hardware must all be there"
    )
    reaction_time: Delay = Field(
        description="from the stop command, or from a person's call, to braking", examples=["0.6 s"]
    )
    detection_time: Delay = Field(
        description="from a joint running away to the brakes being commanded", examples=["0.5 s"]
    )
    runaway_rate: dict[str, JointRate] = Field(
        default_factory=dict,
        description="how fast each joint can run away; left out, the free load's joint_rate",
        examples=[{"default": "4 deg/s"}],
    )
    characteristic_length: Annotated[float, Quantity("length", "5 m", "0 m", "100 m", above=True)] = Field(
        description="weighs turning against moving in the singular value: about half the arm's reach"
    )
    tip_positioning: Annotated[float, Quantity("length", "5 cm", "0 m", "10 m")] = Field(
        description="positioning error of the tip, worst case: at least this much goes into the budget as "
        "arm_positioning, and into the separation from free workers"
    )
    ignore_pairs: list[tuple[NamePattern, NamePattern]] = Field(
        default_factory=list,
        description="bodies of the arm that touch each other by design and are not judged",
        examples=[[["boom_near_root", "boom_near_tube"]]],
    )
    groups: Groups = Field(default_factory=dict)
    near: list[Near] = Field(
        default_factory=list,
        description="what people who do not ride may come near to anywhere, while the arm and its base stand still",
        examples=[[{"who": "whole", "to": "base_*", "at_least": "0.7 m", "why": "workers pass the foot of the arm"}]],
    )
    cameras: dict[Name, Camera] = Field(default_factory=dict, description="cameras on the arm, by name")
