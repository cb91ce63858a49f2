"""A relaxation: a smaller required clearance for named bodies for a while."""

from __future__ import annotations

from pydantic import Field

from armcarry.files.documents.base import Distance, Name, NamePattern, Part, Text


class _Relaxed(Part):
    """What every relaxation says: which bodies, how near, and why."""

    bodies: tuple[NamePattern, NamePattern] = Field(
        description="bodies on either side, by full name; * is any run of characters, | is or",
        examples=[["ev1/glove_*", "platform/rack_a_seat_*"]],
    )
    required: Distance = Field(description="clearance asked of them meanwhile", examples=["0.4 m"])
    why: Text = Field(description="why less is enough; stands in the findings", examples=["gloves work the bolts"])


class StepRelaxation(_Relaxed):
    """A smaller required clearance for named bodies while each of some steps of a day lasts."""

    steps: list[Name] = Field(min_length=1, description="steps of the day", examples=[["unbolt", "take_box"]])


class Relaxation(_Relaxed):
    """A smaller required clearance for named bodies while this move or step lasts."""

    through: Name | None = Field(
        default=None,
        description="name of the last move or step it holds for; left out, this one",
        examples=["pull_out"],
    )
