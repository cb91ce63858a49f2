"""What every document shares: quantities with units, names, strictness, where numbers come from."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema

from armcarry.errors import QuantityError
from armcarry.quantities import KINDS, parse


def _quantity(kind: str, example: str) -> Any:
    """Build the type of a quantity of one kind: text with a unit in the file, an SI float inside."""

    def read(value: object) -> float:
        try:
            return parse(value, kind)
        except QuantityError as error:
            raise ValueError(str(error)) from error

    si = KINDS[kind][0]
    schema = {
        "type": "string" if kind != "fraction" else ["string", "number"],
        "description": f"a {kind.replace('_', ' ')} with its unit: {KINDS[kind][1]}",
        "examples": [example],
    }
    if kind == "time":
        schema["pattern"] = r"^\s*(-?\d+:[0-5]\d(:[0-5]\d(\.\d+)?)?|[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*\S.*)$"
    elif kind != "fraction":
        schema["pattern"] = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*\S.*$"
    return Annotated[
        float,
        BeforeValidator(read),
        PlainSerializer(lambda value: f"{value!r} {si}".rstrip(), return_type=str),
        WithJsonSchema(schema),
    ]


Length = _quantity("length", "0.6 m")
Angle = _quantity("angle", "15 deg")
Time = _quantity("time", "90 s")
Mass = _quantity("mass", "120 kg")
Speed = _quantity("speed", "0.1 m/s")
AngularSpeed = _quantity("angular_speed", "2 deg/s")
Acceleration = _quantity("acceleration", "0.05 m/s^2")
AngularAcceleration = _quantity("angular_acceleration", "1 deg/s^2")
Force = _quantity("force", "556 N")
Fraction = _quantity("fraction", "50 %")

#: a name of ours: lower case, digits and underscores
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,47}$", description="lower case, digits, underscores")]
#: a full name of a link, joint or body: instance/name
FullName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*(/[A-Za-z0-9_.-]+)?$", max_length=96)]
#: a full name that may hold * for any run of characters
NamePattern = Annotated[str, Field(pattern=r"^[A-Za-z0-9_*/.-]+$", max_length=96)]
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
    position: Position = Field(default=(0.0, 0.0, 0.0), validate_default=False)
    rotation: Rotation = Field(default=(0.0, 0.0, 0.0), validate_default=False)
