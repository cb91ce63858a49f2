"""What several parts of a briefing are made of, each worked out once: everybody's tasks, the cards, the script."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

from armcarry.comparing.flown import Flown
from armcarry.procedure.model import Procedure
from armcarry.procedure.spoken import Cue, script
from armcarry.procedure.tasks import procedure
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.brief.moves import Card, cards
from armcarry.views.ways_kept import WaysKept


class Made:
    """The words of one run.

    ``frozen`` says whether this is the version to go by, empty where nobody asked; ``flown`` holds its steps beside the
    times at which they were flown, none where nobody says; ``ways`` the ways on that were found for it, if any were.
    """

    def __init__(
        self, record: Record, findings: Sequence[Finding], frozen: str = "", flown: Sequence[Flown] = (),
        ways: WaysKept | None = None,
    ) -> None:
        self.record, self.findings, self.frozen, self.flown, self.ways = record, findings, frozen, flown, ways

    @cached_property
    def procedure(self) -> Procedure:
        """Everybody's tasks."""
        return procedure(self.record, self.findings)

    @cached_property
    def cards(self) -> tuple[Card, ...]:
        """What there is to say of each move of the arm."""
        return cards(self.record)

    @cached_property
    def cues(self) -> tuple[Cue, ...]:
        """What is said of each task."""
        closest = {
            (card.move.carry, card.move.number): f"{card.told.words}, {card.told.value}"
            for card in self.cards if card.told is not None
        }
        leaves = {leaf.place_in_script: leaf.number
                  for task in self.procedure.tasks for leaf in (task.moves or (task,))}
        seen = {
            leaves[card.move.carry, card.move.number]: card.tip_seen_by[0]
            for card in self.cards if card.tip_seen_by and (card.move.carry, card.move.number) in leaves
        }
        return script(self.record, self.procedure, closest, seen)

    def between(self, start_s: float, end_s: float) -> str:
        """Return the script of a stretch of the run, a line a task: what a presenter says with its slide."""
        return "\n".join(cue.text for cue in self.cues if start_s <= cue.start_s and cue.end_s <= end_s)
