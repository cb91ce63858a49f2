"""Is what is attached or left really at the link it is attached to?"""

from __future__ import annotations

from armcarry.ledger.state import ARM
from armcarry.record.figures import at_most, near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Event, Record

#: how exactly the two frames must meet: about a hand's width and a turn of the wrist; common practice, no source
NEAR_M = 0.05
NEAR_RAD = 0.1
_make = Maker("grasp")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding an attach or detach: how far apart the two frames are when they are joined."""
    # boots are stepped in, not brought to a frame; whether hands reach what they pass on is the ledger's
    crew = record.scene.loaded.crew
    judged = (event for event in record.events if event.what not in crew and not _by_hand(record, event))
    return tuple(_finding(record, event) for event in judged)


def _finding(record: Record, event: Event) -> Finding:
    gap, turn = at_most(event.gap_m, NEAR_M, "mm"), at_most(event.gap_rad, NEAR_RAD, "rad")
    found = gap if turn.kept else turn
    receiver = record.scene.loaded.crew.get(event.to.split("/", 1)[0])
    if receiver is not None and event.gap_m > receiver.size.reach.one_hand:
        who = event.to.split("/", 1)[0]
        return _make.judged(
            gap,
            event.what,
            f"{event.what} is given to {who}, who is {near(event.gap_m, 'm', 1)} away from it then",
            other=event.to,
            at=event.time_s,
            remedy=f"bring {who} to where {event.what} is before, by a way along handrails or by the arm, or give it "
            "to somebody who is there",
        )
    return _make.judged(
        found,
        event.what,
        f"{event.what} is {'attached to' if event.kind == 'attach' else 'left at'} {event.to} with {gap.said} and "
        f"{turn.said} between the frames that meet; {gap.asked} and {turn.asked} are allowed",
        other=event.to,
        at=event.time_s,
        remedy=f"end the move before it with a line to {event.to}",
    )


def _by_hand(record: Record, event: Event) -> bool:
    """Tell whether hands move a restraint, or pass an item on: from hand to hand, or to trail on a tether and back."""
    loaded = record.scene.loaded
    before, after = (record.ledger.at(event.time_s + step).states.get(event.what) for step in (-1e-6, 0.0))
    if before is None or after is None:
        return False
    held = [
        (state.where in ("held", "inside") and ARM not in state.hands) or state.seat in loaded.hardware
        for state in (before, after)
    ]
    if event.what in loaded.restraints:
        return any(yes and state.hands for yes, state in zip(held, (before, after), strict=True))
    return all(held)
