"""The steps of a day: what each kind of step says, its time and its links."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

from pydantic import Field, field_validator, model_validator

from armcarry.files.documents.base import FullName, Name, OwnWords, Text, Time
from armcarry.files.documents.day_intents import (
    MEANT_KINDS,
    Board,
    BringItem,
    FetchItem,
    Fit,
    GiveBack,
    Going,
    Leave,
    PlaceItem,
    RideTo,
    Stow,
    Swap,
    TakeAlong,
)
from armcarry.files.documents.relaxation import Relaxation
from armcarry.files.documents.step_parts import (
    AsTimePermits,
    Bolt,
    Call,
    Connect,
    FoldCover,
    HandOver,
    Hatch,
    Item,
    LeaveRestraint,
    Lock,
    MoveAppendage,
    MoveBase,
    MoveCart,
    MoveVehicle,
    Seating,
    SetRestraint,
    Takes,
    Tether,
    Translate,
    WaitFor,
    WhichRestraint,
)
from armcarry.files.documents.suits import Effort
from armcarry.files.documents.vary import GoIf, SunAngle

STEP_KINDS = (
    "translate", "fit_restraint", "set_restraint", "enter_restraint", "leave_restraint", "carry", "steady", "take",
    "hand_over", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover", "move_cart",
    "move_base", "move_appendage", "move_vehicle", "hatch", "call", "inspect", "wait_for", "note",
)
#: kinds whose time follows from the motion, a path, a count, the rules, or from what is waited for
TIMED_BY_ITSELF = ("carry", "translate", "bolt", "connect", "wait_for", "enter_restraint", "leave_restraint", "call")
#: kinds that take what the documents of hardware, restraint and platform say, where the step does not
TIMED_BY_DOCUMENTS = (
    "steady", "take", "seat", "let_go", "tether", "untether", "lock", "unlock", "fold_cover", "fit_restraint",
    "set_restraint", "move_base", "move_appendage",
)
ARM = "arm"
#: the place where workers come out, as steps name it
AIRLOCK = "airlock"


def _three_times(value: Any) -> Any:
    """Return a plain time as three equal ones."""
    return {"least": value, "likely": value, "most": value} if isinstance(value, (str, int, float)) else value


class Step(OwnWords):
    """One step of the day: one kind, its actors, time, links and own words; or one by intent, of which steps follow."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"name": "photos", "actors": ["ev1"], "note": "photographs", "takes": "5 min"}

    name: Name = Field(
        default="",
        description="name to speak of it by, once in a day; left out, made of what is done",
        examples=["unbolt"],
    )
    title: Text = Field(default="", description="what it is, for tables", examples=["Four bolts out"])
    actors: list[Name] = Field(
        default_factory=list,
        description="who does it: crew, arm, others; a step by intent says it itself",
        examples=[["ev1", "arm"]],
    )
    at: FullName | None = Field(default=None, description="worksite where it is done", examples=["bay_7"])

    translate: Translate | None = Field(default=None, description="a worker goes along the handrails")
    fit_restraint: WhichRestraint | None = Field(
        default=None, description="a restraint is fitted to the arm's tip", examples=[{}]
    )
    set_restraint: SetRestraint | None = Field(default=None, description="a restraint is turned to other settings")
    enter_restraint: WhichRestraint | None = Field(
        default=None, description="a worker steps into a restraint", examples=[{}]
    )
    leave_restraint: LeaveRestraint | None = Field(default=None, description="a rider climbs out")
    carry: Name | None = Field(
        default=None, description="name of a carry of this scenario", examples=["box_to_bay_7"]
    )
    steady: Item | None = Field(default=None, description="a hand is put on it while it is still fastened")
    take: Item | None = Field(default=None, description="it is lifted off its seat")
    hand_over: HandOver | None = Field(default=None, description="one holder gives it to another")
    seat: Seating | None = Field(default=None, description="it is put into a seat of the platform")
    let_go: Item | None = Field(default=None, description="the hand leaves it, in its seat")
    tether: Tether | None = Field(default=None, description="a tether of an item or a person is hooked")
    untether: Tether | None = Field(default=None, description="it is unhooked")
    bolt: Bolt | None = Field(default=None, description="bolts are turned")
    connect: Connect | None = Field(default=None, description="connectors are joined or parted")
    lock: Lock | None = Field(default=None, description="a lock is closed")
    unlock: Lock | None = Field(default=None, description="a lock is opened")
    fold_cover: FoldCover | None = Field(default=None, description="a cover is folded open or closed")
    move_cart: MoveCart | None = Field(default=None, description="a cart is pushed along the rail")
    move_base: MoveBase | None = Field(default=None, description="the trolley under the arm rolls to a station")
    move_appendage: MoveAppendage | None = Field(
        default=None, description="a part of the platform turns to another state"
    )
    move_vehicle: MoveVehicle | None = Field(default=None, description="the vehicle comes, or goes")
    hatch: Hatch | None = Field(default=None, description="the hatch is opened or closed")
    call: Call | None = Field(default=None, description="something is said to others; takes what the rules say")
    inspect: Text | None = Field(default=None, description="what is looked at, in words", examples=["the seals"])
    wait_for: WaitFor | None = Field(default=None, description="waiting for an instant, steps, or something outside")
    note: Text | None = Field(
        default=None,
        description="anything else, in words; beside another kind a remark for whoever does it",
        examples=["photographs"],
    )

    go_out: list[Name] | None = Field(
        default=None, min_length=1, description="they come out of the hatch together", examples=[["ev1", "ev2"]]
    )
    go_in: list[Name] | None = Field(
        default=None, min_length=1, description="they go to the hatch and in together", examples=[["ev1", "ev2"]]
    )
    go: Going | None = Field(default=None, description="a worker goes along the handrails")
    board: Board | None = Field(default=None, description="a worker gets onto the arm, which comes there")
    leave: Leave | None = Field(default=None, description="the rider gets off the arm, which goes there")
    swap: Swap | None = Field(default=None, description="one gets off the arm, another on")
    fit: Fit | None = Field(default=None, description="the restraint is put on the arm's bare tip, and got on")
    stow: Stow | None = Field(default=None, description="the rider gets off and puts the restraint into a socket")
    ride: RideTo | None = Field(default=None, description="the arm goes to a worksite by its way in")
    fetch: FetchItem | None = Field(default=None, description="the rider is brought to an item and takes it")
    place: PlaceItem | None = Field(default=None, description="what the rider holds is seated somewhere")
    bring: BringItem | None = Field(default=None, description="an item is fetched and placed somewhere else")
    give_back: GiveBack | None = Field(default=None, description="an item is put back where it was at the start")
    take_along: TakeAlong | None = Field(default=None, description="a worker pushes a cart and makes it fast")

    takes: Takes | None = Field(
        default=None,
        description="how long it takes: a time, or least, likely and most; carries, ways along handrails, "
        "and waiting time themselves, the rules getting into a restraint and out, the documents of hardware (acts), "
        "restraint and platform acts of hands, appendages that turn and the base that rolls",
        examples=["10 min"],
    )
    takes_by: dict[Name, Takes] = Field(
        default_factory=dict, description="how long it takes one of its actors, in the place of takes: by practice",
        examples=[{"ev2": {"least": "8 min", "likely": "11 min", "most": "15 min"}}],
    )
    effort: Effort | None = Field(
        default=None, description="how hard it is for who does it, which empties the tanks of suits; left out, as the "
        "rules say of its kind",
        examples=["heavy"],
    )
    earliest: Time | None = Field(
        default=None, description="begins not before, counted from the start of the day", examples=["1:20"]
    )
    latest: Time | None = Field(
        default=None, description="ends by then, counted from the start of the day", examples=["2:35"]
    )
    needs: Name | None = Field(
        default=None,
        description="begins and ends within one stretch of: daylight, darkness, or a window of the day by name; waits "
        "for it",
        examples=["daylight"],
    )
    sun: SunAngle | None = Field(
        default=None, description="begins and ends within one stretch in which the sun stands so; waits for it"
    )
    go_if: GoIf | None = Field(default=None, description="go or no-go: begun only while enough is left")
    no_return_until: Name | None = Field(
        default=None,
        description="a point of no return: once this step has begun, nobody turns for home before that one has ended",
        examples=["box_tight"],
    )
    after: list[Name] = Field(
        default_factory=list, description="begins when these have ended", examples=[["box_in_place"]]
    )
    before: list[Name] = Field(default_factory=list, description="ends before these begin", examples=[["ride_home"]])
    together_with: list[Name] = Field(
        default_factory=list, description="begins at the same instant as these", examples=[["watch"]]
    )
    swap_places: Name | None = Field(
        default=None,
        description="begins together with this step of another actor; what follows waits for both; "
        "getting on may swap with getting off, if that ends no later",
        examples=["ev1_gets_off"],
    )
    as_time_permits: AsTimePermits | None = Field(default=None, description="left out when it does not fit")
    relax: list[Relaxation] = Field(
        default_factory=list, description="smaller clearances for named bodies while this step lasts"
    )
    fallback: Name | None = Field(
        default=None, description="step done instead when this one is left out or fails, and only then",
        examples=["stow_box"],
    )

    @field_validator("takes", mode="before", json_schema_input_type=Takes | Time | None)
    @classmethod
    def _plain_time(cls, value: Any) -> Any:
        return _three_times(value)

    @field_validator("takes_by", mode="before", json_schema_input_type=dict[Name, Takes | Time])
    @classmethod
    def _plain_times(cls, value: Any) -> Any:
        return {who: _three_times(one) for who, one in value.items()} if isinstance(value, dict) else value

    @property
    def kind(self) -> str:
        """Which of STEP_KINDS or MEANT_KINDS this step is; ``note`` only where it is nothing else."""
        kinds = (*STEP_KINDS[:-1], *MEANT_KINDS, STEP_KINDS[-1])
        return next(kind for kind in kinds if getattr(self, kind) is not None)

    @property
    def item(self) -> str | None:
        """The item a hand does something to, if any."""
        what = getattr(getattr(self, self.kind), "what", None)
        return what if self.kind != "wait_for" else None

    @model_validator(mode="after")
    def _consistent(self) -> Step:
        kinds = (*STEP_KINDS, *MEANT_KINDS)
        given = [kind for kind in kinds if getattr(self, kind) is not None]
        if len(given) > 1:
            given = [kind for kind in given if kind != "note"]  # a remark beside what is done
        if len(given) != 1:
            found = ", ".join(given) or "none; what has no word of its own is a note, or inspect: what is looked at"
            called = self.name or self.title or ", ".join(self.actors)
            raise ValueError(f"step '{called}' needs exactly one of: {', '.join(kinds)}; found {found}")
        if given[0] in MEANT_KINDS:
            for key in ("needs", "sun", "go_if", "no_return_until", "effort"):
                if getattr(self, key) is not None:
                    raise ValueError(f"step '{self.name}' ({given[0]}) becomes several steps, of which {key} cannot be "
                                     "asked; write it at a step of one kind")  # fmt: skip
            return self
        if not self.actors:
            raise ValueError(f"step '{self.name}' ({given[0]}) needs actors: who does it")
        if len(set(self.actors)) != len(self.actors):
            raise ValueError(f"step '{self.name}' names an actor twice: {', '.join(self.actors)}")
        if self.name in self.links():
            raise ValueError(f"step '{self.name}' links to itself")
        if self.earliest is not None and self.latest is not None and self.latest <= self.earliest:
            raise ValueError(f"step '{self.name}' is to end before it may begin: latest must be after earliest")
        if self.takes is None and not self._times_itself():
            raise ValueError(f"step '{self.name}' ({self.kind}) needs takes: a time, or least, likely and most")
        if self.kind in ("carry", "move_base") and ARM not in self.actors:
            raise ValueError(f"step '{self.name}' moves the arm, so '{ARM}' must be among its actors")
        return self

    def _times_itself(self) -> bool:
        if self.kind in ("tether", "untether"):  # of a person no document says it
            return self.item is not None
        if self.wait_for is not None:
            return self.wait_for.until is not None or bool(self.wait_for.steps)
        return self.kind in (*TIMED_BY_ITSELF, *TIMED_BY_DOCUMENTS)

    def links(self) -> Iterator[str]:
        """Yield every step this one names."""
        yield from self.after
        yield from self.before
        yield from self.together_with
        if self.swap_places is not None:
            yield self.swap_places
        if self.fallback is not None:
            yield self.fallback
        if self.as_time_permits is not None:
            yield from self.as_time_permits.drops_with
        if self.wait_for is not None:
            yield from self.wait_for.steps
        if self.no_return_until is not None:
            yield self.no_return_until
