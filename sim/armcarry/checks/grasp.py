"""Is what is attached or left really at the link it is attached to?"""

from __future__ import annotations

from collections.abc import Iterator

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
    """Give one finding an attach or detach: how far apart the two frames are when they are joined.

    One more, not assessed, tells what goes some way at once as it changes hands: what it sweeps is not proven.
    """
    # boots are stepped in, not brought to a frame; whether hands reach what they pass on is the ledger's
    crew = record.scene.loaded.crew
    events = [event for event in record.events if event.what not in crew]
    by_hand = [event for event in events if _by_hand(record, event)]
    return (*(_finding(record, event) for event in events if event not in by_hand), *_swept(record, by_hand))


def _swept(record: Record, by_hand: list[Event]) -> Iterator[Finding]:
    """Tell once that it is not judged what things with a shape sweep while they change hands."""
    shaped = {body.name.split("/", 1)[0] for body in record.bodies}
    far = [
        event for event in by_hand
        if event.gap_m > NEAR_M and event.what in shaped
        and not record.scene.is_inside(record.phase_at(event.time_s).tree, event.what)
    ]  # fmt: skip
    if not far:
        return
    most = max(far, key=lambda event: event.gap_m)
    gap = near(most.gap_m, "m", 2)
    count = f"the farthest of {len(far)} times" if len(far) > 1 else "once"
    message = (
        f"{count} {most.what} goes {gap} at once, from hand to hand, on to a tether or back; what it sweeps meanwhile "
        "is not judged"
    )
    yield _make.not_assessed(
        most.what, message, f"see that nothing is within {gap} of {most.what} there but whose hands it is in",
        other="by_hand", at=most.time_s, value=most.gap_m, unit="m",
    )  # fmt: skip


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
