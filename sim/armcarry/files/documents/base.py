"""What every document shares: quantities with units, names, strictness, where numbers come from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from armcarry.errors import QuantityError
from armcarry.quantities import describe, parse


@dataclass(frozen=True)
class Quantity:
    """Annotation of a float that stands in a file as text with a unit, of one of the given kinds."""

    kinds: tuple[str, ...]
    example: str

    def read(self, value: object) -> float:
        """Return the SI value of text with a unit. Raises ValueError, which pydantic collects."""
        for kind in self.kinds:
            try:
                return parse(value, kind)
            except QuantityError as error:
                refusal = error
        if len(self.kinds) == 1:
            raise ValueError(str(refusal)) from refusal
        raise ValueError(f"{refusal.problem}; found {value!r}; accepted: {self.accepted}")

    @property
    def accepted(self) -> str:
        """What a person may write, in words."""
        return " or ".join(describe(kind) for kind in self.kinds)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        number = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*"
        if self.kinds == ("fraction",):
            return {"type": ["string", "number"], "description": self.accepted, "examples": [self.example]}
        clock = r"|-?\d+:[0-5]\d(:[0-5]\d(\.\d+)?)?" if "time" in self.kinds else ""
        return {
            "type": "string",
            "description": self.accepted,
            "examples": [self.example],
            "pattern": rf"^\s*({number}[^\d\s].*{clock})$",
        }


Length = Annotated[float, Quantity(("length",), "0.6 m")]
Angle = Annotated[float, Quantity(("angle",), "15 deg")]
#: position of a joint: an angle if it turns, a length if it slides
JointValue = Annotated[float, Quantity(("angle", "length"), "15 deg")]
#: rate of a joint
JointRate = Annotated[float, Quantity(("angular_speed", "speed"), "2 deg/s")]
JointAcceleration = Annotated[float, Quantity(("angular_acceleration", "acceleration"), "1 deg/s^2")]
Time = Annotated[float, Quantity(("time",), "90 s")]
Mass = Annotated[float, Quantity(("mass",), "120 kg")]
Speed = Annotated[float, Quantity(("speed",), "0.1 m/s")]
AngularSpeed = Annotated[float, Quantity(("angular_speed",), "2 deg/s")]
Acceleration = Annotated[float, Quantity(("acceleration",), "0.05 m/s^2")]
AngularAcceleration = Annotated[float, Quantity(("angular_acceleration",), "1 deg/s^2")]
Force = Annotated[float, Quantity(("force",), "556 N")]
Fraction = Annotated[float, Quantity(("fraction",), "50 %")]

#: a name of ours: lower case, digits and underscores
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,47}$", description="lower case, digits, underscores")]
#: a full name of a link, joint or body: instance/name
FullName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*(/[A-Za-z0-9_.-]+)?$", max_length=96)]
#: a full name that may hold * for any run of characters
NamePattern = Annotated[str, Field(pattern=r"^[A-Za-z0-9_*/.-]+(\|[A-Za-z0-9_*/.-]+)*$", max_length=160)]
Text = Annotated[str, Field(max_length=2000)]

Position = tuple[Length, Length, Length]
Rotation = tuple[Angle, Angle, Angle]


class Part(BaseModel):
    """A part of a document: frozen, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Document(Part):
    """A whole document. Every number in it is an assumption unless ``sources`` says where it is from."""

    title: Text
    basis: Literal["assumption", "measured", "published"] = Field(
        default="assumption",
        description="what every number here is, unless named under sources; an assumption must be "
        "replaced by the user's own number before the result is relied on",
    )
    sources: dict[str, Text] = Field(
        default_factory=dict, description="path of a key in this file (a.b.c) -> where its numbers come from"
    )
    notes: Text = ""


class PoseIn(Part):
    """A pose in a named frame: position, then fixed-axis roll, pitch, yaw (ROS REP 103)."""

    frame: FullName
    position: Position = Field(default=(0.0, 0.0, 0.0))
    rotation: Rotation = Field(default=(0.0, 0.0, 0.0))
