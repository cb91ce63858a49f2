"""Typed parts of a scenario, for ``armcarry.Scenario``: each takes and checks what its key takes in a file."""

from __future__ import annotations

from armcarry.files.documents.carries import AttachTo, Carry, Detach, Line, Move, PoseGoal, PostureChange
from armcarry.files.documents.day import Consumable, Day
from armcarry.files.documents.day_intents import (
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
from armcarry.files.documents.environment import Environment
from armcarry.files.documents.intents import Bring, Fetch, Place, Ride
from armcarry.files.documents.relaxation import Relaxation
from armcarry.files.documents.scenario import Base, CrewMember, Expectation, HardwareItem, Restraint, StartAt
from armcarry.files.documents.step_parts import Takes
from armcarry.files.documents.steps import Step

__all__ = [
    "AttachTo", "Base", "Board", "Bring", "BringItem", "Carry", "Consumable", "CrewMember", "Day", "Detach",
    "Environment", "Expectation", "Fetch", "FetchItem", "Fit", "GiveBack", "Going", "HardwareItem", "Leave", "Line",
    "Move", "Place", "PlaceItem", "PoseGoal", "PostureChange", "Relaxation", "Restraint", "Ride", "RideTo", "StartAt",
    "Step", "Stow", "Swap", "TakeAlong", "Takes",
]  # fmt: skip
