"""The platform document: what stands where the arm works."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from armcarry.files.documents.arm import Camera, JointSettings
from armcarry.files.documents.base import (
    Distance,
    Document,
    Name,
    NamePattern,
    Part,
    Position,
    Share,
    Text,
    Time,
    UrdfName,
)
from armcarry.files.documents.rooms import Room
from armcarry.files.documents.step_parts import Duration, takes
from armcarry.files.documents.zones import Near, Within, Zone

Count = Annotated[int, Field(ge=0, le=1000)]


class Appendage(Part):
    """A part of the platform that can stand in several states."""

    joints: list[str] = Field(description="movable joints of the URDF that it turns by", examples=[["solar_turn"]])
    states: dict[Name, JointSettings] = Field(
        description="state -> position of each of its joints",
        examples=[{"level": {"solar_turn": "0 deg"}, "edge_on": {"solar_turn": "90 deg"}}],
    )
    turning_time: Time = Field(description="how long it takes from one state to another", examples=["240 s"])


class Mount(Part):
    """A place for the arm's base; ``joint`` names the rail joint when the mount travels."""

    frame: UrdfName = Field(description="link on which the arm's base sits", examples=["trolley_mount"])
    joint: str | None = Field(
        default=None,
        description="sliding joint by which it travels along a rail; left out, it stands still",
        examples=["trolley_slide"],
    )
    half_length: Distance = Field(
        default=0.0, description="rail it takes up either side of its station, if it travels", examples=["0.9 m"]
    )
    rolling: Duration = Field(
        default_factory=lambda: takes("9 min", "10 min", "11 min"),
        description="time to another station, made fast again: a time, or least, likely and most",
        examples=["10 min"],
    )


class Cart(Part):
    """A cart on the rail: takes up rail length either side of its station."""

    joint: str = Field(description="sliding joint by which it travels along the rail", examples=["cart_1_slide"])
    half_length: Distance = Field(description="rail it takes up either side of its station", examples=["0.65 m"])
    body_frame: UrdfName = Field(description="link of the cart where hardware sits", examples=["cart_1_seat"])


class Worksite(Part):
    """A place to work: where the boots go, what is worked on, where a restraint can be put."""

    title: Text = Field(description="what it is, for captions", examples=["bay 7 port: where the pump box goes"])
    stand: UrdfName = Field(
        description="frame for the restraint's plate: boots on its +z side, facing +x", examples=["bay_7_stand"]
    )
    socket: UrdfName | None = Field(
        default=None, description="frame of a fixed restraint socket, if any", examples=["bay_7_socket"]
    )
    work_points: dict[Name, str] = Field(
        default_factory=dict,
        description="what hands work on: name -> frame, +x out of the work",
        examples=[{"bolts_left": "bay_7_bolts_left"}],
    )
    hands: Literal["one", "two"] = Field(
        default="two", description="how many hands must reach each work point", examples=["one"]
    )
    handrail: Name | None = Field(
        default=None, description="handrail of this platform beside it", examples=["keel_port_7"]
    )
    seat: Name | None = Field(
        default=None, description="seat that hardware goes into or comes out of from here", examples=["bay_7_seat"]
    )
    way_in: list[Position] = Field(
        default=[(-1.6, 0.0, 0.0), (0.0, 0.0, 0.0)],
        min_length=2,
        description="where the plate goes in the stand's frame on the way in, first where it waits clear of all, last "
        "where work is done; backwards on the way out",
        examples=[[["-1.6 m", "0 m", "0 m"], ["0 m", "0 m", "0 m"]]],
    )
    way_in_loaded: list[Position] = Field(
        default_factory=list,
        description="the same with what goes into or comes out of the seat in hand; left out, way_in",
        examples=[[["-0.9 m", "0 m", "0 m"], ["-5 mm", "0 m", "0 m"]]],
    )
    last_rate: Share = Field(
        default=0.5, description="share of the rates on the last stretch with something in hand", examples=[0.5]
    )
    within: Within = Field(default=1.5, description="how far the boots may be from the stand for near to hold")
    near: list[Near] = Field(
        default_factory=list,
        description="what whoever works here may come near to",
        examples=[[{"who": "hands", "to": "bay_7_seat_*", "at_least": "0.35 m", "why": "gloves work the bolts"}]],
    )


class Seat(Part):
    """A place where hardware sits; what must be done before it may leave or arrive."""

    frame: UrdfName = Field(description="link that meets the base of the hardware", examples=["bay_7_seat"])
    accepts: list[Name] = Field(
        description="models, or items by their name in a scenario, that fit in", examples=[["pump_box"]]
    )
    connectors: Count = Field(
        default=0, description="connectors to part before it leaves and to join after it arrives", examples=[1]
    )
    bolts: Count = Field(
        default=0, description="bolts to loosen before it leaves and to tighten after it arrives", examples=[4]
    )
    touches: list[NamePattern] = Field(
        default_factory=list,
        description="bodies of the platform that seated hardware touches",
        examples=[["bay_7_seat_plate"]],
    )
    within: Within = Field(default=1.5, description="how far the item's base may be from the seat for near to hold")
    near: list[Near] = Field(
        default_factory=list,
        description="what an item that goes in or out may come near to",
        examples=[[{"who": "whole", "to": "keel_bay_7_*", "at_least": "0.2 m", "why": "the keel is behind it"}]],
    )

    def takes(self, *names: str) -> bool:
        """Tell whether it accepts an item by any of its names: its own, its model's, that of the model's file."""
        return not set(names).isdisjoint(self.accepts)


class Handrail(Part):
    """A straight rail for gloves, from one frame to another."""

    start: UrdfName = Field(description="frame at one end", examples=["keel_port_7_a"])
    end: UrdfName = Field(description="frame at the other end", examples=["keel_port_7_b"])
    within: Within = Field(default=1.0, description="how far the hands may be from the rail for near to hold")
    near: list[Near] = Field(
        default_factory=list,
        description="what a worker along the rail may come near to",
        examples=[[{"who": "hands", "to": "bay_7_seat_*", "at_least": "0.35 m", "why": "gloves work the bolts"}]],
    )


class PlatformDocument(Document):
    """The platform: its URDF, what stands on it and what may visit it."""

    format: Literal["armcarry platform 1"] = Field(description="kind and version of this file")
    urdf: UrdfName = Field(
        description="URDF of the platform, inside the folder of this file", examples=["tern_yard.urdf"]
    )
    classes: dict[Literal["appendage", "structure"], list[NamePattern]] = Field(
        default_factory=dict,
        description="class -> bodies of it, for the rules' clearances; all others are structure",
        examples=[{"appendage": ["radiator_*_sheet_*", "solar_*"]}],
    )
    vehicle_urdf: UrdfName | None = Field(
        default=None, description="URDF of a vehicle that may dock; needs vehicle_dock", examples=["visitor.urdf"]
    )
    vehicle_dock: UrdfName | None = Field(
        default=None, description="frame where the vehicle docks, its root there", examples=["vehicle_dock"]
    )
    appendages: dict[Name, Appendage] = Field(
        default_factory=dict, description="parts that turn or fold, by name: radiators, wings"
    )
    mounts: dict[Name, Mount] = Field(description="places for the arm's base, by name")
    carts: dict[Name, Cart] = Field(default_factory=dict, description="carts on the rail, by name")
    worksites: dict[Name, Worksite] = Field(description="places to work, by name")
    seats: dict[Name, Seat] = Field(default_factory=dict, description="places for hardware, by name")
    handrails: dict[Name, Handrail] = Field(default_factory=dict, description="rails for gloves, by name")
    zones: dict[Name, Zone] = Field(
        default_factory=dict, description="more places in which less is required, by name: beside the hatch, the track"
    )
    rooms: dict[Name, Room] = Field(
        default_factory=dict,
        description="rooms to keep out of, not to touch, or to leave one way only, by name; proven by check rooms",
    )
    airlock: UrdfName | None = Field(
        default=None, description="frame at the hatch where workers come out", examples=["hatch"]
    )
    going_out: Duration = Field(
        default_factory=lambda: takes("22 min", "26 min", "33 min"),
        description="time from the hatch being opened until all are outside and looked over: a time, or least, likely "
        "and most",
        examples=["26 min"],
    )
    going_in: Duration = Field(
        default_factory=lambda: takes("36 min", "42 min", "49 min"),
        description="time from all being at the hatch until it is closed and air let back in: a time, or least, likely "
        "and most",
        examples=["42 min"],
    )
    cameras: dict[Name, Camera] = Field(default_factory=dict, description="cameras of the platform, by name")
