"""A procedure as data: tasks in order of time, each with who, when, where, what, the signs that it is right, and calls.

Everything that people read or hear of a run is written from this: the document of record, the printed procedure, the
cards, the sheet for all and the spoken script. A call stands once, with who makes it and who hears it, so that the call
one person makes is the call another expects.
"""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.files.documents.steps import ARM

#: who reads the procedure aloud, behind the hatch or on the ground, where no other actor of the day is named so
INSIDE = "inside"
#: everybody hears it
ALL = "all"


@dataclass(frozen=True)
class Call:
    """Words that one actor says to another. ``first`` is said before the task begins, else when it is done."""

    by: str
    to: str
    words: str
    first: bool


@dataclass(frozen=True)
class Task:
    """One step, or one move of the arm in it, as it is told to whoever has a part in it.

    Attributes:
        number: its place in the procedure, ``12``, or ``12.3`` for the third move of a carry.
        name: of the step, or of the move.
        kind: of the step or move.
        actors: who does it; ``arm`` is the arm's operator.
        title: what it is, in a few words.
        place: where, in words; empty where that goes without saying.
        do: what to do, a sentence each.
        facts: tool, torque, turns, count: what and how much.
        see: what is seen when it is right.
        cautions: what to beware of, said before.
        if_not: what to do when it does not come out so.
        note: a remark.
        calls: what is said, in order.
        moves: the moves of the arm in it.
        riders: who stands on the arm meanwhile.
        rides: rider -> the way they go, in their own sense.
        item: the hardware it is about.
        site: the worksite where it is done.
        fails: checks that fail in it.
        optional: it is left out where there is no time for it.
        place_in_script: carry and number of a move, for what asks for more of it.
    """

    number: str
    name: str
    kind: str
    actors: tuple[str, ...]
    start_s: float
    end_s: float
    title: str
    place: str = ""
    do: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    see: str = ""
    cautions: tuple[str, ...] = ()
    if_not: str = ""
    note: str = ""
    calls: tuple[Call, ...] = ()
    moves: tuple[Task, ...] = ()
    riders: tuple[str, ...] = ()
    rides: tuple[tuple[str, str], ...] = ()
    item: str = ""
    site: str = ""
    fails: tuple[str, ...] = ()
    optional: bool = False
    place_in_script: tuple[str, int] = ("", 0)

    def concerns(self, actor: str) -> bool:
        """Tell whether an actor does it, or is carried by it."""
        return actor in self.actors or actor in self.riders


@dataclass(frozen=True)
class LeftOut:
    """A step that is not done, and why."""

    title: str
    why: str


@dataclass(frozen=True)
class Procedure:
    """Everybody's tasks.

    Attributes:
        title, purpose: of the run.
        actors: everybody who has a part, crew first, then the arm's operator, others, and who reads it aloud.
        reader: who reads it aloud.
        tasks: in order of time.
        left_out: steps for which there is no time, or that are done only when another fails.
        day_start_s: time of day at which it begins; None where the run belongs to no day.
        reaction_s: how long the arm takes to begin to stop.
        start: everybody and everything, and where it is at the start.
    """

    title: str
    purpose: str
    actors: tuple[str, ...]
    reader: str
    tasks: tuple[Task, ...]
    left_out: tuple[LeftOut, ...] = ()
    day_start_s: float | None = None
    reaction_s: float = 0.0
    start: tuple[tuple[str, str], ...] = ()

    def of(self, actor: str) -> tuple[Task, ...]:
        """Return the tasks of one actor; who reads aloud has all of them."""
        return self.tasks if actor == self.reader else tuple(task for task in self.tasks if task.concerns(actor))


def role(actor: str) -> str:
    """Return what an actor is called in the procedure."""
    return {ARM: "arm operator", INSIDE: "inside person"}.get(actor, actor.replace("_", " "))
