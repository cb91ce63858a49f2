"""A relaxation: a smaller required clearance for named bodies for a while."""

from __future__ import annotations

from pydantic import Field

from armcarry.files.documents.base import Length, Name, NamePattern, Part, Text


class StepRelaxation(Part):
    """A smaller required clearance for named bodies while each of some steps of a day lasts."""

    steps: list[Name] = Field(min_length=1)
    bodies: tuple[NamePattern, NamePattern]
    required: Length
    why: Text


class Relaxation(Part):
    """A smaller required clearance for named bodies while this move or step lasts."""

    bodies: tuple[NamePattern, NamePattern]
    required: Length
    why: Text
    through: Name | None = Field(
        default=None, description="name of the last move or step it holds for; default this one"
    )
