"""The script to speak from, task by task: who does what, where, why it matters, what is highlighted, seen from where.

Own words come first: what a step or move says under ``say`` is said as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from armcarry.files.documents.steps import ARM
from armcarry.procedure.model import Procedure, Task, role
from armcarry.procedure.riding import spoken
from armcarry.procedure.wording import sentence
from armcarry.record.record import Record

#: why a kind of task matters, in a sentence; what it says of itself comes before
WHY = {
    "tether": "So it cannot drift off once its bolts are out.",
    "untether": "Its bolts hold it now, and the tether would be in the way.",
    "lock": "So it does not swing while it is carried.",
    "steady": "A hand is on it before the last bolt lets go.",
    "take": "From here on hands alone hold it.",
    "seat": "The last stretch is slow: a guide is met, and nothing may jam.",
    "enter_restraint": "Both hands are free for work from here on.",
    "leave_restraint": "A hand holds a rail before the boots come out.",
    "move_base": "The arm reaches the next worksite only from there.",
    "fold_cover": "What it covers cannot be held before.",
    "inspect": "What is found now can still be put right.",
}
#: why bolts and connectors matter, by what they become
WHY_MADE = {
    "loose": "Until the last one is out it stays where it is.",
    "tight": "Only then may hands and tether let go.",
    "parted": "Nothing may hang on to it when it is lifted.",
    "joined": "It works from here on.",
}


@dataclass(frozen=True)
class Cue:
    """What is said of one task.

    Attributes:
        number: of the task.
        start_s, end_s: on the clock of the run; several may be under way at once.
        head: who does what, in a line.
        words: all that is said, a sentence each.
        highlight: what is looked at: crew, hardware, the arm.
        seen_from: the camera that shows it; empty where none is named.
    """

    number: str
    start_s: float
    end_s: float
    head: str
    words: tuple[str, ...]
    highlight: tuple[str, ...]
    seen_from: str = ""

    @property
    def text(self) -> str:
        """All that is said."""
        return " ".join(self.words)


def script(
    record: Record,
    procedure: Procedure,
    closest: Mapping[tuple[str, int], str] | None = None,
    seen_from: Mapping[str, str] | None = None,
) -> tuple[Cue, ...]:
    """Return what is said of every task, in order of time; of a carry of several moves move by move.

    Args:
        closest: carry and number of a move -> its closest gap in words.
        seen_from: number of a task -> the camera that shows it.
    """
    day = record.scene.loaded.scenario.day
    made = {} if day is None else {step.name: step for step in day.steps}
    found = []
    for task in procedure.tasks:
        for leaf in task.moves or (task,):
            step = made.get(task.name)
            state = "" if step is None else getattr(getattr(step, step.kind), "make", "")
            near = (closest or {}).get(leaf.place_in_script, "")
            words = tuple(_words(task, leaf, state, near))
            highlight = tuple(dict.fromkeys((*leaf.riders, *leaf.actors, *([leaf.item] if leaf.item else []))))
            found.append(Cue(leaf.number, leaf.start_s, leaf.end_s, _head(leaf), words, highlight,
                             (seen_from or {}).get(leaf.number, "")))
    return tuple(sorted(found, key=lambda cue: (cue.start_s, cue.end_s)))


def _head(task: Task) -> str:
    who = [role(who) if who != ARM else "the arm" for who in dict.fromkeys((*task.riders, *task.actors))]
    return f"{', '.join(who)}: {task.title}"


def _words(task: Task, leaf: Task, state: str, near: str) -> Iterator[str]:
    begun = next((call.words for call in leaf.calls if call.first and call.by not in (*leaf.riders, ARM)), "")
    yield sentence(begun) if begun else f"{_head(leaf).rstrip('.')}."
    if leaf.place:
        yield f"Where: {leaf.place}."
    for rider, way in leaf.rides:
        yield f"{rider} goes {way}."
    why = WHY_MADE.get(state, WHY.get(task.kind, ""))
    if why and leaf is task:
        yield why
    yield from leaf.cautions
    if near and leaf.rides:
        yield f"Closest on the way: {near}."
    if leaf.fails:
        yield f"Not all is well here: {', '.join(check.replace('_', ' ') for check in leaf.fails)} fails."
    if leaf.end_s > leaf.start_s:
        yield f"It takes {spoken(leaf.end_s - leaf.start_s)}."
