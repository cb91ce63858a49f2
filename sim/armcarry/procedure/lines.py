"""What one actor reads of a task, line by line: the same for the document of record, the printed page and the card."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from armcarry.files.documents.steps import ARM
from armcarry.procedure.model import ALL, INSIDE, Procedure, Task, role
from armcarry.procedure.wording import capital

Kind = Literal["fails", "caution", "with", "hear", "do", "way", "fact", "see", "say", "if_not", "note"]
#: what stands before a line of each kind; empty where it speaks for itself
LEAD: dict[str, str] = {
    "fails": "✕ Fails", "caution": "! Caution", "with": "With", "hear": "Hear", "do": "", "way": "", "fact": "",
    "see": "Right when", "say": "Say", "if_not": "If not", "note": "Remark",
}


class Line(NamedTuple):
    """One line of a task: what it is, and its words."""

    kind: Kind
    words: str

    @property
    def text(self) -> str:
        """The line with what stands before it."""
        lead = LEAD[self.kind]
        return f"{lead}: {self.words}" if lead else self.words


def lines(task: Task, actor: str, procedure: Procedure) -> tuple[Line, ...]:
    """Return what an actor reads of a task, in the order in which it is needed; moves in it stand apart."""
    return tuple(_lines(task, actor, procedure))


def _lines(task: Task, actor: str, procedure: Procedure) -> Iterator[Line]:
    if task.fails:
        yield Line("fails", f"{', '.join(check.replace('_', ' ') for check in task.fails)}; see the report")
    for caution in task.cautions:
        yield Line("caution", caution)
    others = [role(who) for who in dict.fromkeys((*task.actors, *task.riders)) if who not in (actor, ARM)]
    if actor == procedure.reader:
        others = [role(who) for who in task.actors]
    if others:
        yield Line("with", ", ".join(others))
    yield from _calls(task, actor, first=True)
    for words in task.do:
        yield Line("do", words)
    for rider, way in task.rides:
        if rider == actor:
            yield Line("way", f"You go {way}.")
        elif actor in (ARM, procedure.reader):
            yield Line("way", f"{rider} goes {way}.")
    for name, value in task.facts:
        yield Line("fact", f"{capital(name)}: {value}")
    if task.see:
        yield Line("see", task.see)
    yield from _calls(task, actor, first=False)
    if task.if_not:
        yield Line("if_not", task.if_not)
    if task.note:
        yield Line("note", task.note)


def _calls(task: Task, actor: str, first: bool) -> Iterator[Line]:
    """Yield what an actor says and waits for, in the order in which it is said."""
    for call in task.calls:
        if call.first is not first:
            continue
        if call.by == actor:
            yield Line("say", _to(call.to, call.words))
        elif call.to in (actor, ALL) or actor == INSIDE:
            yield Line("hear", f"{role(call.by)}: “{call.words}”")


def _to(who: str, words: str) -> str:
    return f"“{words}”" if who == ALL else f"to {role(who)}: “{words}”"


def opening(procedure: Procedure, actor: str) -> tuple[str, ...]:
    """Return what an actor is told before the first task: how it is read, and what holds all along."""
    stop = f"Say STOP whenever you want; the arm needs {procedure.reaction_s:.1f} s to begin to stop."
    ride = "Ways are told in the rider's own sense at that time: ahead is where the chest faces, up towards the head."
    wrong = "Where something does not come out as told: stop, say so, and leave it as it is unless the task says else."
    aloud = (
        "You read aloud: each task begins when you call it, and is ticked when you hear that it is done."
        if actor == procedure.reader
        else f"A task begins when the {role(procedure.reader)} calls it, and is done when you have said so."
    )
    return (aloud, wrong, stop, ride)
