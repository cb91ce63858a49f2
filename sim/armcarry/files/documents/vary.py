"""What may vary in a day, and when its steps may be done: what a better order is looked for with."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import FullName, HalfAngle, Name, Part, Time

#: what a step may need of the light, beside windows that the day states
LIGHT = ("daylight", "darkness")


class Varying(Part):
    """Steps that follow one another, and what may vary about them: they stay together, done by the same."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"steps": ["to_blanket", "fasten"], "may_move": True, "either": ["ev1", "ev2"]}

    steps: list[Name] = Field(
        min_length=1, description="steps as they are written, in order, done without anything between by who does them",
        examples=[["to_blanket", "fasten"]],
    )
    may_move: bool = Field(
        default=False,
        description="may be done at another place in the order of who does it; links, custody and ways are kept",
        examples=[True],
    )
    either: list[Name] = Field(
        default_factory=list, description="crewmembers of whom any may do it; left out, who is written",
        examples=[["ev1", "ev2"]],
    )

    @model_validator(mode="after")
    def _something(self) -> Varying:
        if not self.may_move and not self.either:
            raise ValueError("nothing varies here: state may_move or either")
        if len(set(self.steps)) < len(self.steps):
            raise ValueError(f"a step is named twice: {', '.join(self.steps)}")
        return self


class Window(Part):
    """A stretch of the day, counted from its start."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"start": "0:40", "end": "1:15"}

    start: Time = Field(description="when it opens", examples=["0:40"])
    end: Time = Field(description="when it closes", examples=["1:15"])

    @model_validator(mode="after")
    def _opens_first(self) -> Window:
        if self.end <= self.start:
            raise ValueError("a window needs to open before it closes: start before end")
        return self


class SunAngle(Part):
    """Where the sun is to stand: by day, at an angle from an axis of a frame of the platform."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"frame": "platform/bay_3_stand", "axis": "z", "most": "60 deg"}

    frame: FullName = Field(
        description="frame of the platform, as it stands at the start", examples=["platform/bay_3_stand"]
    )
    axis: Literal["x", "y", "z", "-x", "-y", "-z"] = Field(description="axis of that frame", examples=["z"])
    least: HalfAngle = Field(default=0.0, description="least angle from it to the sun", examples=["20 deg"])
    most: HalfAngle = Field(description="largest angle from it to the sun", examples=["60 deg"])

    @model_validator(mode="after")
    def _in_order(self) -> SunAngle:
        if self.most <= self.least:
            raise ValueError("the sun never stands there: most must be larger than least")
        return self


class GoIf(Part):
    """A go or no-go: a step is begun only while enough is left."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"left": "1:30", "of": "oxygen"}

    left: Time = Field(description="so much must be left when it begins", examples=["1:30"])
    of: Name | None = Field(
        default=None, description="consumable of the day; left out, the time until its cut-off", examples=["oxygen"]
    )
