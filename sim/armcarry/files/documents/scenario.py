"""The scenario document: one script of a rehearsal."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from armcarry.files.documents.arm import JointSettings
from armcarry.files.documents.base import (
    Angle,
    Document,
    FullName,
    Length,
    Level,
    Name,
    NamePattern,
    Part,
    Position,
    Text,
)
from armcarry.files.documents.carries import Carry
from armcarry.files.documents.day import Day
from armcarry.files.documents.environment import Environment
from armcarry.files.documents.pictures import PictureWanted
from armcarry.files.documents.rooms import SwitchedOff

#: name of a mount that is found
ANY_MOUNT = "any"

_MODEL = "name of a model, or path of its YAML file relative to this one"


class CrewMember(Part):
    """One crewmember of this rehearsal."""

    body: Text = Field(default="suited", description="crew model: " + _MODEL, examples=["suited"])
    size: Name = Field(default="medium", description="size of that crew model", examples=["large"])
    posture: Name = Field(description="posture at the start, of that crew model", examples=["carry"])
    at: Literal["arm", "inside"] | FullName = Field(
        description="arm, inside, or a frame where the boots are", examples=["arm", "platform/bay_7_stand"]
    )
    suit: Name | None = Field(
        default=None, description="suit of the rules, whose tanks are emptied by effort; left out, none is asked",
        examples=["plain"],
    )
    filled: dict[Name, Level] = Field(
        default_factory=dict, description="tank of that suit -> how full it is when the day begins; left out, full",
        examples=[{"oxygen": "95 %"}],
    )


class HardwareItem(Part):
    """One piece of hardware and where it starts."""

    model: Text = Field(description="hardware model: " + _MODEL, examples=["pump_box"])
    at: Literal["inside"] | FullName = Field(
        description="inside, frame of a seat or bag (bag/base), or a link such as ev1/hands when it is held",
        examples=["platform/rack_a_seat"],
    )
    fasteners: dict[Name, Literal["open", "closed"]] = Field(
        default_factory=dict,
        description="state of its fasteners at the start; left out, as its rest position says, else closed",
        examples=[{"cover": "closed"}],
    )


class Base(Part):
    """Where the arm's base sits."""

    mount: Name = Field(
        default=ANY_MOUNT,
        description="mount of the platform; left out, the one from which most worksites of the script are reached",
        examples=["trolley"],
    )
    station: Length | None = Field(
        default=None,
        description="along the rail, for a travelling mount; left out, found from the worksites that the script names",
        examples=["11 m"],
    )


class Restraint(Part):
    """The foot restraint of this rehearsal and where it is."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"at": "arm", "settings": {"pitch": "90 deg"}}

    model: Text = Field(default="foot_restraint", description="restraint model: " + _MODEL, examples=["foot_restraint"])
    at: Literal["arm"] | FullName = Field(
        default="arm", description="arm, or a frame such as a worksite's socket", examples=["platform/bay_7_socket"]
    )
    settings: dict[Name, Angle] = Field(
        default_factory=dict,
        description="adjustment -> angle, one of its steps; those left out are at 0; with moves by intent and none at "
        "all said, they are found so that arm and hands reach",
        examples=[{"pitch": "90 deg"}],
    )


class Expectation(Part):
    """A verdict this scenario is expected to give, tested."""

    check: Name = Field(description="name of a check", examples=["clearance"])
    verdict: Literal["pass", "fail", "not_assessed"] = Field(description="what it says", examples=["fail"])
    subject: NamePattern = Field(
        default="*", description="what the finding is about; * is any run of characters, | is or", examples=["arm/*"]
    )
    other: NamePattern = Field(
        default="*", description="the second body, if any, in the same way", examples=["platform/*"]
    )


class StartAt(Part):
    """Where the arm starts: its plate, or its bare tip, before a worksite."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"at": "rack_a"}

    at: Name = Field(description="worksite; the plate waits where its way in begins", examples=["rack_a"])
    joints: JointSettings = Field(
        default_factory=dict, description="arm joints there; left out, they are found",
        examples=[{"shoulder_turn": "41.2 deg"}],
    )


def _start_kind(value: Any) -> str:
    return "place" if isinstance(value, StartAt) or (isinstance(value, dict) and "at" in value) else "joints"


class ScenarioDocument(Document):
    """One script: what stands where, what the arm does, and what verdicts are expected."""

    format: Literal["armcarry scenario 1"] = Field(description="kind and version of this file")
    purpose: Text = Field(description="what it is to show", examples=["Carry the pump box from rack A to bay 7."])
    platform: Text = Field(description="platform model: " + _MODEL, examples=["tern_yard"])
    arm: Text = Field(description="arm model: " + _MODEL, examples=["heron"])
    rules: Text = Field(description="rules: " + _MODEL, examples=["tern_yard"])
    base: Base = Field(
        default_factory=Base,
        description="where the arm's base sits; what is left out is found",
        examples=[{"mount": "trolley"}],
    )
    vehicle: Literal["docked", "absent"] = Field(
        default="absent", description="whether the platform's vehicle is there", examples=["docked"]
    )
    vehicle_from: Position | None = Field(
        default=None,
        description="where the root of a vehicle that comes during the day is at the start, in its dock's frame; left "
        "out, it is docked",
        examples=[["30 m", "0 m", "0 m"]],
    )
    appendages: dict[Name, Name] = Field(
        default_factory=dict,
        description="appendage of the platform -> state at the start; those left out stand as the URDF has them",
        examples=[{"radiator_port": "stowed"}],
    )
    carts: dict[Name, Length] = Field(
        default_factory=dict,
        description="cart of the platform -> station along the rail at the start; those left out are at 0 m",
        examples=[{"cart_1": "16.2 m"}],
    )
    restraint: Restraint | None = Field(default=None, description="the foot restraint; left out, there is none")
    restraints: dict[Name, Restraint] = Field(
        default_factory=dict,
        description="further foot restraints, by name: on a cart, or carried to where it is needed",
        examples=[{"second": {"at": "platform/bay_7_socket"}}],
    )
    crew: dict[Name, CrewMember] = Field(default_factory=dict, description="who takes part, by name")
    hardware: dict[Name, HardwareItem] = Field(default_factory=dict, description="what is there to carry, by name")
    start: Annotated[
        Annotated[StartAt, Tag("place")] | Annotated[JointSettings, Tag("joints")], Discriminator(_start_kind)
    ] = Field(
        default_factory=dict,
        description="arm joints at the start, others at home; or a worksite, before which joints are found; left out, "
        "at home, or where the first move by intent leads if somebody is aboard by then",
        examples=[{"shoulder_turn": "41.2 deg"}],
    )
    safe_point: Name | None = Field(
        default=None,
        description="worksite where a rider is safe when a joint has locked; left out, where the run starts",
        examples=["porch"],
    )
    carries: list[Carry] = Field(default_factory=list, description="what the arm does: carries made of moves")
    day: Day | None = Field(default=None, description="who does what and when; without it carries follow in order")
    switched_off: dict[Name, SwitchedOff] = Field(
        default_factory=dict,
        description="what rooms of the platform speak of (while_on) -> when it is off; left out, it is on",
        examples=[{"loft_thruster": {}}],
    )
    cameras_off: list[NamePattern] = Field(
        default_factory=list,
        description="cameras out of service, by full name: platform/bow_eye, ev1/*",
        examples=[["platform/bow_eye"]],
    )
    environment: Environment | None = Field(
        default=None, description="date, orbit and attitude; without it nothing that needs light is assessed"
    )
    pictures: list[PictureWanted] = Field(
        default_factory=list, description="labelled stills that brief draws besides its own"
    )
    expect: list[Expectation] = Field(
        default_factory=list, description="verdicts this scenario is expected to give, tested"
    )

    @property
    def start_joints(self) -> dict[str, float]:
        """Arm joints at the start that the script says; none where it names a place alone."""
        return self.start.joints if isinstance(self.start, StartAt) else self.start

    @property
    def all_restraints(self) -> dict[str, Restraint]:
        """Every restraint by its name in the scene; the one under ``restraint`` is called so."""
        first = {} if self.restraint is None else {"restraint": self.restraint}
        return {**first, **self.restraints}

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
            self.day.check_names(self.crew, earlier, [*self.hardware, *self.all_restraints])
        return self
