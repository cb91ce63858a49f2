"""Is what is attached or left really at the link it is attached to?"""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.proving.passing import WAYS, Passing, by_hand, passings
from armcarry.record.figures import at_least, at_most, near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Event, Record

#: how exactly the two frames must meet: about a hand's width and a turn of the wrist; common practice, no source
NEAR_M = 0.05
NEAR_RAD = 0.1
_make = Maker("grasp")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding an attach or detach: how far apart the two frames are when they are joined.

    One more for each thing that changes hands says what it keeps on the way that is proven. What could not be
    brought to where it is attached is told of the act that did so, and not here.
    """
    # boots are stepped in, not brought to a frame; whether hands reach what they pass on is the ledger's
    crew = record.scene.loaded.crew
    events = [event for event in record.events if event.what not in crew and not by_hand(record, event)]
    joined = [event for event in events if not record.ledger.displaced(event.what, event.time_s)]
    return (*(_finding(record, event) for event in joined), *_passed_on(record))


def _passed_on(record: Record) -> Iterator[Finding]:
    """Judge what everything that changes hands keeps on its way; all that is kept of one thing is told once."""
    kept: dict[str, list[Passing]] = {}
    for item in passings(record):
        if item.margin_m >= 0.0:
            kept.setdefault(item.what, []).append(item)
            continue
        found = at_least(0.0 if item.touch else item.lower_m, item.required_m, "m")
        comes = f"touches {item.other}" if item.touch else f"comes as near to {item.other} as {found.said}"
        yield _make.failed(
            item.what,
            f"{item.what} goes {near(item.apart_m, 'm', 2)} from hand to hand; on the best of {WAYS} ways that were "
            f"looked at, {item.way}, its {item.body.split('/', 1)[1]} {comes}; {found.asked} is asked",
            f"hand it over where there is more room, or turn so that {item.other} is not between",
            other="by_hand", at=item.time_s, value=0.0 if item.touch else item.lower_m, limit=item.required_m, unit="m",
        )  # fmt: skip
    for what, several in kept.items():
        item = min(several, key=lambda one: one.margin_m)
        count = f"the tightest of {len(several)} times" if len(several) > 1 else "once"
        words = f"{count} {what} goes {near(item.apart_m, 'm', 2)} from hand to hand or tether; on the way that is " \
                f"proven, {item.way}, "  # fmt: skip
        if not item.body:
            yield _make.passed(what, f"{words}nothing is near", other="by_hand", at=item.time_s)
            continue
        found = at_least(item.lower_m, item.required_m, "m")
        words += f"it keeps {found.said} from {item.other} ({found.asked} asked)"
        yield _make.passed(what, words, other="by_hand", at=item.time_s, value=item.lower_m, limit=item.required_m,
                           unit="m")  # fmt: skip


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
