"""The rules document: what is required, and how much of it may be relaxed."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from armcarry.files.documents.base import (
    Distance,
    Document,
    Fraction,
    Name,
    NamePattern,
    Part,
    Quantity,
    Speed,
    Text,
    Time,
)
from armcarry.files.documents.dispersion import Dispersion
from armcarry.files.documents.suits import EFFORT_OF, Effort, Suit

Class = Literal["arm", "rider", "hardware", "worker", "structure", "appendage", "vehicle"]
#: a distance asked for, or left, between bodies
Clearance = Annotated[float, Quantity("length", "0.6 m", "0 m", "100 m")]


#: the term of the budget that is at least the arm's own tip_positioning
ARM_POSITIONING = "arm_positioning"


class Required(Part):
    """Least clearance between two classes of body, in either order."""

    between: tuple[Class, Class] = Field(
        description="the two classes, in either order", examples=[["arm", "structure"]]
    )
    distance: Clearance = Field(description="least clearance between them; 0 m asks for no contact alone")
    why: Text = Field(default="", description="reason, for the reader", examples=["a rider cannot dodge"])


class IntendedContact(Part):
    """Bodies that are meant to touch; any other contact fails."""

    bodies: tuple[NamePattern, NamePattern] = Field(
        description="bodies on either side, by full name; * is any run of characters, | is or",
        examples=[["ev*/boot_*", "restraint/*"]],
    )
    why: Text = Field(description="why they touch; stands in the findings", examples=["boots stand in the restraint"])


class RelaxationLimits(Part):
    """How far a script may relax the required clearance."""

    longest: Time = Field(description="longest time a relaxation may hold", examples=["600 s"])
    least: Clearance = Field(description="smallest clearance a relaxation may ask for", examples=["0 m"])
    reach: Distance = Field(
        description="how far the tip may be from where the relaxation begins or ends", examples=["1.5 m"]
    )
    place_reach: Distance = Field(
        default=2.5, description="farthest from a place at which it may grant less", examples=["2.5 m"]
    )


class BudgetTerm(Part):
    """One term of the clearance budget."""

    title: Text = Field(description="what it is, for findings", examples=["growth and bending by heat"])
    amount: Annotated[float, Quantity("length", "20 mm", "0 m", "10 m")] = Field(
        description="by how much a body may be off, worst case"
    )
    applies_to: list[Class] = Field(
        description="classes it moves; a term that moves both of two bodies alike counts for neither",
        examples=[["structure", "appendage"]],
    )


class Margins(Part):
    """Margins other than clearance."""

    joint_position: Annotated[float, Quantity("angle", "10 deg", "0 deg", "180 deg")] = Field(
        description="least distance of a revolute joint from its travel limit"
    )
    joint_travel: Distance = Field(
        default=0.0, description="least distance of a prismatic joint from its travel limit", examples=["0.1 m"]
    )
    smallest_singular_value: Annotated[float, Field(ge=0, le=10)] = Field(
        description="least singular value of the arm's jacobian, turning weighed by its characteristic_length",
        examples=[0.15],
    )


class LockedJoint(Part):
    """How closely it is looked at what is left to a rider when a joint locks."""

    instants: Annotated[int, Field(ge=0, le=500)] = Field(
        description="of the run, evenly spread; 0 leaves it out", examples=[10]
    )


#: how long a tether is
TetherLength = Annotated[float, Quantity("length", "1.5 m", "0 m", "100 m", above=True)]


class Tethers(Part):
    """What is asked of tethers, and how long one is that states no length; the lengths are assumptions."""

    item: TetherLength = Field(default=1.5, description="length of an item's tether that states none")
    person: TetherLength = Field(
        default=25.0, description="length of a safety tether that states none, on its reel", examples=["25 m"]
    )
    unreeled: TetherLength | None = Field(
        default=None,
        description="how long at most a tether is that is on no reel, as its slack lies loose; left out, any",
        examples=["4 m"],
    )
    before_last_bolt: bool = Field(
        default=False, description="whether every item is tethered before its last bolt is loose", examples=[True]
    )


class Hands(Part):
    """What is asked of hands; the speed is an assumption."""

    speed_with_item: Speed | None = Field(
        default=None,
        description="how fast at most somebody goes along handrails with an item in hand or trailing; left out, it is "
        "not assessed",
        examples=["0.08 m/s"],
    )


class HatchRules(Part):
    """What passes the hatch: one body at a time, and nothing that is too wide for it; both are assumptions."""

    passing: Time = Field(description="how long one body takes through it, out or in", examples=["60 s"])
    widest: Distance = Field(
        description="the middle one of the three extents of an item that fits through", examples=["0.9 m"]
    )


class WayHome(Part):
    """What a stranded rider's way home takes besides going along handrails."""

    leave_restraint: Time = Field(description="to get the boots out of the restraint", examples=["3 min"])
    stow_held: Time = Field(description="to make fast what is in the hands", examples=["4 min"])
    cross_gap: Time = Field(description="for each gap that needs a tether or a second worker", examples=["8 min"])
    go_in: Time = Field(description="from the hatch to inside, hatch closed", examples=["6 min"])
    tether_change: Time | None = Field(
        default=None,
        description="to hook the next safety tether and unhook the last, each time the way along handrails is longer "
        "than one (tethers: person); left out, none is changed",
        examples=["1 min"],
    )
    all_inside: Time | None = Field(
        default=None,
        description="longest time, from any instant on, until all are inside; left out, it is told, not judged",
        examples=["45 min"],
    )


class ArmSafe(Part):
    """What making the arm safe, brakes on and motors off, takes whenever it stands in a day, and making it ready again.

    Brakes, check and call follow every move; mode change, check, call and brakes come before it. They lengthen it.
    """

    brakes: Time = Field(description="to put the brakes on, or to take them off", examples=["3 s"])
    mode_change: Time = Field(description="to change the mode of control before a move", examples=["2 s"])
    check: Time = Field(description="to check that it is so", examples=["4 s"])
    call: Time = Field(description="to call it, and hear it said back", examples=["3 s"])

    @property
    def make_safe(self) -> float:
        """How long it takes after a move, s."""
        return self.brakes + self.check + self.call

    @property
    def make_ready(self) -> float:
        """How long it takes before a move, s."""
        return self.mode_change + self.check + self.call + self.brakes


class Climbing(Part):
    """How long at least it takes to get into a restraint, and out of it."""

    get_in: Time = Field(description="boots into the restraint, checked", examples=["5 min"])
    get_out: Time = Field(description="boots out of the restraint, on to a handrail", examples=["3 min"])


class RulesDocument(Document):
    """The rules of a rehearsal."""

    format: Literal["armcarry rules 1"] = Field(description="kind and version of this file")
    report_distance: Annotated[float, Quantity("length", "3 m", "0 m", "100 m", above=True)] = Field(
        description="pairs proven to stay farther apart than this are told as farther, not measured"
    )
    required: list[Required] = Field(description="least clearances between classes of body")
    intended_contact: list[IntendedContact] = Field(
        default_factory=list, description="bodies that are meant to touch; any other contact fails"
    )
    relaxation: RelaxationLimits = Field(description="how far a script may relax the required clearance")
    slow_within: Clearance = Field(
        description="inside this distance of structure the arm slows down", examples=["1.5 m"]
    )
    margins: Margins = Field(description="margins other than clearance")
    budget: dict[Name, BudgetTerm] = Field(
        default_factory=dict,
        description="what bodies may be off, by name of the term; arm_positioning, structure_placement, thermal and "
        "grasp must be stated, if only as 0 m; arm_positioning counts with at least the arm's tip_positioning",
    )
    budget_combination: Literal["worst_case", "root_sum_square"] = Field(
        default="root_sum_square",
        description="how terms add: worst_case is their sum, root_sum_square takes them as independent",
        examples=["worst_case"],
    )
    stop_remainder: Clearance = Field(
        description="clearance that must be left after a late stop", examples=["0.1 m"]
    )
    locked_joint: LockedJoint | None = Field(
        default=None, description="what is looked at when a joint locks; left out, 10 instants"
    )
    rider_tip_speed: Speed = Field(description="largest tip speed with a rider aboard", examples=["0.15 m/s"])
    safe_return: Time = Field(
        default=1800.0,
        description="longest time for a stranded rider to the airlock; the default is an assumption",
        examples=["30 min"],
    )
    way_home: WayHome | None = Field(
        default=None,
        description="what a stranded rider's way home takes besides going along handrails; without it the time home is "
        "not assessed",
        examples=[{"leave_restraint": "3 min", "stow_held": "4 min", "cross_gap": "8 min", "go_in": "6 min"}],
    )
    tether_reach: Clearance | None = Field(
        default=None,
        description="widest gap from a stranded rider's gloves to a handrail, or between handrails, that a tether or "
        "a second worker bridges; without it such gaps are told, not judged",
        examples=["4 m"],
    )
    worker_speed: Speed | None = Field(
        default=None,
        description="how fast a free worker may come towards the arm, for the protective separation; without it the "
        "1.6 m/s of a person walking",
        examples=["0.5 m/s"],
    )
    arm_safe: ArmSafe | None = Field(
        default=None, description="how long it takes to make the arm safe and ready; left out, it is never made safe"
    )
    between_moves: Time = Field(
        default=0.0,
        description="how long the arm stands between two moves of one carry: mode changed, checked, called",
        examples=["8 s"],
    )
    bend_zones: int = Field(
        default=4,
        ge=4,
        le=64,
        description="how many zones of one speed a bend of the arm's way is cut into; with more, it goes round bends "
        "as fast as its limits allow, by up to a seventh of the way's time, and is a little longer in proving",
        examples=[32],
    )
    climbing: Climbing | None = Field(
        default=None,
        description="how long at least getting into a restraint and out of it takes; left out, as the steps say",
        examples=[{"get_in": "5 min", "get_out": "3 min"}],
    )
    tethers: Tethers = Field(default_factory=Tethers, description="what is asked of tethers")
    hatch: HatchRules | None = Field(
        default=None,
        description="what passes the hatch; without it how many pass at once, and what fits, is not assessed",
        examples=[{"passing": "60 s", "widest": "0.9 m"}],
    )
    hands: Hands = Field(default_factory=Hands, description="what is asked of hands")
    unseen_extra: Clearance = Field(
        default=0.0, description="clearance added where no camera sees", examples=["0.15 m"]
    )
    confidence: Fraction = Field(
        default=0.95, description="probability with which a day must end in time", examples=["95 %"]
    )
    suits: dict[Name, Suit] = Field(
        default_factory=dict, description="suits that crewmembers of a scenario may wear, by name"
    )
    effort: dict[Name, Effort] = Field(
        default_factory=dict,
        description="kind of step -> effort of who does it, where that is another than assumed; between steps "
        "people rest",
        examples=[{"translate": "light"}],
    )
    dispersion: Dispersion | None = Field(
        default=None, description="how the true run may differ from the rehearsed one; needed by armcarry disperse"
    )
    checks: dict[Name, dict[Name, Any]] = Field(
        default_factory=dict,
        description="settings of checks that other packages add, by name of the check; each check says what it accepts",
        examples=[{"within_the_hour": {"longest": "50 min"}}],
    )

    @field_validator("effort")
    @classmethod
    def _kinds_are_there(cls, value: dict[str, Effort]) -> dict[str, Effort]:
        for kind in value:
            if kind not in EFFORT_OF:
                raise ValueError(f"'{kind}' is no kind of step; known: {', '.join(sorted(EFFORT_OF))}")
        return value

    def effort_of(self, kind: str) -> Effort:
        """Return how hard a step of a kind is for who does it."""
        return self.effort.get(kind) or EFFORT_OF[kind]
