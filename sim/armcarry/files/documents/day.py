"""The day part of a scenario: who does what, for how long, and which step waits for which."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field, model_validator

from armcarry.files.documents.base import Name, Part, Quantity, TableName, Time
from armcarry.files.documents.day_intents import MEANT_KINDS
from armcarry.files.documents.relaxation import StepRelaxation
from armcarry.files.documents.steps import ARM, Step
from armcarry.files.documents.vary import LIGHT, Varying, Window

#: how far a worker can bridge or reach
Reach = Annotated[float, Quantity("length", "0.9 m", "0 m", "20 m")]


class Consumable(Part):
    """Something that runs out: how long it lasts, and what must be left at the end."""

    lasts: Time = Field(description="how long it lasts", examples=["7 h"])
    keep: Time = Field(
        default=0.0, description="to be left when the last step of each actor ends", examples=["30 min"]
    )
    actors: list[Name] = Field(min_length=1, description="who uses it up", examples=[["ev1", "ev2"]])
    since: Name | None = Field(
        default=None,
        description="counted from the start of this step; left out, from that of the day",
        examples=["leave_airlock"],
    )

    @model_validator(mode="after")
    def _enough(self) -> Consumable:
        if self.keep > self.lasts:
            raise ValueError("more is to be kept than there is: keep must be at most lasts")
        return self


class Day(Part):
    """A day: its steps in the order each actor does them unless links say otherwise."""

    start: Annotated[float, Quantity("time", "7:30", "0 s", "24 h")] = Field(
        default=0.0, description="time of day at which it begins"
    )
    cut_off: Time | None = Field(
        default=None, description="latest end, counted from the start", examples=["6:30"]
    )
    consumables: dict[Name, Consumable] = Field(default_factory=dict, description="what runs out, by name")
    rail_gap: Reach = Field(default=0.9, description="widest gap between handrails that hands can bridge")
    rail_reach: Reach = Field(default=2.0, description="farthest handrail from a worksite, measured at the hands")
    others: list[Name] = Field(
        default_factory=list, description="actors besides the arm and the crew", examples=[["ground"]]
    )
    relax: list[StepRelaxation] = Field(
        default_factory=list, description="smaller clearances, each for named bodies while its steps last"
    )
    windows: dict[Name, list[Window]] = Field(
        default_factory=dict, description="stretches of the day that steps may need, by name, as of communication",
        examples=[{"relay": [{"start": "0:40", "end": "1:15"}]}],
    )
    practice: TableName | None = Field(
        default=None,
        description="CSV file beside this one with recorded tries (step, who, took): of each step and person the "
        "least, likely and most that they took, in the place of takes; three tries at least",
        examples=["practice.csv"],
    )
    may_vary: list[Varying] = Field(
        default_factory=list, description="what may be done in another order or by others, for 'armcarry schedule'"
    )
    any_of: list[list[Name]] = Field(
        default_factory=list,
        description="steps of which exactly one is done; as written the first, the others only where it is left out",
        examples=[[["fasten", "lace"]]],
    )
    not_at_once: list[tuple[Name, Name]] = Field(
        default_factory=list, description="pairs of steps that are never done at the same time",
        examples=[[["hot_connector", "photos"]]],
    )
    left_out: list[Name] = Field(
        default_factory=list, description="steps that are not done today", examples=[["photos"]]
    )
    ends: Literal["inside", "outside"] = Field(
        default="inside",
        description="where whoever went out is at its end; outside, where another scenario goes on from there",
        examples=["outside"],
    )
    steps: list[Step] = Field(min_length=1, description="what is done; each actor does its own in this order")

    @property
    def elsewhere(self) -> set[str]:
        """The steps that may vary, of which one is done, or that are done in the place of another."""
        varied = [name for group in self.may_vary for name in group.steps]
        instead = [step.fallback for step in self.steps if step.fallback is not None]
        return {*varied, *instead, *(name for group in self.any_of for name in group)}

    @model_validator(mode="after")
    def _links_exist(self) -> Day:
        names = [step.name for step in self.steps]
        for name in filter(None, names):
            if names.count(name) > 1:
                raise ValueError(f"two steps are named '{name}'")
        meant = any(step.kind in MEANT_KINDS for step in self.steps)  # what follows from them may be linked to as well
        for step in self.steps if not meant else ():
            for link in step.links():
                _known("step", link, names, f"step '{step.name}'")
        for title, consumable in self.consumables.items():
            if consumable.since is not None and not meant:
                _known("step", consumable.since, names, f"consumable '{title}'")
        for k, relax in enumerate(self.relax, start=1):
            for name in relax.steps if not meant else ():
                _known("step", name, names, f"relaxation {k} of the day")
        self._varying_exists(names, meant)
        fallbacks = [step.fallback for step in self.steps if step.fallback is not None]
        for name in fallbacks:
            if fallbacks.count(name) > 1:
                raise ValueError(f"step '{name}' is the fallback of two steps")
        instead = {step.name: step.fallback for step in self.steps if step.fallback is not None}
        for name in instead:
            chain = [name]
            while chain[-1] in instead and instead[chain[-1]] not in chain:
                chain.append(instead[chain[-1]])
            if instead.get(chain[-1]) == name:
                raise ValueError(f"step '{name}': the fallbacks go round in a circle: {' -> '.join([*chain, name])}")
        return self

    def _varying_exists(self, names: list[str], meant: bool) -> None:
        """Refuse names of steps, windows and consumables that are not there."""
        named = [("may_vary", one.steps) for one in self.may_vary]
        named += [("any_of", one) for one in self.any_of] + [("not_at_once", [*one]) for one in self.not_at_once]
        for where, steps in [*named, ("left_out", self.left_out)]:
            for name in steps if not meant else ():
                _known("step", name, names, f"{where} of the day")
        together = [name for one in self.may_vary for name in one.steps]
        for name in together:
            if together.count(name) > 1:
                raise ValueError(f"step '{name}' stands twice under may_vary")
        either = {name: one.either for one in self.may_vary for name in one.steps}
        for step in self.steps:
            for who in step.takes_by:
                if who not in (*step.actors, *either.get(step.name, ())):
                    raise ValueError(f"step '{step.name}' states under takes_by how long it takes '{who}', who is no "
                                     "actor of it, nor one of either under may_vary")  # fmt: skip
            if step.needs is not None and step.needs not in LIGHT:
                _known("window", step.needs, [*LIGHT, *self.windows], f"step '{step.name}'")
            if step.go_if is not None and step.go_if.of is not None:
                _known("consumable", step.go_if.of, self.consumables, f"step '{step.name}'")
            if step.go_if is not None and step.go_if.of is None and self.cut_off is None:
                raise ValueError(f"step '{step.name}' asks under go_if what is left of the day, which has no cut_off")

    def check_names(
        self, crew: Iterable[str], carries: Iterable[str], hardware: Iterable[str], carts: Iterable[str] | None = None
    ) -> None:
        """Refuse actors, carries, items and (where ``carts`` is given) carts that are not there.

        Raises:
            ValueError: which pydantic and the loader turn into an InputError.
        """
        crew = list(crew)
        actors, carries, hardware = [ARM, *crew, *self.others], list(carries), list(hardware)
        for step in self.steps:
            where = f"step '{step.name}'"
            for actor in step.actors:
                _known("actor", actor, actors, where)
            if step.carry is not None:
                _known("carry", step.carry, carries, where)
            if step.item is not None:
                _known("hardware", step.item, hardware, where)
            if step.bolt is not None and step.bolt.tool is not None:
                _known("hardware", step.bolt.tool, hardware, where)
            for hearer in step.call.to if step.call is not None else ():
                _known("actor", hearer, actors, where)
            if step.hand_over is not None:
                _known("actor", step.hand_over.to, actors, where)
            if step.move_cart is not None and carts is not None:
                _known("cart", step.move_cart.cart, carts, where)
        for one in self.may_vary:
            for actor in one.either:
                _known("crewmember", actor, crew, "either under may_vary")
        for title, consumable in self.consumables.items():
            for actor in consumable.actors:
                _known("actor", actor, actors, f"consumable '{title}'")


def _known(kind: str, name: str, known: Iterable[str], where: str) -> None:
    known = list(known)
    if name not in known:
        from difflib import get_close_matches

        near = get_close_matches(name, known, n=1, cutoff=0.4)
        hint = f"did you mean '{near[0]}'?" if near else f"known: {', '.join(known[:12]) or 'none'}"
        raise ValueError(f"{where} names {kind} '{name}', which is not there; {hint}")
