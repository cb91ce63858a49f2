"""What a place says once of who may come how near to what while they are there, and groups of bodies by name."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from armcarry.files.documents.base import Name, NamePattern, Part, Quantity, Text, UrdfName

#: how near something may come, and how far a place holds
Nearness = Annotated[float, Quantity("length", "0.35 m", "0 m", "100 m")]
Within = Annotated[float, Quantity("length", "1.5 m", "0 m", "100 m")]
#: group of bodies -> patterns of bodies of one model
Groups = Annotated[
    dict[Name, list[NamePattern]],
    Field(
        description="groups of this model's bodies, for rules, allowances and places: group -> patterns of bodies",
        examples=[{"hands": ["glove_*"], "whole": ["*"]}],
    ),
]


class Near(Part):
    """A smaller required clearance for who is there, to named bodies, and to nothing else."""

    who: NamePattern = Field(
        description="groups or bodies of who is there, | for or; also restraint (below the boots) and load (what is "
        "held); at a seat, of the item that goes in or out",
        examples=["hands|forearms"],
    )
    to: NamePattern | None = Field(
        default=None,
        description="bodies of this model, or by full name; left out, all of what says it; a platform and an "
        "arm must say",
        examples=["bay_7_seat_*"],
    )
    at_least: Nearness = Field(description="the smaller clearance; 0 m where contact alone is ruled out")
    why: Text = Field(description="reason, told wherever it was used", examples=["gloves work the bolts"])
    arm_still: bool = Field(
        default=False, description="only while neither the arm nor its base moves", examples=[True]
    )


class Zone(Part):
    """A room about a frame of the platform or along a line: beside a hatch, on a trolley, over a track."""

    frame: UrdfName = Field(description="its middle, a frame of the platform", examples=["hatch"])
    end: UrdfName | None = Field(
        default=None,
        description="frame at its other end, for a room along a line from the first; left out, a ball",
        examples=["track_to"],
    )
    within: Within = Field(default=1.5, description="how far boots may be from it")
    near: list[Near] = Field(min_length=1, description="what whoever is there may come near to")
