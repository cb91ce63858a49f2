"""What a suit holds, and how fast it is used up by effort."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import Name, Part, Text, Time

#: how hard somebody works
Effort = Literal["rest", "light", "heavy"]
EFFORTS: tuple[Effort, ...] = ("rest", "light", "heavy")
#: kind of step -> effort where neither the step nor the rules say: an assumption; between steps people rest
EFFORT_OF: dict[str, Effort] = {
    "carry": "rest", "move_base": "rest", "move_appendage": "rest", "move_vehicle": "rest", "call": "rest",
    "wait_for": "rest", "inspect": "light", "note": "light", "steady": "light", "let_go": "light", "tether": "light",
    "untether": "light", "connect": "light", "lock": "light", "unlock": "light", "fold_cover": "light",
    "set_restraint": "light", "hatch": "light", "translate": "heavy", "fit_restraint": "heavy",
    "enter_restraint": "heavy", "leave_restraint": "heavy", "take": "heavy", "hand_over": "heavy", "seat": "heavy",
    "bolt": "heavy", "move_cart": "heavy",
}  # fmt: skip


class Tank(Part):
    """Something that a suit holds and its wearer uses up: how long a full one lasts at each effort."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"rest": "10 h", "light": "8 h", "heavy": "6 h", "keep": "30 min"}

    rest: Time = Field(description="how long a full one lasts at rest", examples=["10 h"])
    light: Time = Field(description="how long a full one lasts at light effort", examples=["8 h"])
    heavy: Time = Field(description="how long a full one lasts at heavy effort", examples=["6 h"])
    keep: Time = Field(
        default=0.0, description="reserve: to be left at any instant, counted at light effort", examples=["30 min"]
    )

    @model_validator(mode="after")
    def _in_order(self) -> Tank:
        if not self.rest >= self.light >= self.heavy > 0.0:
            raise ValueError("a tank lasts the longer the less the effort: rest >= light >= heavy > 0 s")
        if self.keep > self.light:
            raise ValueError("more is to be kept than there is: keep must be at most light")
        return self

    def lasts_s(self, effort: Effort) -> float:
        """Return how long a full one lasts at an effort."""
        return float(getattr(self, effort))


class Suit(Part):
    """A suit, by what runs out in it."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "title": "suit of the demo",
        "tanks": {"oxygen": {"rest": "10 h", "light": "8 h", "heavy": "6 h", "keep": "30 min"}},
    }

    title: Text = Field(default="", description="what it is, for tables", examples=["suit of the demo"])
    tanks: dict[Name, Tank] = Field(
        min_length=1, description="what runs out, by name: oxygen, cooling, battery",
        examples=[{"battery": {"rest": "9 h", "light": "8.5 h", "heavy": "8 h", "keep": "30 min"}}],
    )
