"""The documents of what the arm brings along: suited crew, hardware, the foot restraint."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.arm import Camera, JointSettings
from armcarry.files.documents.base import (
    Angle,
    Document,
    HalfAngle,
    JointValue,
    Mass,
    Name,
    NamePattern,
    Part,
    Quantity,
    Speed,
    Text,
    Time,
    Torque,
    Turns,
    UrdfName,
)
from armcarry.files.documents.step_parts import Duration, takes
from armcarry.files.documents.zones import Groups, Near, Within

#: of a body: longer than any arm
BodyLength = Annotated[float, Quantity("length", "0.6 m", "0 m", "3 m", above=True)]


class ReachEnvelope(Part):
    """Where hands can work: a ball about each shoulder, cut by what is in front of the chest."""

    one_hand: BodyLength = Field(description="farthest glove from its own shoulder", examples=["0.697 m"])
    two_hand: BodyLength = Field(description="farthest glove from both shoulders", examples=["0.682 m"])
    nearest: Annotated[float, Quantity("length", "0.3 m", "0 m", "3 m")] = Field(
        description="closest to the chest at which gloves can work"
    )
    half_angle: HalfAngle = Field(
        description="half angle of the cone about the chest's forward axis", examples=["65 deg"]
    )

    @model_validator(mode="after")
    def _some_room(self) -> ReachEnvelope:
        if self.nearest >= min(self.one_hand, self.two_hand):
            raise ValueError("nearest must be less than one_hand and two_hand, else hands work nowhere")
        return self


class CrewSize(Part):
    """One size of suited body."""

    urdf: UrdfName = Field(
        description="URDF of this size, inside the folder of this file", examples=["suited_medium.urdf"]
    )
    mass: Mass = Field(description="mass of body and suit", examples=["200 kg"])
    reach: ReachEnvelope = Field(description="where the hands of this size can work")


class CrewDocument(Document):
    """A suited body: sizes, postures and the frames other parts ask for."""

    format: Literal["armcarry crew 1"] = Field(description="kind and version of this file")
    sizes: dict[Name, CrewSize] = Field(description="sizes of body, by name; scenarios take medium unless they say")
    postures: dict[Name, JointSettings] = Field(
        description="posture -> joints of the URDF; those not named are at 0",
        examples=[{"carry": {"knees": "-36 deg", "hips": "18 deg"}}],
    )
    boots: UrdfName = Field(description="link between the soles, the root: stands on a plate", examples=["boots"])
    chest: UrdfName = Field(description="link of the chest: +x forward, +z up", examples=["chest"])
    visor: UrdfName = Field(description="link at the eyes: looks along +x", examples=["visor"])
    shoulders: tuple[UrdfName, UrdfName] = Field(
        description="links at the left and the right shoulder", examples=[["left_shoulder", "right_shoulder"]]
    )
    gloves: tuple[UrdfName, UrdfName] = Field(
        description="links of the left and the right glove", examples=[["left_glove", "right_glove"]]
    )
    hands: UrdfName = Field(description="frame between the gloves where held hardware hangs", examples=["hands"])
    view_half_angle: HalfAngle = Field(
        description="how far from the visor's axis the eyes see", examples=["60 deg"]
    )
    corridor: BodyLength = Field(description="least free width the body needs to pass", examples=["1.1 m"])
    translation_speed: Speed = Field(description="speed along handrails, hand over hand", examples=["0.15 m/s"])
    trails: BodyLength | None = Field(
        default=None,
        description="how far behind the chest the handhold of an item is that trails on the body's tether, both hands "
        "off it; left out, it stays before the hands",
        examples=["0.75 m"],
    )
    groups: Groups = Field(default_factory=dict)
    cameras: dict[Name, Camera] = Field(default_factory=dict, description="cameras worn, by name: on the helmet, say")


class Fastener(Part):
    """A lock, set of bolts, connector or cover on hardware; ``joint`` names what it holds still or folds."""

    kind: Literal["lock", "bolts", "connector", "cover"] = Field(description="what it is", examples=["cover"])
    count: Annotated[int, Field(ge=1, le=1000)] = Field(default=1, description="how many there are", examples=[4])
    torque: Torque | None = Field(default=None, description="how hard each is turned tight; left out, it is not told")
    turns: Turns | None = Field(
        default=None, description="turns of each from loose to tight; left out, they are not told", examples=[6]
    )
    driver: Text = Field(
        default="", description="what turns it, as people call it", examples=["pistol grip with the 7/16 inch socket"]
    )
    tool: Name | None = Field(
        default=None, description="hardware model that turns it, which steps name as their tool; left out, any may",
        examples=["driver"],
    )
    joint: str | None = Field(
        default=None, description="joint of the URDF that it holds still or folds", examples=["cover_fold"]
    )
    closed: JointValue | None = Field(
        default=None, description="position of that joint when closed", examples=["0 deg"]
    )
    open: JointValue | None = Field(default=None, description="position of that joint when open", examples=["180 deg"])
    needed_to: list[Literal["carry", "grasp", "release", "seat"]] = Field(
        default_factory=list,
        description="acts for which it must be in state_needed: carry, grasp, release (leave a seat), seat",
        examples=[["release"]],
    )
    state_needed: Literal["closed", "open"] = Field(
        default="closed", description="state it must have for them", examples=["open"]
    )


    @property
    def bonds_to_seat(self) -> bool:
        """Whether it is the item's side of its seat's bolts or connectors, which the seat counts."""
        return self.kind in ("bolts", "connector") and "release" in self.needed_to


#: something that must be so of an item: tethered, or a fastener of its own or bond of its seat and its state
Condition = Annotated[
    str,
    Field(
        pattern=r"^(tethered|untethered|[a-z][a-z0-9_]{0,47} (open|closed|locked|unlocked|tight|loose|joined|parted))$",
        description="tethered, untethered, or a fastener, bolts or connector with its state: cover open",
    ),
]


class SeatTimes(Part):
    """How long the work at a seat takes, all of it together."""

    unfasten: Time = Field(default=300.0, description="bolts, connectors and covers before it is taken")
    settle: Time = Field(default=20.0, description="held against its seat before it is let go")
    fasten: Time = Field(default=300.0, description="bolts, connectors and covers after it is in")


def _takes(likely: str, least: str, most: str, words: str) -> Any:
    said = f"{words}: a time, or least, likely and most"
    example = {"least": least, "likely": likely, "most": most}
    return Field(default_factory=lambda: takes(least, likely, most), description=said, examples=[example])


class ActTimes(Part):
    """How long each act on it takes in a day; counted ones each. Assumptions until measured in practice runs."""

    tether: Duration = _takes("2 min", "1 min", "3 min", "its tether is hooked")
    untether: Duration = _takes("1 min", "1 min", "2 min", "its tether is unhooked")
    steady: Duration = _takes("1 min", "1 min", "2 min", "a hand is put on it while it is fastened")
    let_go: Duration = _takes("1 min", "1 min", "2 min", "the hands leave it in its seat")
    loosen: Duration = _takes("3 min", "2 min", "5 min", "one bolt is loosened")
    tighten: Duration = _takes("4 min", "3 min", "5 min", "one bolt is tightened")
    part: Duration = _takes("5 min", "3 min", "9 min", "one connector is parted")
    join: Duration = _takes("5 min", "3 min", "9 min", "one connector is joined")
    lock: Duration = _takes("3 min", "2 min", "6 min", "a lock is closed or opened")
    fold: Duration = _takes("3 min", "2 min", "6 min", "a cover is folded open or closed")
    take: Duration = _takes("3 min", "2 min", "6 min", "it is lifted off its seat")
    seat: Duration = _takes("4 min", "3 min", "8 min", "it is put into a seat")


class HardwareDocument(Document):
    """A piece of hardware that is carried."""

    format: Literal["armcarry hardware 1"] = Field(description="kind and version of this file")
    urdf: UrdfName = Field(
        description="URDF of the hardware, inside the folder of this file", examples=["pump_box.urdf"]
    )
    mass: Mass = Field(description="mass with everything on it", examples=["120 kg"])
    base: UrdfName = Field(description="frame that meets the seat's frame", examples=["base"])
    handhold: UrdfName = Field(description="frame that meets the hands", examples=["handhold"])
    fasteners: dict[Name, Fastener] = Field(
        default_factory=dict, description="locks, bolts, connectors and covers on it, by name"
    )
    rest: JointSettings = Field(
        default_factory=dict,
        description="position of its joints at the start; those not named are at 0",
        examples=[{"cover_fold": "180 deg"}],
    )
    touches: list[NamePattern] = Field(
        default_factory=list,
        description="bodies of its holder that it touches when held",
        examples=[["glove_left", "glove_right"]],
    )
    socket: UrdfName | None = Field(
        default=None, description="frame that takes a restraint, if any", examples=["socket"]
    )
    holds: Annotated[int, Field(ge=1, le=100)] | None = Field(
        default=None,
        description="how many small items it takes in, if it is a bag: they are put into it as into a seat",
        examples=[6],
    )
    small: bool = Field(default=False, description="whether it goes into a bag", examples=[True])
    hold: Literal["one_hand", "two_hands"] = Field(
        default="two_hands", description="hands it takes to hold it", examples=["one_hand"]
    )
    before_carry: list[Condition] = Field(
        default_factory=list,
        description="what must be so of it when it is carried",
        examples=[["tethered", "cover open"]],
    )
    after_seating: list[Condition] = Field(
        default_factory=list,
        description="what must be so of it at the end of a day in which it was seated",
        examples=[["bolts tight", "connector joined", "untethered"]],
    )
    takes: SeatTimes = Field(
        default_factory=lambda: SeatTimes(), description="times of the work at its seat, for moves by intent"
    )
    acts: ActTimes = Field(
        default_factory=ActTimes, description="times of each act on it, for steps of a day that state none",
        examples=[{"take": "3 min", "tighten": {"least": "3 min", "likely": "4 min", "most": "5 min"}}],
    )
    groups: Groups = Field(default_factory=dict)
    within: Within = Field(default=1.5, description="how far hands may be from its base for near to hold")
    near: list[Near] = Field(
        default_factory=list,
        description="how near whoever works beside it may come to it while the arm does not carry it",
        examples=[[{"who": "whole", "at_least": "0.2 m", "why": "to push and clamp it"}]],
    )


class Setting(Part):
    """One adjustment of the restraint in discrete steps."""

    joint: str = Field(description="joint of the URDF that it turns", examples=["foot_pitch"])
    step: Annotated[float, Quantity("angle", "15 deg", "0 deg", "360 deg", above=True)] = Field(
        description="from one stop to the next"
    )
    lowest: Angle = Field(description="first stop", examples=["-30 deg"])
    highest: Angle = Field(description="last stop", examples=["120 deg"])


class RestraintDocument(Document):
    """A foot restraint between arm tip and boots."""

    format: Literal["armcarry restraint 1"] = Field(description="kind and version of this file")
    urdf: UrdfName = Field(
        description="URDF of the restraint, inside the folder of this file", examples=["foot_restraint.urdf"]
    )
    mount: UrdfName = Field(description="link that meets the arm's tip or a socket, the root", examples=["mount"])
    plate: UrdfName = Field(description="link on which boots stand: on its +z side, toes to +x", examples=["plate"])
    settings: dict[Name, Setting] = Field(description="adjustments in steps, by name")
    getting_in: Duration = _takes("8 min", "6 min", "14 min", "somebody gets in, for the steps of a day by intent")
    getting_out: Duration = _takes("7 min", "5 min", "12 min", "somebody gets out, for the steps of a day by intent")
    setting: Duration = _takes("2 min", "1 min", "4 min", "it is turned to other settings (fit, stow)")
    taking: Duration = _takes("3 min", "2 min", "6 min", "it is taken out of a socket or off the arm (fit, stow)")
    fitting: Duration = _takes("8 min", "6 min", "14 min", "it is put onto the arm's tip (fit)")
    seating: Duration = _takes("6 min", "4 min", "10 min", "it is put into a socket (stow)")
    groups: Groups = Field(default_factory=dict)
    within: Within = Field(default=2.0, description="how far the boots of somebody else may be from the plate")
    near: list[Near] = Field(
        default_factory=list,
        description="what whoever gets on or off may come near to",
        examples=[[{"who": "whole", "at_least": "0.1 m", "arm_still": True, "why": "somebody gets on or off"}]],
    )
