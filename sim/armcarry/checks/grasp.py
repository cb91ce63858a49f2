"""Is what is attached or left really at the link it is attached to?"""

from __future__ import annotations

from armcarry.record.figures import at_most
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

#: how exactly the two frames must meet: about a hand's width and a turn of the wrist; common practice, no source
NEAR_M = 0.05
NEAR_RAD = 0.1
_make = Maker("grasp")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding an attach or detach: how far apart the two frames are when they are joined."""
    findings = []
    for event in record.events:
        if event.what in record.scene.loaded.crew:
            continue  # boots are stepped in, not brought to a frame
        gap, turn = at_most(event.gap_m, NEAR_M, "mm"), at_most(event.gap_rad, NEAR_RAD, "rad")
        findings.append(
            _make.judged(
                gap if turn.kept else turn,
                event.what,
                f"{event.what} is {'attached to' if event.kind == 'attach' else 'left at'} {event.to} with {gap.said} "
                f"and {turn.said} between the frames that meet; {gap.asked} and {turn.asked} are allowed",
                other=event.to,
                at=event.time_s,
                remedy=f"end the move before it with a line to {event.to}",
            )
        )
    return tuple(findings)
