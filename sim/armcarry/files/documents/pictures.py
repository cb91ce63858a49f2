"""The pictures a scenario asks for: what is shown in full colour and named, from where, and when."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field

from armcarry.files.documents.base import FullName, Name, NamePattern, Part, Text


class PictureWanted(Part):
    """One labelled still, such as people are shown before they go out."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"name": "box", "highlight": ["pump_box"]}

    name: Name = Field(description="name of the file, once in a scenario", examples=["box_in_rack_a"])
    title: Text = Field(default="", description="what it shows, for its heading", examples=["The pump box in rack A"])
    highlight: list[NamePattern] = Field(
        min_length=1,
        description="what is shown in full colour and named: hardware, crew, restraints, seats or worksites by name, "
        "bodies by full name, where * is any run of characters",
        examples=[["pump_box", "rack_a_seat", "platform/rack_a_*"]],
    )
    seen_from: FullName | None = Field(
        default=None,
        description="camera of the platform, or crewmember whose eyes see it; left out, the side from which most of it "
        "is seen",
        examples=["mast_eye"],
    )
    around: bool = Field(
        default=False,
        description="whether the surroundings are shown too, wide enough to find the way there",
        examples=[True],
    )
    step: Name | None = Field(
        default=None,
        description="step of the day, or named move of a carry, at which it is; left out, the start of the run",
        examples=["box_loose"],
    )
    when: Literal["start", "end"] = Field(
        default="start", description="at the start or at the end of that step", examples=["end"]
    )
