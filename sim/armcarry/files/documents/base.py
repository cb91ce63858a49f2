"""What every document shares: quantities with units and ranges, names, strictness, where numbers come from.

Every key has a description and an example on its field, and every number a range: the JSON Schema, the reader, the
reference of keys and ``armcarry explain`` say the same because they read them here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from armcarry.errors import QuantityError
from armcarry.quantities import describe, parse, pattern, write


@dataclass(frozen=True)
class Quantity:
    """Annotation of a float that stands in a file as text with a unit, inside a range.

    Args:
        kind: what it is; a quantity of a joint may be of two kinds, first for one that turns, then for one that slides.
        example: how it is written.
        least, most: the range, each as it is written in a file; one a kind.
        above: whether the least value itself is refused.
    """

    kind: str | tuple[str, str]
    example: str
    least: str | tuple[str, str]
    most: str | tuple[str, str]
    above: bool = False

    @cached_property
    def ranges(self) -> tuple[tuple[str, str, str], ...]:
        """Each kind with its least and its most value as they are written."""
        if isinstance(self.kind, str):
            return ((self.kind, str(self.least), str(self.most)),)
        return tuple(zip(self.kind, self.least, self.most, strict=True))

    def read(self, value: object) -> float:
        """Return the SI value of text with a unit. Raises ValueError, which pydantic collects."""
        problem = ""
        for kind, least, most in self.ranges:
            try:
                found = parse(value, kind)
            except QuantityError as error:
                problem = problem or error.problem
                continue
            if self._inside(found, parse(least, kind), parse(most, kind)):
                return found
            problem = "outside the accepted range"
            break
        found_words = "" if value is None else f"; found {value!r}"
        raise ValueError(f"{problem}{found_words}; accepted: {self.accepted}")

    def _inside(self, value: float, least: float, most: float) -> bool:
        # a schema knows a negative number by its sign alone, so -0 m counts as one
        low = value > least if self.above else value >= least and (least < 0 or math.copysign(1.0, value) > 0)
        return low and value <= most

    @property
    def accepted(self) -> str:
        """What a person may write, in words."""
        return " or ".join(f"{describe(kind)}, {self._range(least, most)}" for kind, least, most in self.ranges)

    def _range(self, least: str, most: str) -> str:
        return f"more than {least}, at most {most}" if self.above else f"{least} to {most}"

    def write(self, value: float, example: str = "") -> str:
        """Return an SI value as a person writes it: in the unit of an example, or of the least value."""
        kind, least, _ = self.ranges[0]
        unit = next(text for text in (example, self.example, least) if " " in text).split()[1]
        text = f"{value / parse(f'1 {unit}', kind):.12g} {unit}"
        return text if parse(text, kind) == value else write(value, kind)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        texts = [pattern(kind, parse(least, kind), self.above) for kind, least, _ in self.ranges]
        said: dict[str, Any] = {"description": self.accepted, "examples": [self.example]}
        if self.kind != "fraction":
            return {"type": "string", "pattern": "|".join(texts), **said}
        _, least, most = self.ranges[0]
        lowest = {"exclusiveMinimum" if self.above else "minimum": parse(least, "fraction")}
        number = {"type": "number", "maximum": parse(most, "fraction"), **lowest}
        return {"anyOf": [{"type": "string", "pattern": texts[0]}, number], **said}


#: a coordinate, of either sign
Length = Annotated[float, Quantity("length", "0.6 m", "-10 km", "10 km")]
#: how far apart, how long or how wide
Distance = Annotated[float, Quantity("length", "0.6 m", "0 m", "1 km")]
#: an angle, of either sign, several turns included
Angle = Annotated[float, Quantity("angle", "15 deg", "-36000 deg", "36000 deg")]
#: an angle from an axis
HalfAngle = Annotated[float, Quantity("angle", "30 deg", "0 deg", "180 deg")]
#: an angle between two sides of what a camera sees
View = Annotated[float, Quantity("angle", "62 deg", "0 deg", "179 deg", above=True)]
#: position of a joint: an angle if it turns, a length if it slides
JointValue = Annotated[float, Quantity(("angle", "length"), "15 deg", ("-36000 deg", "-1 km"), ("36000 deg", "1 km"))]
#: the same of an amount by which it may be off
JointAmount = Annotated[float, Quantity(("angle", "length"), "0.03 deg", ("0 deg", "0 m"), ("180 deg", "10 m"))]
#: rate of a joint
JointRate = Annotated[
    float,
    Quantity(("angular_speed", "speed"), "2 deg/s", ("0 deg/s", "0 m/s"), ("3600 deg/s", "20 m/s"), above=True),
]
JointAcceleration = Annotated[
    float,
    Quantity(
        ("angular_acceleration", "acceleration"), "1 deg/s^2", ("0 deg/s^2", "0 m/s^2"),
        ("36000 deg/s^2", "200 m/s^2"), above=True,
    ),
]  # fmt: skip
#: how long something lasts
Time = Annotated[float, Quantity("time", "90 s", "0 s", "168 h")]
#: how long a machine or a person takes to act
Delay = Annotated[float, Quantity("time", "0.5 s", "0 s", "10 min")]
Mass = Annotated[float, Quantity("mass", "120 kg", "0 kg", "1000000 kg", above=True)]
Speed = Annotated[float, Quantity("speed", "0.1 m/s", "0 m/s", "20 m/s", above=True)]
Torque = Annotated[float, Quantity("torque", "20 N*m", "0 N*m", "10000 N*m", above=True)]
#: how full something is
Level = Annotated[float, Quantity("fraction", "95 %", "0 %", "100 %", above=True)]
#: a confidence, never certainty
Fraction = Annotated[float, Quantity("fraction", "95 %", "0 %", "99.99 %", above=True)]

#: pattern -> what it takes, in words
NAME_WORDS = {
    (_NAME := r"^[a-z][a-z0-9_]{0,47}$"): "lower case, digits, underscores",
    (_FULL := r"^[a-z][a-z0-9_]*(/[A-Za-z0-9_.-]+)?$"): "a full name: instance/link, as platform/bay_7_stand",
    (_TABLE := r"^[A-Za-z0-9_][A-Za-z0-9_.-]*\.csv$"): "a CSV file beside this one, as practice.csv",
    (_FITS := r"^[A-Za-z0-9_*/.-]+(\|[A-Za-z0-9_*/.-]+)*$"): "full names; * is any run of characters, | is or",
}
#: a name of ours: lower case, digits and underscores
Name = Annotated[str, Field(pattern=_NAME)]
#: a CSV file in the folder of the document that names it
TableName = Annotated[str, Field(pattern=_TABLE, max_length=96)]
#: a full name of a link, joint or body: instance/name
FullName = Annotated[str, Field(pattern=_FULL, max_length=96)]
#: a full name that may hold * for any run of characters
NamePattern = Annotated[str, Field(pattern=_FITS, max_length=160)]
#: a link, joint or body of the URDF beside a document
UrdfName = Annotated[str, Field(min_length=1, max_length=160)]
Text = Annotated[str, Field(max_length=2000)]
#: whole turns of a bolt and parts of one
Turns = Annotated[float, Field(gt=0, le=1000)]
#: a share of a whole, as a plain number
Share = Annotated[float, Field(gt=0, le=1)]

Position = tuple[Length, Length, Length]
Rotation = tuple[Angle, Angle, Angle]


class Part(BaseModel):
    """A part of a document: frozen, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    #: how the whole is written, where its required keys alone do not make one
    EXAMPLE: ClassVar[dict[str, Any]] = {}


class OwnWords(Part):
    """What whoever leads the work says in own words of a move or a step; it stands in the procedure, cards and script.

    ``note`` is a kind of step too, so a step that is nothing else is told by it.
    """

    say: Text = Field(default="", description="words to say, and the caption for the room", examples=["Straight in"])
    note: Text | None = Field(
        default=None, description="a remark for whoever does it", examples=["the left bolt turns hard"]
    )
    caution: Text = Field(
        default="", description="what to beware of, said before it is done", examples=["Hot: no hand on the port side."]
    )
    see: Text = Field(default="", description="what is seen when it is right", examples=["A green ring on each bolt."])
    if_not: Text = Field(
        default="", description="what to do when that is not seen", examples=["Back off one turn and try again."]
    )


class Document(Part):
    """A whole document. Every number in it is an assumption unless ``sources`` says where it is from."""

    title: Text = Field(description="what this is, in a few words, for headings", examples=["The arm Heron"])
    basis: Literal["assumption", "measured", "published"] = Field(
        default="assumption",
        description="what every number here is, unless named under sources; an assumption must be "
        "replaced by the user's own number before the result is relied on",
        examples=["measured"],
    )
    sources: dict[str, Text] = Field(
        default_factory=dict,
        description="path of a key in this file (a.b.c) -> where its numbers come from",
        examples=[{"reaction_time": "acceptance test of 3 May 2025"}],
    )
    notes: Text = Field(default="", description="anything a reader should know", examples=["Masses without tools."])


class PoseIn(Part):
    """A pose in a named frame: position, then fixed-axis roll, pitch, yaw (ROS REP 103)."""

    frame: FullName = Field(description="frame in which the pose is told", examples=["platform/bay_7_stand"])
    position: Position = Field(
        default=(0.0, 0.0, 0.0), description="x, y, z in that frame", examples=[["-1.6 m", "0 m", "0 m"]]
    )
    rotation: Rotation = Field(
        default=(0.0, 0.0, 0.0), description="roll, pitch, yaw in that frame", examples=[["0 deg", "0 deg", "90 deg"]]
    )
