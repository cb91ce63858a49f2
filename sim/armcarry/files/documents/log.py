"""What the columns of somebody else's log of joint positions mean."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import Document, Part, Quantity, Text, UrdfName

Zero = Annotated[
    float, Quantity(("angle", "length"), "12 deg", least=("-100000 deg", "-100000 m"), most=("100000 deg", "100000 m"))
]


class LogColumn(Part):
    """A column of a log that holds the positions of a joint."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"joint": "shoulder_turn", "unit": "deg"}

    joint: UrdfName = Field(description="joint of the arm, or full name of another joint", examples=["shoulder_turn"])
    unit: Text = Field(default="", description="unit of its numbers; left out, that of its heading", examples=["deg"])
    reversed: bool = Field(
        default=False, description="whether it counts the other way than the joint of the model", examples=[True]
    )
    zero: Zero = Field(
        default=0.0, description="where the joint of the model stands when the log says 0", examples=["12 deg"]
    )
    wraps: bool = Field(
        default=False,
        description="whether it starts anew after a whole turn; steps of more than half a turn from row to row are "
        "then taken as the shorter way round",
        examples=[True],
    )


class LogTime(Part):
    """The column of times of a log."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"column": "UTC"}

    column: Text = Field(description="its heading, as it stands in the log", examples=["UTC"])
    unit: Text = Field(
        default="", description="unit of its numbers; left out, that of its heading, or dates and times of ISO 8601",
        examples=["ms"],
    )


class LogColumnsDocument(Document):
    """Which columns of a log are the joints of an arm."""

    format: Literal["armcarry columns 1"] = Field(description="kind and version of this file")
    time: LogTime = Field(description="column of the times")
    move: Text = Field(
        default="", description="heading of a column that says in which row a move of the script begins",
        examples=["step"],
    )
    joints: dict[Text, LogColumn] = Field(
        min_length=1, max_length=200, description="heading of a column, as it stands in the log -> what it holds",
        examples=[{"J1.pos": {"joint": "shoulder_turn", "unit": "rad"}}],
    )

    @model_validator(mode="after")
    def _each_once(self) -> LogColumnsDocument:
        headings = [self.time.column, *filter(None, [self.move]), *self.joints]
        for heading in headings:
            if headings.count(heading) > 1:
                raise ValueError(f"column '{heading}' is given two meanings")
        joints = [column.joint for column in self.joints.values()]
        for joint in joints:
            if joints.count(joint) > 1:
                raise ValueError(f"two columns are said to hold joint '{joint}'")
        return self
