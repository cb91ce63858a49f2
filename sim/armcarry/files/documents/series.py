"""A series of outings: scenarios in order, each beginning as the one before it ends."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import Document, Name, Part, Text


class Outing(Part):
    """One outing of a series."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"name": "first", "scenario": "first_day.yaml"}

    name: Name = Field(description="name of its run folder, once in a series", examples=["first"])
    title: Text = Field(
        default="", description="what it is; left out, the scenario's title", examples=["The camera and the carts"]
    )
    scenario: Text = Field(
        description="path of its scenario relative to this file, or the name of one that comes along",
        examples=["first_day.yaml"],
    )
    date: Text = Field(default="", description="when it is, in words", examples=["20 March 2031"])
    changes: dict[Name, Text] = Field(
        default_factory=dict,
        description="who or what stands otherwise at its start than the outing before left it -> why: crew, hardware, "
        "restraints, appendages, carts, base, arm, vehicle",
        examples=[{"pump_box": "brought out through the other hatch"}],
    )


class SeriesDocument(Document):
    """Several outings in order, told as one."""

    format: Literal["armcarry series 1"] = Field(description="kind and version of this file")
    purpose: Text = Field(description="what all of them are for", examples=["Renew the pumps in three outings."])
    outings: list[Outing] = Field(min_length=1, max_length=100, description="the outings, in order")

    @model_validator(mode="after")
    def _names_once(self) -> SeriesDocument:
        names = [outing.name for outing in self.outings]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"two outings are named '{name}'")
        if self.outings[0].changes:
            raise ValueError("the first outing follows none, so nothing of it can stand otherwise: no changes")
        return self
